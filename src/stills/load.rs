//! A file's bytes to an upright picture and its provenance.

use super::provenance::{Metadata, metadata};
use super::turning::{Orientation, upright};
use crate::record::Still;
use crate::vision::Picture;
use image::{DynamicImage, ImageDecoder, ImageError, ImageFormat, ImageReader, Limits};
use sha2::{Digest, Sha256};
use std::fs::File;
use std::io::{self, Cursor, Read};
use std::path::Path;

/// Pictures of so many pixels or more are not decoded: they would take over a gigabyte, and no microscope records them.
pub const TOO_MANY_PIXELS: u64 = 100_000_000;
/// Files of more bytes than this are not read: the largest picture allowed, uncompressed with 16 bits a channel.
const MOST_BYTES: u64 = TOO_MANY_PIXELS * 8 + 1_000_000;
/// What is read, for messages.
const FORMATS: &str = "JPEG, PNG, TIFF, BMP or WebP";

/// What the case sheet says of a recording.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Recording {
    /// Pixel width over height, in the upright picture.
    pub pixel_aspect: f64,
    /// Whether left and right are exchanged in the upright picture.
    pub mirrored: bool,
}

impl Default for Recording {
    fn default() -> Self {
        Self { pixel_aspect: 1.0, mirrored: false }
    }
}

/// A still, ready to be measured.
#[derive(Clone, Debug)]
pub struct Loaded {
    /// The upright picture, mirrored back where the recording is mirrored.
    pub picture: Picture,
    /// Its provenance.
    pub still: Still,
    /// What a reader should know of the file.
    pub warnings: Vec<String>,
}

/// A still that could not be loaded.
#[derive(Debug, thiserror::Error)]
#[error("{cause}")]
pub struct Unreadable {
    /// What is known of it all the same.
    pub still: Still,
    /// Why.
    #[source]
    pub cause: LoadError,
}

/// Why a file gives no picture.
#[derive(Debug, thiserror::Error)]
pub enum LoadError {
    /// The system does not give its bytes.
    #[error("cannot be read: {0}")]
    Io(#[from] io::Error),
    /// A pipe, device or folder.
    #[error("not a regular file")]
    NotAFile,
    /// No bytes.
    #[error("the file is empty")]
    Empty,
    /// More bytes than the largest picture allowed can have.
    #[error("the file has {bytes} bytes, at most {MOST_BYTES} are read")]
    TooManyBytes {
        /// Size of the file.
        bytes: u64,
    },
    /// The content is no picture.
    #[error("the content is not a picture that can be read, expected {FORMATS}")]
    NotAPicture,
    /// A picture of another format.
    #[error("the content is {0:?}, expected {FORMATS}")]
    OtherFormat(ImageFormat),
    /// Too large to decode.
    #[error("{width} x {height} px, expected fewer than {} megapixels", TOO_MANY_PIXELS / 1_000_000)]
    TooManyPixels {
        /// Columns.
        width: u32,
        /// Rows.
        height: u32,
    },
    /// Too large for the decoder, which does not say how large.
    #[error("takes too much memory to decode, expected fewer than {} megapixels", TOO_MANY_PIXELS / 1_000_000)]
    TooMuchMemory,
    /// A JPEG that stops early.
    #[error("the file is cut short: its JPEG data end before the end of the picture")]
    CutShort,
    /// Not 8 or 16 bits a channel.
    #[error("samples of type {0:?}, expected whole numbers of 8 or 16 bits")]
    OtherSamples(image::ColorType),
    /// The decoder gave up.
    #[error("damaged or cut short: {}", on_one_line(.0))]
    Decode(#[source] ImageError),
}

impl LoadError {
    /// What to do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            Self::Io(_) | Self::NotAFile => "check the path, and whether the file may be read",
            Self::Empty | Self::CutShort | Self::Decode(_) => "copy or export the still again from the recorder",
            Self::NotAPicture | Self::OtherFormat(_) | Self::OtherSamples(_) => {
                "export the still as JPEG, PNG or TIFF with 8 or 16 bits a channel"
            }
            Self::TooManyBytes { .. } | Self::TooManyPixels { .. } | Self::TooMuchMemory => {
                "export the still in the size it was recorded in"
            }
        }
    }
}

impl From<ImageError> for LoadError {
    fn from(error: ImageError) -> Self {
        match error {
            ImageError::Limits(_) => Self::TooMuchMemory,
            other => Self::Decode(other),
        }
    }
}

/// Some decoders' messages end their line.
fn on_one_line(error: &ImageError) -> String {
    error.to_string().split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What is known of a still of which nothing was read.
pub fn unread(path: &Path, recording: Recording) -> Still {
    Still {
        path: shown(path),
        sha256: String::new(),
        width_px: 0,
        height_px: 0,
        exif_orientation: Orientation::UPRIGHT.number(),
        mirrored: recording.mirrored,
        pixel_aspect: recording.pixel_aspect,
        taken_at: None,
    }
}

/// Read, decode and turn upright the still at `path`.
///
/// The format is told by content, not by name. EXIF turns first; then a mirrored recording is mirrored back. Eight-bit
/// values become 16-bit ones by the factor 257, grey becomes three equal channels, and transparent pixels are laid over
/// black, which is how a field without light looks.
///
/// # Errors
/// [`Unreadable`], with the hash where the bytes could be read.
pub fn load(path: &Path, recording: Recording) -> Result<Loaded, Box<Unreadable>> {
    let mut still = unread(path, recording);
    let bytes = match read(path) {
        Ok(bytes) => bytes,
        Err(cause) => return Err(Box::new(Unreadable { still, cause })),
    };
    still.sha256 = hexadecimal(&Sha256::digest(&bytes));
    let Metadata { orientation, taken_at, warnings } = metadata(&bytes);
    still.exif_orientation = orientation.number();
    still.taken_at = taken_at;
    let picture = match decode(&bytes) {
        Ok(picture) => upright(picture, orientation, recording.mirrored),
        Err(cause) => return Err(Box::new(Unreadable { still, cause })),
    };
    (still.width_px, still.height_px) = picture.dimensions();
    Ok(Loaded { picture, still, warnings })
}

/// A path as records and messages show it: `/` between folders.
pub fn shown(path: &Path) -> String {
    let text = path.to_string_lossy();
    if std::path::MAIN_SEPARATOR == '/' { text.into_owned() } else { text.replace(std::path::MAIN_SEPARATOR, "/") }
}

fn read(path: &Path) -> Result<Vec<u8>, LoadError> {
    // Asked before opening: opening a pipe waits for a writer.
    let metadata = std::fs::metadata(path)?;
    if !metadata.is_file() {
        return Err(LoadError::NotAFile);
    }
    if metadata.len() > MOST_BYTES {
        return Err(LoadError::TooManyBytes { bytes: metadata.len() });
    }
    let mut bytes = Vec::with_capacity(usize::try_from(metadata.len()).unwrap_or_default());
    File::open(path)?.take(MOST_BYTES).read_to_end(&mut bytes)?;
    if bytes.is_empty() { Err(LoadError::Empty) } else { Ok(bytes) }
}

fn decode(bytes: &[u8]) -> Result<Picture, LoadError> {
    let format = image::guess_format(bytes).map_err(|_| LoadError::NotAPicture)?;
    match format {
        ImageFormat::Jpeg | ImageFormat::Png | ImageFormat::Tiff | ImageFormat::Bmp | ImageFormat::WebP => {}
        other => return Err(LoadError::OtherFormat(other)),
    }
    let mut reader = ImageReader::with_format(Cursor::new(bytes), format);
    let mut limits = Limits::no_limits();
    limits.max_alloc = Some(2 * MOST_BYTES);
    reader.limits(limits);
    let decoder = reader.into_decoder()?;
    let (width, height) = decoder.dimensions();
    if u64::from(width) * u64::from(height) >= TOO_MANY_PIXELS {
        return Err(LoadError::TooManyPixels { width, height });
    }
    // The decoder fills what is missing of a JPEG with grey and says nothing.
    if format == ImageFormat::Jpeg && !jpeg_reaches_its_end(bytes) {
        return Err(LoadError::CutShort);
    }
    picture(DynamicImage::from_decoder(decoder)?)
}

/// Whether an end-of-image marker follows the last scan (ITU-T T.81, annex B). Bytes after it are no concern.
fn jpeg_reaches_its_end(bytes: &[u8]) -> bool {
    let mut at = 2;
    loop {
        // To the next marker: in a scan, FF 00 is a datum, FF D0 to D7 restart it, and FF FF fills.
        let Some(step) = bytes.get(at..).and_then(|rest| rest.iter().position(|byte| *byte == 0xFF)) else {
            return false;
        };
        at += step + 1;
        match bytes.get(at) {
            None => return false,
            Some(0xD9) => return true,
            Some(0x00 | 0x01 | 0xD0..=0xD7) => at += 1,
            Some(0xFF) => {}
            Some(_) => {
                let Some(&[high, low]) = bytes.get(at + 1..at + 3) else { return false };
                at += 1 + usize::from(u16::from_be_bytes([high, low])).max(2);
            }
        }
    }
}

fn picture(decoded: DynamicImage) -> Result<Picture, LoadError> {
    let (width, height) = (decoded.width(), decoded.height());
    let samples: Vec<u16> = match decoded {
        DynamicImage::ImageRgb8(p) => p.as_raw().iter().map(|v| widened(*v)).collect(),
        DynamicImage::ImageLuma8(p) => rgb(p.as_raw(), 1, |v| [widened(v[0]); 3]),
        DynamicImage::ImageLumaA8(p) => rgb(p.as_raw(), 2, |v| [over_black(widened(v[0]), widened(v[1])); 3]),
        DynamicImage::ImageRgba8(p) => {
            rgb(p.as_raw(), 4, |v| [v[0], v[1], v[2]].map(|c| over_black(widened(c), widened(v[3]))))
        }
        DynamicImage::ImageRgb16(p) => p.into_raw(),
        DynamicImage::ImageLuma16(p) => rgb(p.as_raw(), 1, |v| [v[0]; 3]),
        DynamicImage::ImageLumaA16(p) => rgb(p.as_raw(), 2, |v| [over_black(v[0], v[1]); 3]),
        DynamicImage::ImageRgba16(p) => rgb(p.as_raw(), 4, |v| [v[0], v[1], v[2]].map(|c| over_black(c, v[3]))),
        other => return Err(LoadError::OtherSamples(other.color())),
    };
    // The decoder's buffer has the size it was made with.
    Picture::from_raw(width, height, samples).ok_or(LoadError::NotAPicture)
}

fn rgb<T: Copy>(samples: &[T], channels: usize, pixel: impl Fn(&[T]) -> [u16; 3]) -> Vec<u16> {
    let mut out = vec![0; samples.len() / channels * 3];
    for (to, from) in out.chunks_exact_mut(3).zip(samples.chunks_exact(channels)) {
        to.copy_from_slice(&pixel(from));
    }
    out
}

fn widened(value: u8) -> u16 {
    u16::from(value) * 257
}

fn over_black(value: u16, alpha: u16) -> u16 {
    ((u32::from(value) * u32::from(alpha) + 32_767) / 65_535) as u16
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

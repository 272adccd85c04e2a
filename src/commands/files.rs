//! Files that appear whole or not at all.

use super::messages::Failure;
use crate::stills::load::shown;
use std::io::{self, Write};
use std::path::Path;

/// Write `bytes` to a file beside `path`, then give it the name: what stood there before stays until then.
pub(super) fn write_whole(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let folder = path.parent().unwrap_or(Path::new("."));
    let mut file = temporary(folder).map_err(|error| match error.kind() {
        io::ErrorKind::NotFound => io::Error::new(error.kind(), format!("there is no folder {}", shown(folder))),
        _ => error,
    })?;
    file.write_all(bytes)?;
    file.persist(path)?;
    Ok(())
}

/// Write what was made of a file into `folder`.
pub(super) fn write_into(folder: &Path, name: &str, bytes: io::Result<Vec<u8>>) -> Result<(), Failure> {
    let path = folder.join(name);
    bytes.and_then(|bytes| write_whole(&path, &bytes)).map_err(|error| Failure::at(&path, error))
}

/// A file without a lasting name in `folder`.
pub(super) fn temporary(folder: &Path) -> io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(".stillaxis-").suffix(".tmp");
    // Temporary files are for their owner alone; what a run writes is for whom the umask says.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    // The kind alone: the name of a file that only comes and goes tells nobody anything.
    builder.tempfile_in(folder).map_err(|error| error.kind().into())
}

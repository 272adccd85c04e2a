"""Tiny pictures in every format, and what Pillow (16-bit colour: OpenCV) reads from them.

    python make.py        writes pictures/ and expected.json beside this file

`values` are the upright picture's, row by row, three channels of 16 bits (8-bit ones times 257), transparent pixels
laid over black; `tolerance` is in 8-bit levels: 0 for lossless opaque pictures, 1 where alpha is rounded, and what two
sound decoders may differ by for lossy ones. `edge_tolerance` holds for the outermost pixels: how colour of half the
size is carried past its last column is left to the decoder (libjpeg's triangle filter is none of T.81). OpenCV reads what Pillow cannot: colour of 16 bits a channel.
"""
import json
from pathlib import Path

import cv2
import numpy as np
import PIL
from PIL import Image, ImageOps, features

HERE = Path(__file__).parent
PICTURES = HERE / "pictures"
ORIENTATION, EXIF_IFD, TAKEN, TAKEN_OFFSET = 0x0112, 0x8769, 0x9003, 0x9011
expected = []


def scene(width, height, channels=3, depth=8):
    """Smooth, without any symmetry, so that lossy formats keep it and every turn of it differs."""
    y, x = np.mgrid[0:height, 0:width]
    u, v = x / (width - 1), y / (height - 1)
    planes = [20 + 200 * u, 230 - 180 * v * (0.5 + 0.5 * u), 30 + 100 * u * u + 90 * v, 255 * (0.2 + 0.8 * u * v)]
    if channels == 2:
        planes = [planes[0] * (1 - 0.4 * v), planes[3]]
    full = np.stack(planes[:channels], axis=-1) / 255 * (2**depth - 1)
    return full.round().astype("uint8" if depth == 8 else "uint16").squeeze()


def note(name, values, tolerance, orientation=1, taken_at=None, reader="Pillow", edge=None):
    values = np.asarray(values).astype(np.int64)
    height, width = values.shape[:2]
    expected.append(dict(file=name, reader=reader, width=width, height=height, exif_orientation=orientation,
                         taken_at=taken_at, tolerance=tolerance, edge_tolerance=edge or tolerance,
                         values=values.reshape(-1).tolist()))


def read_by_pillow(path):
    image = ImageOps.exif_transpose(Image.open(path))
    if image.mode.startswith("I;16") or image.mode == "I":
        return np.repeat(np.asarray(image).astype(np.int64)[..., None], 3, axis=-1)
    if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        image = image.convert("RGBA")
        image = Image.alpha_composite(Image.new("RGBA", image.size, (0, 0, 0, 255)), image)
    return np.asarray(image.convert("RGB")).astype(np.int64) * 257


def by_pillow(name, image, tolerance=0, orientation=None, taken=None, edge=None, **options):
    exif = Image.Exif()
    if orientation:
        exif[ORIENTATION] = orientation
    if taken:
        exif.get_ifd(EXIF_IFD).update({TAKEN: taken[0]} | ({TAKEN_OFFSET: taken[1]} if taken[1] else {}))
    if len(exif) or taken:
        options["exif"] = exif
    path = PICTURES / name
    image.save(path, **options)
    note(name, read_by_pillow(path), tolerance, orientation or 1, taken[2] if taken else None,
         edge=edge)


def by_opencv(name, array):
    path = str(PICTURES / name)
    swapped = array[..., [2, 1, 0] + ([3] if array.shape[-1] == 4 else [])]
    assert cv2.imwrite(path, swapped)
    read = cv2.imread(path, cv2.IMREAD_UNCHANGED).astype(np.int64)
    colour = read[..., 2::-1]
    if read.shape[-1] == 4:
        colour = (colour * read[..., 3:] / 65535 + 0.5).astype(np.int64)
    note(name, colour, 0 if read.shape[-1] == 3 else 1, reader="OpenCV")


PICTURES.mkdir(exist_ok=True)
for old in PICTURES.iterdir():
    old.unlink()

large, small = Image.fromarray(scene(24, 16)), Image.fromarray(scene(7, 5))
for n in range(1, 9):
    by_pillow(f"orientation_{n}.jpg", large, 3, orientation=n, quality=95, subsampling=0)
    by_pillow(f"orientation_{n}.png", small, orientation=n)
    by_pillow(f"orientation_{n}.tif", small, orientation=n)
    by_pillow(f"orientation_{n}.webp", small, orientation=n, lossless=True)

by_pillow("colour_halved.jpg", large, 3, edge=5, quality=95, subsampling=2)
by_pillow("progressive.jpg", large, 3, quality=95, subsampling=0, progressive=True)
by_pillow("grey.jpg", large.convert("L"), 3, quality=95)
by_pillow("cmyk.jpg", large.convert("CMYK"), 3, quality=95, subsampling=0)
by_pillow("taken.jpg", large, 3, quality=95, subsampling=0, orientation=6,
          taken=("2024:02:29 13:07:59", "-03:30", "2024-02-29T13:07:59-03:30"))
by_pillow("taken_local.jpg", large, 3, quality=95, subsampling=0, taken=("2023:11:05 00:00:01", None, "2023-11-05T00:00:01"))
by_pillow("taken_never.jpg", large, 3, quality=95, subsampling=0, taken=("2023:02:30 10:00:00", None, None))

by_pillow("grey.png", Image.fromarray(scene(7, 5, 1)))
by_pillow("grey_16.png", Image.fromarray(scene(7, 5, 1, 16)))
by_pillow("grey_alpha.png", Image.fromarray(scene(7, 5, 2), "LA"), 1)
by_pillow("alpha.png", Image.fromarray(scene(7, 5, 4)), 1)
by_pillow("palette.png", small.quantize(16))
by_pillow("one_bit.png", small.convert("1"))
by_opencv("colour_16.png", scene(7, 5, 3, 16))
by_opencv("alpha_16.png", scene(7, 5, 4, 16))

by_pillow("grey.tif", Image.fromarray(scene(7, 5, 1)))
by_pillow("grey_16.tif", Image.fromarray(scene(7, 5, 1, 16)))
by_pillow("lzw.tif", small, compression="tiff_lzw")
by_pillow("deflate.tif", small, compression="tiff_adobe_deflate")
by_pillow("alpha.tif", Image.fromarray(scene(7, 5, 4)), 1)
by_opencv("colour_16.tif", scene(7, 5, 3, 16))

by_pillow("colour.bmp", small)
by_pillow("grey.bmp", Image.fromarray(scene(7, 5, 1)))
by_pillow("palette.bmp", small.quantize(16))

by_pillow("lossy.webp", large, 3, quality=95)
by_pillow("alpha.webp", Image.fromarray(scene(7, 5, 4)), 1, lossless=True, exact=True)

versions = dict(pillow=PIL.__version__, opencv=cv2.__version__, numpy=np.__version__,
                **{name: features.version(name) for name in ("jpg", "webp", "libtiff", "zlib")})
lines = ",\n".join("  " + json.dumps(entry, separators=(",", ":")) for entry in expected)
(HERE / "expected.json").write_text(f'{{"versions": {json.dumps(versions)},\n"pictures": [\n{lines}\n]}}\n')

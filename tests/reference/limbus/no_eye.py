"""Pictures that hold no eye, for training and trying the limbus judge.

    python no_eye.py SEED OUT

OUT gets the general pictures that scikit-image, scikit-learn and matplotlib ship (`general`), cuts of them in other colours
(`cuts`), and pictures of discs, rings, boxes and targets (`shapes`).
"""
import pathlib
import sys

import matplotlib
import numpy as np
import skimage
import sklearn
from PIL import Image, ImageDraw
from scipy import ndimage

SOURCES = [pathlib.Path(skimage.__file__).parent / "data", pathlib.Path(sklearn.__file__).parent / "datasets" / "images",
           pathlib.Path(matplotlib.__file__).parent / "mpl-data" / "sample_data"]
PICTURES = {".png", ".jpg", ".jpeg"}
LEAST_SIDE = 120
CUTS, SHAPES = 6, 900


def general():
    for folder in SOURCES:
        for path in sorted(folder.glob("*")):
            if path.suffix in PICTURES:
                picture = Image.open(path).convert("RGB")
                if min(picture.size) >= LEAST_SIDE:
                    yield path.stem, picture


def cut(picture, rng):
    width, height = picture.size
    w, h = (int(n * rng.uniform(0.4, 1.0)) for n in picture.size)
    left, top = rng.integers(0, width - w + 1), rng.integers(0, height - h + 1)
    part = np.asarray(picture.crop((left, top, left + w, top + h)).resize((720, 540))) / 255.0
    part = part[..., rng.permutation(3)] * np.exp(rng.normal(0, 0.3, 3)) * rng.uniform(0.6, 1.3)
    return np.rot90(np.stack([ndimage.gaussian_filter(part[..., c], rng.uniform(0, 3)) for c in range(3)], -1), rng.integers(4))


def shapes(rng):
    width, height = 720, 540
    grey = rng.random() < 0.4
    colour = lambda: tuple(int(v) for v in (rng.integers(0, 256, 1).repeat(3) if grey else rng.integers(0, 256, 3)))
    picture = Image.new("RGB", (width, height), colour())
    draw = ImageDraw.Draw(picture)
    kind = rng.integers(4)
    for _ in range(rng.integers(1, 17) if rng.random() < 0.7 else 1):
        x, y, r = rng.uniform(0, width), rng.uniform(0, height), rng.uniform(20, 220)
        flat = rng.uniform(0.5, 1.0) if rng.random() < 0.6 else 1.0
        box = lambda s: [x - r * s, y - r * s * flat, x + r * s, y + r * s * flat]
        if kind == 0:
            draw.ellipse(box(1), fill=colour())
        elif kind == 1:
            draw.ellipse(box(1), outline=colour(), width=int(rng.uniform(3, 0.4 * r)))
        elif kind == 2:
            draw.rectangle(box(1), fill=colour())
        else:
            for s in np.linspace(1, 0.15, rng.integers(3, 8)):
                draw.ellipse(box(s), fill=colour())
    picture = np.asarray(picture) / 255.0
    if rng.random() < 0.3:
        return picture
    picture = np.stack([ndimage.gaussian_filter(picture[..., c], rng.uniform(0.5, 3)) for c in range(3)], -1)
    return picture + rng.normal(0, rng.uniform(0.003, 0.03), picture.shape)


def keep(folder, name, picture):
    folder.mkdir(parents=True, exist_ok=True)
    Image.fromarray(np.uint8(np.clip(np.asarray(picture) * 255, 0, 255))).save(folder / f"{name}.png")


def main(seed, out):
    out, seed = pathlib.Path(out), int(seed)
    for k, (name, picture) in enumerate(general()):
        keep(out / "general", name, np.asarray(picture) / 255.0)
        for i in range(CUTS):
            keep(out / "cuts", f"{name}_{i}", cut(picture, np.random.default_rng([seed, k, i])))
    for i in range(SHAPES):
        keep(out / "shapes", f"shape_{i:03}", shapes(np.random.default_rng([seed, 1000, i])))


if __name__ == "__main__":
    main(*sys.argv[1:])

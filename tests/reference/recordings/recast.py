"""Stills of known truth as other recordings would show them, to see whether a figure rests on one camera.

    python recast.py FOLDER OUT
    for way in OUT/*; do cargo bench --bench quality -- $way; done

FOLDER holds stills, truth.json and, as a rule, cases.csv, as DEVELOPERS.md describes them. OUT gets a folder for each way: other
tone curves, too much light, light of other colours, no colour, haze, sharpening, noise, blur, compression, size, squeezed pixels,
turned. The angle that is to be found stays what it was; the limbus changes with the picture, and so does the direction of the
eye's 0 where the sheet tells it.
"""
import csv
import json
import pathlib
import sys

import numpy as np
from PIL import Image, ImageFilter

SEED = 5
QUALITY, COARSE_QUALITY = 95, 25
TURNS_DEG = (37, 90, 180)


def of_levels(change):
    """A change of levels, 0 to 1, as one of a picture."""
    return lambda picture: Image.fromarray(np.uint8(np.clip(change(np.asarray(picture) / 255.0), 0, 1) * 255))


def noisy(levels):
    return levels + np.random.default_rng(SEED).normal(0, 8 / 255, levels.shape)


PICTURES = {
    "brighter": of_levels(lambda levels: levels**0.6),
    "darker": of_levels(lambda levels: levels**1.7),
    "contrasty": of_levels(lambda levels: (levels - 0.35) / 0.55),
    "dim": of_levels(lambda levels: 0.35 * levels),
    "overexposed": of_levels(lambda levels: 1.25 * levels),
    "burnt_out": of_levels(lambda levels: 1.4 * levels),
    "hazy": of_levels(lambda levels: 0.7 * levels + 0.25),
    "sharpened": lambda picture: picture.filter(ImageFilter.UnsharpMask(radius=2, percent=200, threshold=0)),
    "green": of_levels(lambda levels: levels * (0.6, 1.05, 0.55)),
    "orange": of_levels(lambda levels: levels * (1.1, 0.75, 0.35)),
    "blue": of_levels(lambda levels: levels * (0.55, 0.8, 1.1)),
    "no_colour": lambda picture: picture.convert("L").convert("RGB"),
    "noisy": of_levels(noisy),
    "soft": lambda picture: picture.filter(ImageFilter.GaussianBlur(2)),
    "compressed": lambda picture: picture,
}
SIZES = {"half_size": (0.5, 0.5), "larger": (1.7, 1.7), "low": (1.0, 0.75), "narrow": (0.72, 1.0)}


def resized(picture, scale):
    size = [round(n * s) for n, s in zip(picture.size, scale)]
    # A pixel's middle, not its corner, is at a whole number.
    move = lambda place: (place + 0.5) * scale - 0.5
    return picture.resize(size, Image.LANCZOS), np.diag(scale), move


def turned(picture, degrees):
    """Turned counter-clockwise."""
    out = picture.rotate(degrees, Image.BICUBIC, expand=True)
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    turn = np.array([[cos, sin], [-sin, cos]])
    middle = lambda p: (np.array(p.size) - 1) / 2
    return out, turn, lambda place: turn @ (place - middle(picture)) + middle(out)


def limbus_after(limbus, change, move):
    """The ellipse of truth.json after a linear change of the picture."""
    angle = np.radians(limbus["angle_deg"])
    axes = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]) * limbus["semi_axes_px"]
    directions, semi_axes, _ = np.linalg.svd(change @ axes)
    longer = np.degrees(np.arctan2(directions[1, 0], directions[0, 0])) % 180
    return {"center_px": move(np.array(limbus["center_px"])).tolist(), "semi_axes_px": semi_axes.tolist(), "angle_deg": float(longer)}


def write(folder, out, change, quality, columns):
    """Every still through `change`, which gives a picture, its linear map and where a place goes; `columns` are set in the sheet."""
    out.mkdir(parents=True, exist_ok=True)
    known = json.load(open(folder / "truth.json"))
    for entry in known:
        picture, linear, move = change(Image.open(folder / entry["still"]).convert("RGB"))
        entry["limbus"] = limbus_after(entry["limbus"], linear, move)
        entry["still"] = pathlib.Path(entry["still"]).with_suffix(".jpg").name
        picture.save(out / entry["still"], quality=quality)
    json.dump(known, open(out / "truth.json", "w"), indent=1)
    sheet = folder / "cases.csv"
    if sheet.exists():
        rows = list(csv.DictReader(open(sheet)))
        with open(out / "cases.csv", "w", newline="") as file:
            writer = csv.DictWriter(file, [*rows[0], *(c for c in columns if c not in rows[0])])
            writer.writeheader()
            for row in rows:
                name = pathlib.Path(row["still"]).with_suffix(".jpg").name
                writer.writerow({**row, "still": name, **{c: value(row) for c, value in columns.items()}})


def main(folder, out):
    folder, out = pathlib.Path(folder), pathlib.Path(out)
    unmoved = lambda change: lambda picture: (change(picture), np.eye(2), lambda place: place)
    for way, change in PICTURES.items():
        write(folder, out / way, unmoved(change), COARSE_QUALITY if way == "compressed" else QUALITY, {})
    for way, scale in SIZES.items():
        write(folder, out / way, lambda picture: resized(picture, scale), QUALITY, {})
    for degrees in TURNS_DEG:
        told = lambda row: row.get("zero_direction_deg")
        zero = lambda row: (float(told(row)) + degrees) % 360 if told(row) else ""
        write(folder, out / f"turned_{degrees}", lambda picture: turned(picture, degrees), QUALITY, {"zero_direction_deg": zero})


if __name__ == "__main__":
    main(*sys.argv[1:])

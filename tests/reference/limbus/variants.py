"""Variants of stills of known limbus, for training and trying the limbus judge: other light, tint, pupil, iris and cloth, blood,
lids, shade, turned, squeezed, cut by the edge of the picture, soft, small.

    python variants.py FOLDER PER_STILL SEED OUT

FOLDER holds stills and a truth.json as DEVELOPERS.md describes it. OUT gets PER_STILL variants of each, with a truth.json whose
entries name the `eye` of the still they came from (its own `eye`, or its name up to the last underscore). What is painted over
is painted flat: a variant is a trial of the judge's robustness, not a picture of an eye.
"""
import io
import json
import os
import sys

import numpy as np
from PIL import Image
from scipy import ndimage

SKIN = [(0.75, 0.5, 0.4), (0.6, 0.4, 0.3), (0.45, 0.28, 0.2), (0.85, 0.65, 0.5)]
CLOTH = [(0.05, 0.25, 0.2), (0.1, 0.2, 0.4), (0.1, 0.1, 0.1), (0.6, 0.6, 0.6)] + SKIN
PUPILS = [(0.08, 0.08, 0.09), (0.5, 0.12, 0.06), (0.75, 0.35, 0.1), (0.35, 0.3, 0.28), (0.8, 0.15, 0.05), (0.5, 0.5, 0.5)]


def form(axes, angle_deg):
    """The matrix Q of an ellipse about its centre, x'Qx = 1."""
    angle = np.radians(angle_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return turn @ np.diag(1 / np.square(axes)) @ turn.T


def axes_of(q):
    values, vectors = np.linalg.eigh(q)
    longer = vectors[:, 0]
    return (1 / np.sqrt(values)).tolist(), float(np.degrees(np.arctan2(longer[1], longer[0])) % 180)


def levels(shape, center, q):
    """1 on the ellipse, 0 in its centre; and the angle about it."""
    y, x = np.mgrid[:shape[0], :shape[1]].astype(float)
    x, y = x - center[0], y - center[1]
    return np.sqrt(q[0, 0] * x * x + 2 * q[0, 1] * x * y + q[1, 1] * y * y), np.arctan2(y, x)


def soft(level, at, width):
    """1 well below `at`, 0 well above."""
    return 1 / (1 + np.exp(np.clip((level - at) / width, -40, 40)))


def mix(picture, colour, share):
    return picture * (1 - share[..., None]) + np.asarray(colour) * share[..., None]


def clouds(rng, shape, size):
    field = ndimage.gaussian_filter(rng.normal(size=shape), size)
    return field / (field.std() + 1e-9)


def painted(picture, center, q, rng):
    """Changes that know where the limbus is."""
    level, angle = levels(picture.shape[:2], center, q)
    gleam = picture.min(axis=2) > 0.85
    before = picture
    some = lambda share: rng.random() < share
    if some(0.35):
        radius = rng.uniform(0.35, 0.85)
        colour = np.array(PUPILS[rng.integers(len(PUPILS))]) * rng.uniform(0.6, 1.3)
        grain = 1 + rng.uniform(0, 0.15) * clouds(rng, level.shape, 12)
        share = rng.uniform(0.7, 1.0) * soft(level + rng.uniform(0, 0.02) * np.cos(4 * angle + rng.uniform(0, 6)), radius, 0.012)
        picture = mix(picture, 0, share) + grain[..., None] * colour * share[..., None]
    if some(0.4):
        # An iris of another colour: what is inside of the limbus and not red.
        gain = np.exp(rng.normal(0, 0.35, 3) + rng.normal(0, 0.2))
        share = soft(level, 0.97, 0.02) * (1 - soft(level, rng.uniform(0.6, 0.8), 0.03))
        picture = picture * (1 - share[..., None]) + picture * gain * share[..., None]
    if some(0.25):
        # Redder white of the eye.
        share = (1 - soft(level, 1.06, 0.03)) * np.clip(0.5 + 0.4 * clouds(rng, level.shape, 25), 0, 1) * rng.uniform(0.2, 0.8)
        picture = picture * (1 - share[..., None] * np.array([0.0, 0.5, 0.5]))
    for _ in range(rng.integers(0, 4) if some(0.3) else 0):
        at, out = rng.uniform(0, 6.28), rng.uniform(0.98, 1.4)
        root = np.linalg.inv(np.linalg.cholesky(q).T)
        place = center + out * root @ [np.cos(at), np.sin(at)]
        blot, _ = levels(level.shape, place, form(np.array([1.0, rng.uniform(0.3, 1)]) * rng.uniform(0.08, 0.3) / np.sqrt(q.trace() / 2), rng.uniform(0, 180)))
        picture = mix(picture, (0.45, 0.05, 0.05), 0.8 * soft(blot + 0.2 * clouds(rng, level.shape, 6), 1, 0.08))
    if some(0.3):
        colour = np.array(CLOTH[rng.integers(len(CLOTH))]) * rng.uniform(0.5, 1.2)
        picture = mix(picture, colour, 1 - soft(level, rng.uniform(1.5, 2.3), 0.05))
    for _ in range(rng.integers(1, 3) if some(0.35) else 0):
        # A lid: skin beyond a bent line that cuts up to a quarter of the way into the limbus.
        to = rng.uniform(0, 6.28)
        y, x = np.mgrid[:level.shape[0], :level.shape[1]] * np.sqrt(q.trace() / 2)
        c = center * np.sqrt(q.trace() / 2)
        out = (x - c[0]) * np.cos(to) + (y - c[1]) * np.sin(to)
        along = -(x - c[0]) * np.sin(to) + (y - c[1]) * np.cos(to)
        edge = rng.uniform(0.72, 1.3) - rng.uniform(0, 0.25) * along**2
        colour = np.array(SKIN[rng.integers(len(SKIN))]) * rng.uniform(0.5, 1.2)
        grain = 1 + 0.1 * clouds(rng, level.shape, 3) + 0.1 * clouds(rng, level.shape, 15)
        share = soft(-out, -edge, 0.015)
        picture = mix(picture, 0, share) + grain[..., None] * colour * share[..., None]
    return np.where(gleam[..., None], before, picture)


def lit(picture, rng):
    """Changes of the light."""
    some = lambda share: rng.random() < share
    y, x = np.mgrid[:picture.shape[0], :picture.shape[1]] / max(picture.shape[:2])
    if some(0.5):
        picture = picture * np.exp(rng.normal(0, 0.25, 3))
    if some(0.3):
        grey = picture.mean(axis=2, keepdims=True)
        picture = grey + (picture - grey) * rng.uniform(0.0, 1.4)
    if some(0.4):
        cx, cy = rng.uniform(0.3, 0.7), rng.uniform(0.2, 0.55)
        fall = np.exp(-(((x - cx) ** 2 + (y - cy) ** 2) / rng.uniform(0.25, 0.8) ** 2))
        picture = picture * fall[..., None]
    if some(0.2):
        to, at = rng.uniform(0, 6.28), rng.normal(0, 0.1)
        side = (x - 0.5) * np.cos(to) + (y - 0.4) * np.sin(to)
        picture = picture * (1 - rng.uniform(0.3, 0.7) * soft(-side, at, rng.uniform(0.01, 0.06)))[..., None]
    if some(0.2):
        picture = picture * (1 - (share := rng.uniform(0.1, 0.4))) + share * rng.uniform(0.4, 0.8)
    return np.clip(picture * rng.uniform(0.45, 1.2), 0, 1)


def moved(picture, center, q, rng):
    """The picture turned, squeezed, cut and shrunk, with the limbus in it."""
    some = lambda share: rng.random() < share
    angle = rng.uniform(0, 2 * np.pi) if some(0.5) else 0.0
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    squeeze = rng.uniform(0.62, 1.0) if some(0.3) else 1.0
    radius = 1 / np.sqrt(np.sqrt(np.linalg.det(q)))
    scale = rng.uniform(75, 260) / radius
    m = scale * np.diag([squeeze, 1.0] if some(0.5) else [1.0, squeeze]) @ turn
    share = rng.uniform(0.14, 0.36)
    long = int(round(radius * scale / share))
    size = np.array([long, int(long * rng.choice([0.5625, 0.75, 0.8]))])
    at = size * rng.uniform(0.38, 0.62, 2)
    if some(0.25):
        side = rng.integers(4)
        beyond = rng.uniform(0.5, 0.95) * radius * scale
        at[side % 2] = beyond if side < 2 else size[side % 2] - beyond
    back = np.linalg.inv(m)
    offset = center - back @ at
    # From (x, y) to rows and columns; blurred first where the picture shrinks.
    sigma = 0.4 * max(0.0, 1 / scale - 1)
    swap = back[::-1, ::-1]
    planes = [ndimage.affine_transform(ndimage.gaussian_filter(picture[..., c], sigma), swap, offset[::-1], size[::-1], order=1, cval=0.0)
              for c in range(3)]
    return np.stack(planes, axis=-1), at, back.T @ q @ back


def taken(picture, rng):
    """Blur, noise and compression, as a file."""
    some = lambda share: rng.random() < share
    if some(0.5):
        sigma = rng.uniform(0.3, 3.0)
        picture = np.stack([ndimage.gaussian_filter(picture[..., c], sigma) for c in range(3)], axis=-1)
    picture = picture + rng.normal(0, rng.uniform(0, 0.04) if some(0.5) else 0.004, picture.shape)
    file = io.BytesIO()
    Image.fromarray(np.uint8(np.clip(picture * 255, 0, 255))).save(file, "jpeg", quality=int(rng.integers(30, 95)))
    return file.getvalue()


def main(folder, per_still, seed, out):
    os.makedirs(out, exist_ok=True)
    known = []
    for k, entry in enumerate(json.load(open(os.path.join(folder, "truth.json")))):
        name = entry["still"]
        picture = np.asarray(Image.open(os.path.join(folder, name)).convert("RGB")) / 255.0
        limbus = entry["limbus"]
        center, q = np.array(limbus["center_px"]), form(limbus["semi_axes_px"], limbus["angle_deg"])
        for i in range(int(per_still)):
            rng = np.random.default_rng([int(seed), k, i])
            changed, at, moved_q = moved(lit(painted(picture, center, q, rng), rng), center, q, rng)
            variant = f"{os.path.splitext(name)[0]}_{i:03}.jpg"
            with open(os.path.join(out, variant), "wb") as file:
                file.write(taken(changed, rng))
            axes, angle = axes_of(moved_q)
            eye = entry.get("eye", name.rsplit("_", 1)[0])
            known.append({"still": variant, "eye": eye, "limbus": {"center_px": at.tolist(), "semi_axes_px": axes, "angle_deg": angle}})
    json.dump(known, open(os.path.join(out, "truth.json"), "w"), indent=1)


if __name__ == "__main__":
    main(*sys.argv[1:])

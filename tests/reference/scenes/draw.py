"""Draw a few operated eyes of known angle with NumPy, SciPy, scikit-image and Pillow.

    python draw.py        writes the pictures, truth.json, cases.csv and versions.json beside itself

An independent hand: it shares no code with the program that measures, nor with the one that draws its own stills.

Geometry. The plane of the limbus has its origin at the limbus's centre, x towards the eye's 0 meridian, y towards its
90, millimetres. The limbus there is an oval, WIDTH_MM wide and `oval` times that high. The eye's 0 points `zero`
degrees counter-clockwise from the right of the picture; the whole plane is then seen under a tilt of `tilt` degrees
about a direction `tilt_axis`, which squeezes the picture across it by cos(tilt). Angles count counter-clockwise as
seen, y up, pixels have y down with their centres at integers.
"""
import csv
import json
import math
from pathlib import Path

import numpy as np
import PIL
import scipy
import skimage
from PIL import Image
from scipy.ndimage import gaussian_filter, map_coordinates
from skimage.draw import polygon2mask
from skimage.transform import downscale_local_mean

HERE = Path(__file__).parent
SIZE = (640, 480)
FINER = 4  # drawn this much finer each way, then averaged down
WIDTH_MM = 11.7
# A lens at its depth looks this much larger through the cornea.
MAGNIFIED = 1.17

SCENES = [
    dict(still="line_dots.jpg", seed=11, centre=(322.4, 236.7), px_per_mm=27.5, oval=0.94, zero=18.0, tilt=0, tilt_axis=0,
         axis=40.0, error=3.2, denote=None, marks="line", lens="dots3", iris=(92, 62, 40), reflex=(214, 106, 52),
         light=(1.0, 1.0, 1.0), offset=(0.12, -0.08)),
    dict(still="ink_pairs.jpg", seed=12, centre=(310.2, 247.1), px_per_mm=28.6, oval=0.95, zero=-25.0, tilt=8, tilt_axis=60,
         axis=85.0, error=-6.5, denote=None, marks="ink", lens="dots2", iris=(96, 122, 140), reflex=(196, 92, 60),
         light=(1.0, 0.97, 0.86), offset=(-0.15, 0.10)),
    dict(still="dot_dashes.jpg", seed=13, centre=(331.8, 233.5), px_per_mm=26.3, oval=0.93, zero=92.0, tilt=5, tilt_axis=10,
         axis=120.0, error=11.3, denote=None, marks="dot", lens="dash", iris=(112, 104, 72), reflex=(222, 128, 70),
         light=(0.9, 1.0, 0.93), offset=(0.05, 0.18)),
    dict(still="meridians.jpg", seed=14, centre=(318.0, 241.3), px_per_mm=28.0, oval=0.92, zero=12.0, tilt=6, tilt_axis=100,
         axis=35.0, error=-2.1, denote=(0, 180), marks="line", lens="dots3", iris=(78, 54, 38), reflex=(206, 98, 50),
         light=(1.0, 0.98, 0.95), offset=(-0.08, -0.12)),
    dict(still="single_mark.jpg", seed=15, centre=(326.6, 238.4), px_per_mm=27.0, oval=0.95, zero=183.0, tilt=3, tilt_axis=150,
         axis=160.0, error=1.4, denote=(0, 180), marks="line", lens="dots2", iris=(120, 132, 128), reflex=(200, 110, 84),
         light=(0.97, 0.97, 1.0), offset=(0.1, 0.0)),
    dict(still="nearly_right.jpg", seed=16, centre=(315.9, 244.6), px_per_mm=29.2, oval=0.94, zero=-70.0, tilt=4, tilt_axis=30,
         axis=5.0, error=0.4, denote=None, marks="ink", lens="dash", iris=(88, 76, 58), reflex=(190, 84, 46),
         light=(0.92, 0.95, 0.9), offset=(0.0, 0.14)),
]


def plane_to_picture(scene):
    """2 x 2 matrix from millimetres (y up, the eye's own frame) to pixels (y down)."""
    turn = lambda degrees: np.array([[math.cos(math.radians(degrees)), -math.sin(math.radians(degrees))],
                                     [math.sin(math.radians(degrees)), math.cos(math.radians(degrees))]])
    squeeze = turn(scene["tilt_axis"]) @ np.diag([1.0, math.cos(math.radians(scene["tilt"]))]) @ turn(-scene["tilt_axis"])
    return np.diag([1.0, -1.0]) @ (scene["px_per_mm"] * squeeze) @ turn(scene["zero"])


def direction(degrees):
    return np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees))])


class Canvas:
    """A picture drawn FINER times too large; colours 0 to 255."""

    def __init__(self, scene):
        self.matrix = plane_to_picture(scene)
        self.centre = np.array(scene["centre"])
        self.px_per_mm = scene["px_per_mm"]
        rows, columns = np.mgrid[0:SIZE[1] * FINER, 0:SIZE[0] * FINER]
        # Centre of each small square, in the pixels of the finished picture.
        self.x = (columns + 0.5) / FINER - 0.5
        self.y = (rows + 0.5) / FINER - 0.5
        back = np.linalg.inv(self.matrix)
        dx, dy = self.x - self.centre[0], self.y - self.centre[1]
        self.u = back[0, 0] * dx + back[0, 1] * dy
        self.v = back[1, 0] * dx + back[1, 1] * dy
        self.colour = np.zeros(self.x.shape + (3,))

    def blend(self, cover, colour):
        self.colour += cover[..., None] * (np.asarray(colour, float) - self.colour)

    def shape(self, outline_mm, colour, strength, soft_mm=0.03):
        """Fill a polygon given in the plane of the limbus."""
        pixels = self.centre + np.asarray(outline_mm) @ self.matrix.T
        fine = (pixels[:, ::-1] + 0.5) * FINER - 0.5
        soft = soft_mm * self.px_per_mm * FINER
        # Only where the shape is, with room for its soft edge.
        low = np.clip(np.floor(fine.min(0) - 5 * soft).astype(int), 0, self.x.shape)
        high = np.clip(np.ceil(fine.max(0) + 5 * soft).astype(int) + 1, 0, self.x.shape)
        if (high <= low).any():
            return
        mask = polygon2mask(tuple(high - low), fine - low).astype(float)
        cover = strength * gaussian_filter(mask, soft, mode="constant")
        part = self.colour[low[0]:high[0], low[1]:high[1]]
        part += cover[..., None] * (np.asarray(colour, float) - part)

    def bar(self, start_mm, end_mm, width_mm, colour, strength, soft_mm=0.03):
        start, end = np.asarray(start_mm), np.asarray(end_mm)
        along = (end - start) / np.linalg.norm(end - start)
        across = np.array([-along[1], along[0]]) * width_mm / 2
        self.shape([start + across, end + across, end - across, start - across], colour, strength, soft_mm)

    def spot(self, at_mm, radius_mm, colour, strength, soft_mm=0.03):
        angles = np.linspace(0, 2 * np.pi, 48, endpoint=False)
        ring = np.stack([np.cos(angles), np.sin(angles)], 1) * radius_mm
        self.shape(np.asarray(at_mm) + ring, colour, strength, soft_mm)

    def finished(self):
        return downscale_local_mean(self.colour, (FINER, FINER, 1))


def edge(signed_distance, width):
    """1 inside (negative distance), 0 outside, over `width`."""
    return 1 / (1 + np.exp(np.clip(signed_distance / (width / 4), -60, 60)))


def draw(scene):
    random = np.random.default_rng(scene["seed"])
    canvas = Canvas(scene)
    u, v = canvas.u, canvas.v
    radius = np.hypot(u, v)
    angle = np.arctan2(v, u)
    oval = np.hypot(u, v / scene["oval"]) - WIDTH_MM / 2

    shade = gaussian_filter(random.standard_normal(radius.shape), 40 * FINER, truncate=2)
    shade /= np.abs(shade).max()
    canvas.blend(np.ones_like(radius), (222, 208, 194))
    canvas.colour *= (1 + 0.05 * shade)[..., None]
    vessels(canvas, random)
    # The limbus is a zone, half a millimetre wide, darker on its inner side.
    canvas.blend(edge(oval, 0.5), scene["iris"])
    canvas.blend(0.35 * np.exp(-((oval + 0.35) / 0.3) ** 2), (58, 56, 60))
    iris_texture(canvas, radius, angle, oval, random)
    pupil(canvas, scene, radius, angle, random)
    lens(canvas, scene)
    reference_marks(canvas, scene)
    for at, size in [((0.35, 0.3), 0.30), ((0.95, 0.25), 0.22)]:
        canvas.spot(at, size, (255, 253, 246), 1.0, 0.05)

    picture = canvas.finished() * np.asarray(scene["light"])
    far = np.hypot(np.mgrid[0:SIZE[1], 0:SIZE[0]][1] - 320, np.mgrid[0:SIZE[1], 0:SIZE[0]][0] - 240) / 400
    picture *= (1 - 0.35 * far**2)[..., None]
    picture = gaussian_filter(picture, (0.8, 0.8, 0)) + random.normal(0, 3.0, picture.shape)
    return np.clip(np.rint(picture), 0, 255).astype(np.uint8)


def vessels(canvas, random):
    for _ in range(22):
        heading = random.uniform(0, 360)
        place = direction(heading) * random.uniform(6.6, 11)
        course = heading + random.uniform(-70, 70)
        for _ in range(random.integers(6, 14)):
            step = place + direction(course) * 0.35
            if np.linalg.norm(step) < 6.3:
                break
            canvas_width = random.uniform(0.04, 0.09)
            canvas.bar(place, step, canvas_width, (176, 72, 66), 0.45)
            place, course = step, course + random.uniform(-35, 35)


def iris_texture(canvas, radius, angle, oval, random):
    """Radial streaks: noise over angle, drawn out along the radius."""
    table = gaussian_filter(random.standard_normal((24, 720)), (1.5, 1.2), mode=("nearest", "wrap"))
    rows = np.clip((radius - 3) / 3, 0, 1) * 23
    streaks = map_coordinates(table, [rows, (angle / (2 * np.pi) % 1) * 719], order=1, mode="nearest")
    inside = edge(oval + 0.4, 0.4)
    canvas.colour *= (1 + 0.25 * inside * streaks / np.abs(table).max())[..., None]


def pupil(canvas, scene, radius, angle, random):
    wobble = 0.06 * np.cos(3 * angle + random.uniform(0, 6)) + 0.04 * np.cos(5 * angle + random.uniform(0, 6))
    inside = edge(radius - 4.05 - wobble, 0.12)
    glow = 1 - 0.25 * (canvas.v / 4.0) ** 2 + 0.08 * canvas.u / 4.0
    canvas.blend(inside, (0, 0, 0))
    canvas.colour += inside[..., None] * np.asarray(scene["reflex"]) * glow[..., None]


def lens(canvas, scene):
    """Rim of the optic, and two groups of marks on the lens axis."""
    middle = np.asarray(scene["offset"]) * MAGNIFIED
    rim = np.hypot(canvas.u - middle[0], canvas.v - middle[1]) - 3.0 * MAGNIFIED
    canvas.blend(0.25 * np.exp(-(rim / 0.05) ** 2), (250, 214, 170))
    axis = direction(scene["axis"] + scene["error"])
    colour = (58, 34, 30)
    for side in (1, -1):
        place = lambda mm: middle + axis * side * mm * MAGNIFIED
        if scene["lens"] == "dash":
            canvas.bar(place(2.05), place(2.65), 0.14, colour, 0.85)
        else:
            count = int(scene["lens"][-1])
            for k in range(count):
                canvas.spot(place(2.7 - 0.28 * k), 0.095, colour, 0.85)


def reference_marks(canvas, scene):
    stood_for = scene["denote"] or (scene["axis"], scene["axis"] + 180)
    if scene["still"].startswith("single"):
        stood_for = stood_for[:1]
    for degrees in stood_for:
        out = direction(degrees)
        colour = (52, 50, 104)
        if scene["marks"] == "line":
            canvas.bar(out * 5.0, out * 6.5, 0.16, colour, 0.85)
        elif scene["marks"] == "ink":
            canvas.bar(out * 5.1, out * 6.6, 0.5, colour, 0.75, 0.08)
        else:
            canvas.spot(out * 5.85, 0.28, colour, 0.8, 0.06)


def truth(scene):
    matrix = plane_to_picture(scene)
    # Picture of the oval: singular value decomposition of (plane to picture) (unit circle to oval).
    sides, semi_axes, _ = np.linalg.svd(matrix @ np.diag([WIDTH_MM / 2, WIDTH_MM / 2 * scene["oval"]]))
    longer = math.degrees(math.atan2(sides[1, 0], sides[0, 0])) % 180
    return dict(still=scene["still"], alignment_error_deg=scene["error"], limbus_height_over_width=scene["oval"],
                reference_kind=scene["marks"], lens_kind=scene["lens"], lens_offset_mm=list(scene["offset"]),
                limbus=dict(center_px=list(scene["centre"]), semi_axes_px=[float(s) for s in semi_axes], angle_deg=longer))


def main():
    for scene in SCENES:
        picture = Image.fromarray(draw(scene))
        picture.save(HERE / scene["still"], quality=95, subsampling=0, optimize=True)
    (HERE / "truth.json").write_text(json.dumps([truth(scene) for scene in SCENES], indent=1) + "\n")
    with open(HERE / "cases.csv", "w", newline="") as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(["still", "intended_axis_deg", "marks_denote_deg", "zero_direction_deg", "white_to_white_mm",
                       "limbus_height_mm"])
        for scene in SCENES:
            denote = ";".join(str(d) for d in scene["denote"]) if scene["denote"] else ""
            zero = round(scene["zero"] / 10) * 10 % 360 if scene["denote"] else ""
            height = f'{WIDTH_MM * scene["oval"]:.3f}' if scene["denote"] else ""
            rows.writerow([scene["still"], scene["axis"], denote, zero, WIDTH_MM if scene["denote"] else "", height])
    versions = dict(numpy=np.__version__, scipy=scipy.__version__, pillow=PIL.__version__, **{"scikit-image": skimage.__version__})
    (HERE / "versions.json").write_text(json.dumps(versions, indent=1) + "\n")


if __name__ == "__main__":
    main()

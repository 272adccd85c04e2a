"""A second opinion on the drawn scenes: limbus and marks by scikit-image, the angle by plain NumPy.

    python second_opinion.py        reads the pictures and cases.csv beside itself, writes second_opinion.json

Colours are first divided by those of the white of the eye. Reference marks are what is blue there (blue well above
green), the pupil is what is red, lens marks are what is dark inside the pupil; centroids are those of skimage.measure's
regionprops, weighted. The limbus is the steepest rise of brightness along rays from the pupil, fitted with EllipseModel.
No value of truth.json is used.
"""
import csv
import json
import math
from pathlib import Path

import numpy as np
import scipy
import skimage
from scipy.linalg import sqrtm
from scipy.ndimage import gaussian_filter, gaussian_filter1d, median_filter
from skimage.io import imread
from skimage.measure import EllipseModel, label, profile_line, regionprops
from skimage.morphology import convex_hull_image, disk, erosion, opening

HERE = Path(__file__).parent
USUAL_OVAL = 0.94  # height over width of a limbus, where the sheet gives none
WIDTH_MM = 11.7


def balanced(picture):
    """Colours relative to the white of the eye, taken as the brightest fifth of the picture's rim."""
    picture = gaussian_filter(picture.astype(float), (1, 1, 0))
    rim = np.concatenate([picture[:40].reshape(-1, 3), picture[-40:].reshape(-1, 3)])
    bright = rim[rim.sum(1) > np.quantile(rim.sum(1), 0.8)]
    return picture / np.median(bright, axis=0)


def regions(weight, threshold, least_area):
    found = regionprops(label(weight > threshold), intensity_image=np.clip(weight - threshold, 0, None))
    found = [r for r in found if r.area >= least_area]
    return sorted(found, key=lambda r: -r.area)


def place(region):
    row, column = region.centroid_weighted
    return np.array([column, row])


def pupil_of(colours):
    red = opening(colours[..., 0] - colours[..., 2] > 0.25, disk(5))
    largest = max(regionprops(label(red)), key=lambda r: r.area)
    mask = np.zeros(red.shape, bool)
    mask[largest.slice] = largest.image
    return convex_hull_image(mask)


def limbus_of(colours, pupil, marks):
    rows, columns = np.nonzero(pupil)
    centre = np.array([columns.mean(), rows.mean()])
    reach = math.sqrt(pupil.sum() / math.pi)
    brightness = colours.mean(axis=2)
    hidden = [math.atan2(*(place(m) - centre)[::-1]) for m in marks]
    edges = []
    for angle in np.radians(np.arange(0, 360, 1)):
        if any(abs((angle - h + math.pi) % (2 * math.pi) - math.pi) < math.radians(10) for h in hidden):
            continue
        heading = np.array([math.cos(angle), math.sin(angle)])
        start, end = centre + heading * (reach + 12), centre + heading * reach * 1.9
        if not all(2 <= value <= size - 3 for value, size in zip(end, brightness.shape[::-1])):
            continue
        profile = profile_line(brightness, start[::-1], end[::-1], linewidth=3, order=1)
        rise = gaussian_filter1d(profile, 3, order=1)
        k = int(np.argmax(rise[2:-2])) + 2
        before, at, after = rise[k - 1:k + 2]
        k += 0.5 * (before - after) / (before - 2 * at + after)
        edges.append(start + heading * k * np.linalg.norm(end - start) / (len(profile) - 1))
    edges = np.array(edges)
    for _ in range(3):  # vessels and lamp reflections are left out
        ellipse = EllipseModel.from_estimate(edges)
        distance = np.abs(ellipse.residuals(edges))
        edges = edges[distance < max(3 * np.median(distance), 0.5)]
    (x, y), (a, b), theta = ellipse.center, ellipse.axis_lengths, ellipse.theta
    if a < b:
        a, b, theta = b, a, theta + math.pi / 2
    return dict(center_px=[x, y], semi_axes_px=[a, b], angle_deg=math.degrees(theta) % 180), len(edges)


def lens_groups(colours, pupil):
    brightness = colours.mean(axis=2)
    dark = 1 - brightness / median_filter(brightness, 31)
    inside = erosion(pupil, disk(9))
    marks = regions(np.where(inside, dark, 0), 0.3, 4)
    marks = [m for m in marks if m.area >= 0.4 * marks[0].area]
    places = np.array([place(m) for m in marks])
    along = np.linalg.svd(places - places.mean(0))[2][0]
    side = (places - places.mean(0)) @ along > 0
    return [places[side], places[~side]]


def oval_map(ellipse, oval, zero_deg):
    """Inverse of S with S N^2 S = E^2: from pixels to the plane of the limbus, both y down."""
    turn = lambda t: np.array([[math.cos(t), -math.sin(t)], [math.sin(t), math.cos(t)]])
    form = lambda sizes, t: turn(t) @ np.diag(sizes) @ turn(t).T
    e = form(ellipse["semi_axes_px"], math.radians(ellipse["angle_deg"]))
    n = form([WIDTH_MM / 2, WIDTH_MM / 2 * oval], -math.radians(zero_deg))
    inner = np.linalg.inv(n)
    return np.linalg.inv(inner @ np.real(sqrtm(n @ e @ e @ n)) @ inner)


def axis_of(vector):
    return math.degrees(math.atan2(-vector[1], vector[0]))


def wrap(degrees):
    return (degrees + 90) % 180 - 90


def alignment(case, limbus, marks, lens):
    """Lens axis less intended axis, in the plane of the limbus; the eye's 0 follows from the marks."""
    oval = float(case["limbus_height_mm"]) / WIDTH_MM if case["limbus_height_mm"] else USUAL_OVAL
    intended = float(case["intended_axis_deg"])
    centre = np.array(limbus["center_px"])
    denoted = [float(d) for d in case["marks_denote_deg"].split(";")] if case["marks_denote_deg"] else [intended]
    zero = 0.0
    for _ in range(20):
        back = oval_map(limbus, oval, zero)
        chord = marks[0] - marks[1] if len(marks) == 2 else marks[0] - centre
        # All marks here stand on one axis: that of the first one denoted.
        zero = axis_of(back @ chord) - denoted[0]
    lens_axis = axis_of(back @ (lens[0].mean(0) - lens[1].mean(0))) - zero
    return wrap(lens_axis - intended)


def main():
    opinions = []
    for case in csv.DictReader(open(HERE / "cases.csv")):
        colours = balanced(imread(HERE / case["still"]))
        pupil = pupil_of(colours)
        blue = np.where(pupil, 0, colours[..., 2] - colours[..., 1])
        marks = regions(blue, 0.18, 15)
        marks = [m for m in marks if m.area >= 0.3 * marks[0].area]
        limbus, edges = limbus_of(colours, pupil, marks)
        lens = lens_groups(colours, pupil)
        places = [place(m) for m in marks]
        opinions.append(dict(
            still=case["still"], limbus=limbus, limbus_edges=edges,
            reference_marks_px=[p.tolist() for p in places],
            lens_marks_px=[p.tolist() for group in lens for p in group],
            alignment_error_deg=alignment(case, limbus, places, lens)))
    versions = dict(numpy=np.__version__, scipy=scipy.__version__, **{"scikit-image": skimage.__version__})
    rounded = json.loads(json.dumps(dict(versions=versions, opinions=opinions)), parse_float=lambda t: round(float(t), 3))
    (HERE / "second_opinion.json").write_text(json.dumps(rounded, indent=1) + "\n")


if __name__ == "__main__":
    main()

"""Pictures that hold no eye must get no limbus: runs the program on those that the scikit-image wheel ships.

    python general_pictures.py PATH/TO/stillaxis

Prints how many pictures there are and which of them were claimed to hold a limbus or were measured; exit code 1 if any.
"""
import json
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
import skimage
from skimage import data, io

PICTURES = {".png", ".jpg", ".jpeg"}
DRAWN = ["binary_blobs", "checkerboard", "shepp_logan_phantom"]


def as_bytes(picture):
    picture = np.asarray(picture, dtype=float)
    return np.uint8(np.round(255 * (picture - picture.min()) / max(np.ptp(picture), 1e-9)))


def main(program):
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        (folder / "in").mkdir()
        for path in sorted((pathlib.Path(skimage.__file__).parent / "data").iterdir()):
            if path.suffix in PICTURES:
                (folder / "in" / path.name).write_bytes(path.read_bytes())
        for name in DRAWN:
            io.imsave(folder / "in" / f"drawn_{name}.png", as_bytes(getattr(data, name)()), check_contrast=False)
        subprocess.run([program, "measure", folder / "in", "--out", folder / "out"], stderr=subprocess.DEVNULL)
        records = [json.loads(line) for line in open(folder / "out" / "measurements.ndjson")]
    claimed = [r["still"]["path"] for r in records if r["limbus"] or r["outcome"] == "measured"]
    print(f"{len(records)} pictures, limbus claimed on {len(claimed)}", *claimed, sep="\n  ")
    return bool(claimed)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1]))

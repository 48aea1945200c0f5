"""A phone learned from photos of the bare frame, and what it does for photos of a part.

Run as `python benchmarks/known_camera.py`. The rendered cases phone-frames-only and
steel-plate-same-phone have one lens, which `truth.json` states exactly; bars are given as read by
hand for learning, and the part's photos are measured with exact bars and thickness.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from photo_truth import PHOTOS, Case, distortion_error, score

from snugline.trace.known_cameras import KnownCamera, learn, prior_for
from snugline.trace.measure import measure_photos

FOCAL, CENTRE_PX, CURVE_PX = 1e-3, 2.0, 0.15
CONTOUR = (0.05, 0.15)
SETS = {"all six": (1, 2, 3, 4, 5, 6), "three": (2, 3, 5), "two": (1, 5)}


def row(what: str, figure: str, bound: str, held: bool) -> bool:
    print(f"{what:44s} {figure:>12s} {bound:>12s}  {'pass' if held else 'FAIL'}")
    return held


def main() -> int:
    """Print the table; the exit status says whether all bounds hold."""
    frames_only, plate = Case(PHOTOS / "phone-frames-only"), Case(PHOTOS / "steel-plate-same-phone")
    true = frames_only.truth["lens"]
    print(f"{'':44s} {'figure':>12s} {'bound':>12s}")
    held = []
    cameras: dict[str, KnownCamera] = {}
    for words, numbers in SETS.items():
        files = [frames_only.folder / f"photo-{n}.jpg" for n in numbers]
        start = time.process_time()
        camera = cameras[words] = learn(files, frames_only.frames(measured=True), "phone")
        seconds = time.process_time() - start
        focal = abs(camera.lens.focal / true["f"] - 1)
        centre = float(np.hypot(*np.subtract(camera.lens.centre, (true["cx"], true["cy"]))))
        curve = distortion_error(frames_only, camera.lens, numbers)
        print(f"learned from {words}: {seconds:.1f} s, hold-out {camera.holdout_mm:.4f} mm")
        held.append(
            row("  focal length", f"{focal * 100:.4f} %", f"{FOCAL * 100} %", focal < FOCAL)
        )
        held.append(row("  centre", f"{centre:.2f} px", f"{CENTRE_PX} px", centre < CENTRE_PX))
        held.append(
            row(
                "  distortion where markers were, rms",
                f"{curve:.3f} px",
                f"{CURVE_PX} px",
                curve < CURVE_PX,
            )
        )
    known = [cameras["all six"]]
    for file, record in zip(plate.photos, plate.truth["photos"], strict=True):
        (bare,) = measure_photos([file], plate.frames(), plate.sides()).photos
        (photo,) = measure_photos(
            [file], plate.frames(), plate.sides(), lambda p: prior_for(p, known, "phone")
        ).photos
        before = score(plate, record, [bare.contour.outer])
        after = score(plate, record, [photo.contour.outer])
        print(f"{file.stem}: without it {before.rms:.3f} rms, {before.p99:.3f} at 99 %")
        for words, figure, bound in (
            ("  contour, rms", after.rms, CONTOUR[0]),
            ("  contour, 99 %", after.p99, CONTOUR[1]),
            (
                "  hold-out of the markers",
                photo.contour.photo.markers_holdout_mm,
                bare.contour.photo.markers_holdout_mm,
            ),
        ):
            held.append(row(words, f"{figure:.4f} mm", f"{bound:.4f} mm", figure <= bound))
    print(f"{sum(held)} of {len(held)} bounds pass")
    return 0 if all(held) else 1


if __name__ == "__main__":
    sys.exit(main())

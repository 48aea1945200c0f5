"""How many remarks the rendered photos have, and which: a photo that is good is quiet.

Run as `python benchmarks/remarks.py [--texts]`. Thickness and bars are as read by hand; of a case's
photos all are measured together. Normal photos are those that no row of the accuracy table calls
hard, of frames with markers.
"""

import argparse
import sys
from collections import Counter
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from photo_truth import PHOTOS, Case, cases, is_hard

from snugline import SnuglineError
from snugline.trace.measure import measure_photos
from snugline.trace.sheet.frame_description import Frame

MEDIAN, MOST = 0, 2


def remarked(folder):
    """Photo, why it is hard, and (code, severity, text) of its remarks, by photo of a case."""
    cv2.setNumThreads(1)
    case = Case(folder)
    frames = case.frames(True)
    plain = "" if isinstance(frames[0], Frame) else "plain frame"
    try:
        measured = measure_photos(case.photos, frames, case.sides(True))
    except SnuglineError as error:
        return [(folder.name, "", [("refused", "retake", str(error))])]
    return [
        (
            f"{case.name} {photo.file.stem[-1]}",
            is_hard(case, record) or plain,
            [(n.code, n.severity, str(n.text)) for n in photo.contour.notices],
        )
        for photo, record in zip(measured.photos, case.truth["photos"], strict=True)
    ]


def main():
    """Run, print, and say by the exit status whether the bounds hold."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--texts", action="store_true", help="print the sentences, too")
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args()
    folders = [case.folder for case in cases(PHOTOS) if case.has_part]
    with get_context("spawn").Pool(options.workers) as pool:
        rows = [row for some in pool.map(remarked, folders, chunksize=1) for row in some]
    for name, hard, remarks in rows:
        print(f"{name:32} {len(remarks)} {' '.join(code for code, _, _ in remarks)} | {hard}")
        for code, severity, text in remarks if options.texts else []:
            print(f"     {code} ({severity}): {text}")
    counts = [len(remarks) for _, hard, remarks in rows if not hard]
    codes = Counter(code for _, hard, remarks in rows if not hard for code, _, _ in remarks)
    print(f"\n{len(counts)} normal photos; by code: {dict(codes.most_common())}")
    median, most = float(np.median(counts)), max(counts)
    held = median <= MEDIAN and most <= MOST
    print(f"{'pass' if held else 'FAIL'} median {median:g} ({MEDIAN}), largest {most} ({MOST})")
    return 0 if held else 1


if __name__ == "__main__":
    sys.exit(main())

"""Contours of photos of another renderer: Mitsuba 3 makes them; only the print is ours.

    python benchmarks/outside_photos.py [N] [SEED] [--first K] [--keep FOLDER] [--tables FOLDER]

makes N scenes (40) of `outside_scenes.py` from number K on, renders each (half a minute of
processor time; photos are kept in the temporary directory), traces them, and prints the table of
`unseen_kinds.py` with a row for each sort of material. The renderer of `unseen_scenes.py` may share
a misconception with the program; this one cannot. Beside the test dependencies it needs
`pip install mitsuba` and a library of LLVM (`apt-get install libllvm19`).
"""

import argparse
import sys
import tempfile
import time
from hashlib import sha256
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from mitsuba_render import INSTALL, installed, render
from outside_scenes import ROWS, SIZE, drawn
from sensor import developed, save_photo
from unseen_kinds import judged, keep, kept_in, row_table, table, told_of

ROOT = Path(__file__).parents[1]
_SOURCES = (
    "tests/mitsuba_render.py",
    "tests/surfaces.py",
    "tests/printed_sheet.py",
    "tests/sensor.py",
    "benchmarks/outside_scenes.py",
)
MADE_BY = sha256(b"".join((ROOT / s).read_bytes() for s in _SOURCES)).hexdigest()[:10]


def photo(seed, scene):
    """The path of a scene's photo, rendered unless it was before."""
    folder = Path(tempfile.gettempdir()) / "snugline-outside-scenes" / MADE_BY
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"outside-{seed}-{scene.number}.jpg"
    if not path.exists():
        seen = bent(render(scene.scene), scene.scene.view.focal, scene.bent)
        rgb = developed(seen, scene.sensor, scene.scene.seed)
        part = path.with_suffix(".part.jpg")
        focal_35mm = scene.scene.view.focal * np.hypot(36, 24) / np.hypot(*SIZE)
        save_photo(part, rgb, focal_35mm, scene.sensor.quality)
        part.replace(path)
    return path


def bent(picture, focal, terms):
    """A picture through a lens that bends: two radial terms, and its axis moved by (x, y) px."""
    height, width = picture.shape[:2]
    one, two, dx, dy = terms
    x = (np.arange(width, dtype=np.float32) - np.float32((width - 1) / 2 + dx))[None]
    y = (np.arange(height, dtype=np.float32) - np.float32((height - 1) / 2 + dy))[:, None]
    q = (x * x + y * y) / np.float32(focal) ** 2
    stretch = 1 + np.float32(one) * q + np.float32(two) * q * q
    from_x, from_y = (
        x * stretch + np.float32((width - 1) / 2),
        y * stretch + np.float32((height - 1) / 2),
    )
    return cv2.remap(picture, from_x, from_y, cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REPLICATE)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("n", type=int, nargs="?", default=40)
    parser.add_argument("seed", type=int, nargs="?", default=1)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--tables", type=Path)
    parser.add_argument("--photos", action="store_true", help="make the photos and trace none")
    options = parser.parse_args()
    if options.tables:
        kept = list(kept_in(options.tables))
        lines = [*table([facts for facts, _ in kept], ROWS), "", *row_table(kept, ROWS)]
        print("\n".join(lines))
        return 0
    if not installed():
        print(f"Mitsuba 3 is not installed: {INSTALL}.")
        return 2
    cv2.setNumThreads(1)
    records = []
    for number in range(options.first, options.first + options.n):
        scene = drawn(options.seed, number)
        start = time.process_time()
        path = photo(options.seed, scene)
        if options.photos:
            print(f"{path} {scene.kind}: {scene.words} ({time.process_time() - start:.0f} s)")
            continue
        facts, arrays = judged(path, scene, scene.row, options.seed)
        records.append(facts)
        print(f"{told_of(facts)}\n       {scene.kind}: {scene.words} | {scene.hard}", flush=True)
        if options.keep:
            keep(options.keep, facts, arrays)
    if records:
        print("\n".join(table(records, ROWS)))
    return int(any(r["outcome"] == "SILENT" for r in records))


if __name__ == "__main__":
    sys.exit(main())

"""The acceptance test on rendered photos with known errors built in: is the stated error right?

    python benchmarks/acceptance.py [NUMBER OF SCENES [SEED]]

Each scene has an object somewhere within its tolerances, a print out of scale, a lens, a view and a
light of its own. In half of them the bars are not entered, so that the print's scale is a known
error of the instrument. Compared with the stated error E and its U95 are

- the true error: what is measured with the object exactly known, less its true size;
- the error built in: what the print's scale alone makes of the true size. Light and lens add theirs
  to E, and not to U95; this column is for information.
"""

import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

from acceptance_scenes import COPPER, DARK_BLUE, DARK_GREY, FRAME, Laid, photograph
from sensor import Sensor

from snugline.desk.acceptance_run import run_acceptance
from snugline.errors import PhotoError
from snugline.fit.acceptance import ReferenceSize
from snugline.fit.reference_objects import OBJECTS, block
from snugline.trace.sheet.frame_description import with_print_scale

SHARE = 0.95
BLOCK = block(60.0, 35.0, 9.0, 0.02)


def scene(seed, number):
    """The object as published, and as it lies there."""
    rng = np.random.default_rng([seed, number])
    known = (OBJECTS["card"], OBJECTS["us-nickel"], OBJECTS["card"], BLOCK)[number % 4]

    def within(size):
        return size.value + size.tolerance * rng.uniform(-1, 1)

    sizes = tuple(within(size) for size in known.sizes)
    if known is BLOCK:
        sizes = (*sizes, 0.3)
    edge = rng.uniform(0.1, 0.5) if known.edge_radius else 0.0
    colours = [COPPER] if known.edge_radius else [DARK_BLUE, DARK_GREY, COPPER]
    azimuth = rng.uniform(0, 2 * np.pi)
    lamp = (1100 * np.cos(azimuth), 1100 * np.sin(azimuth), rng.uniform(700, 1500))
    laid = Laid(
        sizes,
        within(known.thickness),
        edge,
        colours[int(rng.integers(len(colours)))],
        tuple(1 + rng.normal(0, 0.003) + rng.normal(0, 0.0005, 2)),
        (rng.uniform(-40, 40), rng.uniform(-12, 12)),
        rng.uniform(-np.pi, np.pi),
        (rng.uniform(285, 340), rng.uniform(3, 16), rng.uniform(0, 360), rng.uniform(-10, 10)),
        lamp,
        (rng.normal(0, 0.03), rng.normal(0, 0.015), rng.normal(0, 0.005), 0.0),
        Sensor(blur=rng.uniform(0.7, 1.3), sharpen=float(rng.choice([0, 0.3, 0.6]))),
        number,
    )
    return known, laid, bool(rng.integers(2))


def exactly(known, laid):
    """The object as it really is, without tolerances worth the name."""
    sizes = tuple(
        ReferenceSize(size.of, value, 1e-6)
        for size, value in zip(known.sizes, laid.sizes, strict=False)
    )
    thickness = ReferenceSize("thickness", laid.thickness, 1e-4)
    return replace(known, sizes=sizes, thickness=thickness, edge_radius=laid.edge_radius)


def built_in(of, true, laid, bars):
    """Error that the print's scale makes of a size, mm; over a turned one it is the axes' mean."""
    c, s = np.cos(laid.turn), np.sin(laid.turn)
    along = {"length": (c, s), "width": (s, c)}.get(of)
    x, y = laid.print_scale
    scale = (x + y) / 2 if along is None else np.hypot(along[0] * x, along[1] * y)
    return 0.0 if bars else true / scale - true


def main() -> int:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 12
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 5
    held, with_print, rows, retaken = 0, 0, 0, 0
    print("object     size           bars  built in    true E       E     U95  in U95")
    with tempfile.TemporaryDirectory() as folder:
        for number in range(count):
            known, laid, bars = scene(seed, number)
            path = Path(folder) / "photo.jpg"
            photograph(laid, path)
            read = [scale * FRAME.bars[axis].nominal
                    for axis, scale in zip("xy", laid.print_scale, strict=True)]  # fmt: skip
            frame = with_print_scale(FRAME, *read) if bars else FRAME
            try:
                stated = run_acceptance([path], frame, known)
                true = run_acceptance([path], frame, exactly(known, laid))
            except PhotoError as error:
                print(f"{known.name:10} refused: {error.what}", flush=True)
                retaken += 1
                continue
            if any(notice.severity == "retake" for notice in stated.notices):
                # Not decided, whatever the errors are: nothing is claimed.
                print(f"{known.name:10} to be photographed again", flush=True)
                retaken += 1
                continue
            for said, real in zip(stated.errors, true.errors, strict=True):
                if said.of == "corner radius":
                    continue  # known to 0.3 mm only, and of four corners the worst
                ok = abs(said.error - real.error) <= said.u95
                scale = built_in(said.of, real.reference, laid, bars)
                held, rows = held + ok, rows + 1
                with_print += abs(said.error - scale) <= said.u95
                print(
                    f"{known.name:10} {said.of:14} {'read' if bars else '-':4} {scale:+9.3f} "
                    f"{real.error:+9.3f} {said.error:+7.3f} {said.u95:7.3f}  "
                    f"{'yes' if ok else 'NO'}   {said.decision}",
                    flush=True,
                )
    share = held / rows
    print(f"{count} photos, {retaken} of them refused or to be taken again")
    print(f"true error within U95: {held} of {rows} (target {SHARE:.0%})")
    print(f"print's scale alone within U95: {with_print} of {rows}, for information")
    print("pass" if share >= SHARE else "FAIL")
    return int(share < SHARE)


if __name__ == "__main__":
    raise SystemExit(main())

"""Broken and hostile inputs of every kind: each is read, or refused in three parts.

    python benchmarks/fuzz.py            # 1,000 inputs
    python benchmarks/fuzz.py 100 --seed 7

Photos are traced, jobs inspected, frames, contours and drawings read. Each input is a good one with
bytes, numbers or words changed, or one of the odd photos; it is tried in a process of its own.
"""

import argparse
import json
import os
import random
import re
import resource
import signal
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).parents[1]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "desk" / "page" / "http")]

import test_received_jobs as received  # noqa: E402
from made_measured import made_measured  # noqa: E402
from odd_photos import odd_photos  # noqa: E402

from snugline.desk.job import inspect_record  # noqa: E402
from snugline.errors import SnuglineError  # noqa: E402
from snugline.fit.drawing.drawing import Drawing, Layer  # noqa: E402
from snugline.fit.drawing.drawing_files import load_drawing  # noqa: E402
from snugline.fit.drawing.dxf import write_dxf  # noqa: E402
from snugline.fit.drawing.svg import write_svg  # noqa: E402
from snugline.fit.geometry.outline import outline_from_json  # noqa: E402
from snugline.fit.geometry.primitives import rounded_rectangle  # noqa: E402
from snugline.trace.contour import Contour  # noqa: E402
from snugline.trace.measure import PartSides, measure_photos  # noqa: E402
from snugline.trace.sheet.builtin_sheets import builtin_description  # noqa: E402
from snugline.trace.sheet.frame_description import frame_from_record, read_frame  # noqa: E402
from snugline.untrusted import parsed_json, parsed_toml  # noqa: E402

SECONDS, MB = 60.0, 700.0
KINDS = ("photo", "job", "frame", "contour", "drawing", "outline")
README = (ROOT / "README.md").read_text("utf-8")
JOBS = re.findall(r"```toml\n(.*?)```", README, re.DOTALL)
NUMBERS = ["0", "-1", "1e300", "-1e300", "1e-300", "NaN", "Infinity", "null", "99999999999999999"]
NUMBERS += ['"x"', "[]", "{}", "true", "0.30000000000000004", "1e9", "10000", "-0.0"]


def changed_bytes(content: bytes, chance: random.Random) -> bytes:
    data = bytearray(content)
    for _ in range(chance.choice([1, 3, 20])):
        at = chance.randrange(len(data) + 1)
        act = chance.randrange(4)
        if act == 0:
            data[at : at + 1] = bytes([chance.randrange(256)])
        elif act == 1:
            del data[at : at + chance.choice([1, 10, 1000])]
        elif act == 2:
            data[at:at] = data[at : at + chance.choice([1, 50, 5000])]
        else:
            data[at:at] = bytes(chance.randrange(256) for _ in range(8))
    return bytes(data)


def changed_numbers(text: str, chance: random.Random) -> bytes:
    numbers = list(re.finditer(r"-?\d+(?:\.\d+)?(?:e-?\d+)?", text))
    for match in sorted(
        chance.sample(numbers, min(chance.choice([1, 1, 3]), len(numbers))),
        key=lambda m: -m.start(),
    ):
        text = text[: match.start()] + chance.choice(NUMBERS) + text[match.end() :]
    return text.encode()


def either(text: str, chance: random.Random) -> bytes:
    change = chance.choice([changed_numbers, lambda t, c: changed_bytes(t.encode(), c)])
    return change(text, chance)


class Inputs:
    """Kinds of input: (name, content, what is done with it)."""

    def __init__(self, chance: random.Random) -> None:
        self.chance = chance
        self.photos = odd_photos()
        self.texts = {
            "frame": json.dumps(builtin_description("border-a4")),
            "outline": json.dumps(rounded_rectangle(418, 146, 27.4).as_json()),
            "contour": json.dumps(made_measured().photos[0].contour.as_json()),
        }
        part = Drawing("p", (Layer("outline", (rounded_rectangle(418, 146, 27.4),)),), "mm")
        self.drawings = {".svg": write_svg(part), ".dxf": write_dxf(part)}

    def draw(self, n: int):
        kind = KINDS[n % len(KINDS)]
        return kind, *getattr(self, kind)(n)

    def photo(self, n: int):
        nth = n // len(KINDS)
        name = list(self.photos)[nth % len(self.photos)]
        content = self.photos[name]
        if nth >= len(self.photos) and content:
            content = changed_bytes(content, self.chance)

        def trace(path: Path) -> None:
            sides = PartSides(9.5, 0.03)
            measure_photos([path], [read_frame("border-a4")], sides)

        return name, content, trace

    def job(self, n: int):
        text = self.chance.choice([*JOBS, received.GOOD, *received.ODD.values()])

        def inspect(path: Path) -> None:
            job, faults = inspect_record(parsed_toml(path.read_bytes(), "job.toml"), path)
            for fault in faults:
                assert fault.where, fault
            if job is not None and not faults:
                _ = job.choices, job.thickness, job.readings

        return "job.toml", either(text, self.chance), inspect

    def frame(self, n: int):
        def read(path: Path) -> None:
            frame_from_record(parsed_json(path.read_bytes(), "frame.json"), "frame.json")

        return "frame.json", either(self.texts["frame"], self.chance), read

    def contour(self, n: int):
        def read(path: Path) -> None:
            Contour.from_json(parsed_json(path.read_bytes(), "contour.json"), "contour.json")

        return "contour.json", either(self.texts["contour"], self.chance), read

    def drawing(self, n: int):
        ending = self.chance.choice(list(self.drawings))
        content = self.drawings[ending]
        text = content if isinstance(content, str) else content.decode()
        return f"part{ending}", either(text, self.chance), load_drawing

    def outline(self, n: int):
        def read(path: Path) -> None:
            record = parsed_json(path.read_bytes(), "outline.json")
            outline_from_json(record, "outline.json")

        return "outline.json", either(self.texts["outline"], self.chance), read


def tried(path: Path, act) -> tuple[str, float, float, str]:
    """What comes of it in a process of its own: verdict, seconds, MB, message."""
    reading, writing = os.pipe()
    start = time.monotonic()
    child = os.fork()
    if child == 0:
        said = ["fault", "it left without a word"]
        try:
            act(path)
            said = ["read", ""]
        except SnuglineError as error:
            good = error.where and str(error.what) and str(error.mend)
            said = ["refused" if good else "fault", str(error)]
        except BaseException as error:
            said = ["fault", f"{type(error).__name__}: {error}"]
        finally:
            used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000
            os.write(writing, json.dumps([*said, used])[:60_000].encode())
            os._exit(0)
    os.close(writing)
    signal.signal(signal.SIGALRM, lambda *_: os.kill(child, signal.SIGKILL))
    signal.setitimer(signal.ITIMER_REAL, SECONDS)
    told = b""
    while piece := os.read(reading, 65536):
        told += piece
    signal.setitimer(signal.ITIMER_REAL, 0)
    os.close(reading)
    os.waitpid(child, 0)
    took = time.monotonic() - start
    if not told:
        return ("hang" if took >= SECONDS else "fault"), took, 0.0, "its process died"
    verdict, message, used = json.loads(told)
    return verdict, took, used, message


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("count", nargs="?", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    inputs = Inputs(random.Random(arguments.seed))
    came: dict[str, Counter] = {kind: Counter() for kind in KINDS}
    slowest, largest = dict.fromkeys(KINDS, 0.0), dict.fromkeys(KINDS, 0.0)
    with tempfile.TemporaryDirectory() as place:
        for n in range(arguments.count):
            kind, name, content, act = inputs.draw(n)
            path = Path(place) / name
            path.write_bytes(content)
            verdict, took, used, message = tried(path, act)
            came[kind][verdict] += 1
            slowest[kind], largest[kind] = max(slowest[kind], took), max(largest[kind], used)
            if verdict in ("fault", "hang"):
                print(f"{verdict}: input {n}, {kind} {name}: {message[:200]}", flush=True)
            path.unlink()
    bad = False
    for kind, found in came.items():
        good = not found["fault"] and not found["hang"] and largest[kind] < MB
        bad |= not good
        print(
            f"{kind:8} {found.total():4}: {found['read']} read, {found['refused']} refused, "
            f"{found['fault']} faults, {found['hang']} hangs; slowest {slowest[kind]:.1f} s, "
            f"{largest[kind]:.0f} MB  {'pass' if good else 'FAIL'}"
        )
    raise SystemExit(bad)


if __name__ == "__main__":
    main()

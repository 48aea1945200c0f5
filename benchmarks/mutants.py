"""Would the tests notice? Small faults are put into pocket/ and fit/, one at a time.

    python benchmarks/mutants.py                  # 500, drawn at random by seed 1
    python benchmarks/mutants.py 60 --seed 7 pocket
    python benchmarks/mutants.py --only pocket/depth.py

Each fault is one comparison, sign, constant or word of logic turned round in a copy of the source.
The tests that run its line (by coverage; the quickest first) run until one fails. What survives is
printed with its line, to be read: an equivalent program, or a test that is missing.
"""

import argparse
import ast
import copy
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[1]
ROOMS = ("fit", "pocket")
BOUND = 0.85
SECONDS = 90.0  # for the tests of one fault; one that takes longer is killed by it
HEAVY = ("numpy", "scipy.optimize", "scipy.special", "scipy.spatial", "scipy.stats", "shapely")
HEAVY += ("pydantic", "ezdxf", "fpdf", "cv2", "PIL", "svgwrite", "skimage")

COMPARED = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
COMPUTED = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult, ast.Pow: ast.Mult, ast.BitOr: ast.BitAnd,
    ast.BitAnd: ast.BitOr,
}  # fmt: skip
CALLED = {"min": "max", "max": "min", "minimum": "maximum", "maximum": "minimum", "floor": "ceil"}
CALLED |= {"ceil": "floor", "any": "all", "all": "any", "argmin": "argmax", "argmax": "argmin"}


@dataclass(frozen=True)
class Fault:
    """One changed node: the number it has in the walk, and what was done to it."""

    file: str
    line: int
    node: int
    kind: int
    said: str


@cache
def source_of(file: str) -> str:
    """As it is at the start: an edit meanwhile moves no fault."""
    return (ROOT / file).read_text(encoding="utf-8")


def faults_of(file: str) -> list[Fault]:
    tree = ast.parse(source_of(file))
    unread = _unread(tree)
    found = []
    for number, node in enumerate(ast.walk(tree)):
        if id(node) in unread:
            continue
        for kind, changed in enumerate(changes(node)):
            said = f"{_short(node)}  ->  {_short(changed)}"
            found.append(Fault(file, node.lineno, number, kind, said))
    return found


def _unread(tree: ast.AST) -> set[int]:
    """Nodes that no test can notice: annotations, messages of errors, docstrings."""
    out: set[int] = set()
    for node in ast.walk(tree):
        hidden: list[ast.AST | None] = []
        if isinstance(node, ast.arg | ast.AnnAssign):
            hidden.append(node.annotation)
        if isinstance(node, ast.FunctionDef):
            hidden += [node.returns, *node.decorator_list]
        if isinstance(node, ast.JoinedStr):
            hidden.append(node)
        for root in filter(None, hidden):
            out |= {id(inner) for inner in ast.walk(root)}
    return out


def changes(node: ast.AST) -> Iterator[ast.AST]:
    """Each small fault that can be made of a node."""
    made = copy.deepcopy(node)
    match made:
        case ast.Compare(ops=[one]) if type(one) in COMPARED:
            made.ops = [COMPARED[type(one)]()]
            yield made
        case ast.BinOp(op=op) if type(op) in COMPUTED:
            made.op = COMPUTED[type(op)]()
            yield made
        case ast.BoolOp(op=op):
            made.op = ast.And() if isinstance(op, ast.Or) else ast.Or()
            yield made
        case ast.UnaryOp(op=ast.USub(), operand=inner):
            yield inner
        case ast.UnaryOp(op=ast.Not(), operand=inner):
            yield inner
        case ast.Constant(value=bool(value)):
            made.value = not value
            yield made
        case ast.Constant(value=int(value)):
            made.value = value + 1
            yield made
        case ast.Constant(value=float(value)):
            made.value = value * 1.5 if value else 1.0
            yield made
        case ast.IfExp():
            made.body, made.orelse = made.orelse, made.body
            yield made
        case ast.Call(func=ast.Name(id=name)) if name in CALLED:
            made.func = ast.Name(CALLED[name], ast.Load())
            yield made
        case ast.Call(func=ast.Attribute(attr=name)) if name in CALLED:
            made.func.attr = CALLED[name]  # type: ignore[attr-defined]
            yield made


def _short(node: ast.AST) -> str:
    text = " ".join(ast.unparse(node).split())
    return text if len(text) <= 70 else text[:67] + "..."


def mutated(fault: Fault) -> str:
    source = source_of(fault.file)
    tree = ast.parse(source)
    for number, node in enumerate(ast.walk(tree)):
        if number == fault.node:
            changed = list(changes(node))[fault.kind]
            lines = source.split("\n")
            return _spliced(lines, node, f"({ast.unparse(changed)})")
    raise AssertionError(fault)


def _spliced(lines: list[str], node: ast.AST, text: str) -> str:
    """The source with the node's own text replaced; columns of `ast` count bytes."""
    first, last = node.lineno - 1, node.end_lineno - 1
    head = lines[first].encode()[: node.col_offset].decode()
    tail = lines[last].encode()[node.end_col_offset :].decode()
    kept = "\n" * (last - first)  # so that lines keep their numbers
    return "\n".join([*lines[:first], head + text + kept + tail, *lines[last + 1 :]])


def laid_out(place: Path) -> Path:
    """A copy of the source as an installed package, and its tests."""
    for room in ("base", "trace", "fit", "pocket", "desk"):
        shutil.copytree(ROOT / room, place / room, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(ROOT / "tests", place / "tests", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", place)
    package = place / "packed" / "snugline"
    package.mkdir(parents=True)
    for source in [*(place / "base").iterdir(), *(place / r for r in ("trace", "desk", *ROOMS))]:
        (package / source.name).symlink_to(source)
    return package.parent


class Lines:
    """A pytest plugin: which test runs which lines, and for how long."""

    def __init__(self, coverage: object) -> None:
        self.coverage, self.seconds = coverage, {}

    def pytest_runtest_setup(self, item):
        self.coverage.switch_context(item.nodeid.partition("[")[0])

    def pytest_runtest_logreport(self, report):
        name = report.nodeid.partition("[")[0]
        self.seconds[name] = self.seconds.get(name, 0.0) + report.duration


def in_a_child(action, seconds: float) -> int | None:
    """The status that a forked process leaves with; None when it takes too long."""
    child = os.fork()
    if child == 0:
        os.setsid()
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        status = 70
        try:
            status = action()
        finally:
            os._exit(status)
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None


def tested(place: Path, rooms: tuple[str, ...]) -> tuple[dict[tuple[str, int], set[str]], dict]:
    """Tests by the (file, line) that they run, and their seconds."""
    import json

    def measure() -> int:
        import coverage
        import pytest

        os.chdir(place)
        sources = [str(place / room) for room in rooms]
        cover = coverage.Coverage(data_file=None, include=[f"{s}/*" for s in sources])
        plugin = Lines(cover)
        cover.start()
        wanted = [f"tests/{room}" for room in rooms]
        args = ["-q", "-m", "not whole", "-p", "no:cacheprovider", *wanted]
        status = pytest.main(args, plugins=[plugin])
        cover.stop()
        data = cover.get_data()
        rows = [
            [str(Path(file).resolve().relative_to(place.resolve())), line, names]
            for file in data.measured_files()
            for line, names in data.contexts_by_lineno(file).items()
        ]
        (place / "lines.json").write_text(json.dumps([rows, plugin.seconds]))
        return int(status)

    status = in_a_child(measure, 3600)
    if status != 0:
        raise SystemExit(f"the tests fail without any fault (status {status})")
    rows, seconds = json.loads((place / "lines.json").read_text())
    return {(file, line): set(names) - {""} for file, line, names in rows}, seconds


def noticed(place: Path, fault: Fault, tests: list[str]) -> bool:
    def run() -> int:
        import pytest

        os.chdir(place)
        return int(pytest.main(["-q", "-x", "-p", "no:cacheprovider", *tests]))

    target = place / fault.file
    kept = target.read_text(encoding="utf-8")
    target.write_text(mutated(fault), encoding="utf-8")
    try:
        return in_a_child(run, SECONDS) != 0
    finally:
        target.write_text(kept, encoding="utf-8")


def drawn(arguments: argparse.Namespace) -> list[Fault]:
    files = sorted(
        str(path.relative_to(ROOT))
        for room in arguments.rooms
        for path in (ROOT / room).rglob("*.py")
        if path.name != "__init__.py"
    )
    files = [file for file in files if arguments.only in (None, file)]
    every = [fault for file in files for fault in faults_of(file)]
    chosen = random.Random(arguments.seed)
    return chosen.sample(every, min(arguments.count, len(every)))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("count", nargs="?", type=int, default=500)
    parser.add_argument("rooms", nargs="*", default=ROOMS)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", help="one file, such as pocket/depth.py")
    arguments = parser.parse_args()
    faults = drawn(arguments)
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
        sys.dont_write_bytecode = True
        package = str(laid_out(place))
        sys.path.insert(0, package)
        os.environ["PYTHONPATH"] = package
        for name in HEAVY:  # loaded once; each fault's process is a copy
            __import__(name)
        by_line, seconds = tested(place, tuple(arguments.rooms))
        table: dict[str, list[int]] = {room: [0, 0] for room in arguments.rooms}
        for fault in faults:
            of_file = set().union(*(t for (f, _), t in by_line.items() if f == fault.file), set())
            names = by_line.get((fault.file, fault.line)) or of_file
            tests = sorted(names, key=lambda name: seconds.get(name, 0.0))[:60]
            killed = bool(tests) and noticed(place, fault, tests)
            row = table[fault.file.partition("/")[0]]
            row[0] += killed
            row[1] += 1
            if not killed:
                print(f"survived  {fault.file}:{fault.line}  {fault.said}", flush=True)
    for room, (killed, all_of) in table.items():
        share = killed / all_of if all_of else 1.0
        verdict = "pass" if share >= BOUND else "FAIL"
        print(f"{room:8} {killed} of {all_of} noticed, {share:.1%} (bound {BOUND:.0%}) {verdict}")


if __name__ == "__main__":
    main()

"""Would the tests notice? Small faults are put into pocket/ and fit/, one at a time.

    python benchmarks/mutants.py                  # 500, drawn at random by seed 1
    python benchmarks/mutants.py 60 --seed 7 pocket
    python benchmarks/mutants.py --only pocket/depth.py
    python benchmarks/mutants.py --seed 7 --piece 2/5 --kept FOLDER    # then without --piece

Each fault is one comparison, sign, constant or word of logic turned round. The tests that run its
line (by coverage, recorded once; those of its module first, then the quickest) run until one
fails; a fault that takes three times their processor time counts as noticed. A fault inside a
function is put into the loaded program of a forked process, one that acts while a module loads
into a program that loads again.

What survives is printed with its line, to be read. Those that change nothing which a user or a
caller could see are counted apart, and the share is of the others: by two rules, a guard against
rounding (a power of ten below 1e-5, or twice one, made half as large again, or compared strictly
instead of not, or the other way round) and a `zip` that no longer checks its lists' lengths; and
those that were read, each with its reason, in `mutants_equivalent.txt`. A line that has changed
since asks to be read again.

Each other survivor is put into a program that fits and plans the made jobs of `cut_figures`, and
what it changes of a depth, a clearance, a radius, ... is printed beside it. One whose line these
jobs run, and which changes no figure by a millionth of a millimetre and no remark, is without
effect there: a start value, a step's length, a saving of time. The share is given both ways, with
these as survivors and without them.
"""

import argparse
import ast
import copy
import gc
import hashlib
import importlib.abc
import importlib.machinery
import json
import os
import random
import re
import resource
import shutil
import signal
import sys
import tempfile
import time
import types
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[1]
EQUIVALENT = Path(__file__).with_name("mutants_equivalent.txt")
ROOMS = ("fit", "pocket")
PARTS = ("base", "trace", "fit", "pocket", "desk", "api", "tests")  # what an answer rests on
VALUES = "tests/test_frozen_values.py"  # loads every module, and is tried on what acts then
TESTS = ("tests/fit", "tests/pocket", "tests/api", "tests/desk", "tests/test_properties.py", VALUES)
QUICK = ("-q", "-m", "not whole", "--ignore", "tests/desk/page", "-p", "no:cacheprovider")
BOUND = 0.85
SECONDS = 20.0  # of processor time, for the tests of one fault
AGAIN = 71  # status: to be tried in a program that loads again
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
    """A copy of source and tests, as an installed package; an edit meanwhile is not seen."""
    for folder in (*PARTS, "benchmarks", "samples", "docs"):
        unwanted = shutil.ignore_patterns("__pycache__")
        shutil.copytree(ROOT / folder, place / folder, ignore=unwanted)
    for file in ("pyproject.toml", "README.md"):
        shutil.copy(ROOT / file, place)
    (place.parent / "shared").symlink_to(ROOT.parent / "shared")
    package = place / "packed" / "snugline"
    package.mkdir(parents=True)
    for source in [
        *(place / "base").iterdir(),
        *(place / room for room in PARTS if room not in ("base", "tests")),
    ]:
        (package / source.name).symlink_to(source)
    return package.parent


@dataclass(frozen=True)
class Record:
    """Which tests run which line, which lines run while modules load, and each test's seconds."""

    tests: dict[tuple[str, int], list[str]]
    loading: set[tuple[str, int]]
    seconds: dict[str, float]

    def chosen(self, fault: Fault) -> list[str]:
        """Those that import the module first, then the quickest, as far as the time goes."""
        module = "snugline." + fault.file.removesuffix(".py").replace("/", ".")
        unplaced = self.tests.get((fault.file, 0), [])  # recorded before the file was changed
        names = [*self.tests.get((fault.file, fault.line), []), *unplaced]
        if not names:  # it acts while the module loads: on whoever uses what it made
            names = sorted({n for (f, _), ns in self.tests.items() if f == fault.file for n in ns})
            users = (n for n in self.seconds if _imports(n, module) or n.startswith(VALUES))
            names += users
        names = list(dict.fromkeys(names))
        chosen, left = [], SECONDS
        for name in sorted(names, key=lambda n: (not _imports(n, module), self.seconds[n])):
            left -= self.seconds[name]
            if left > 0:
                chosen.append(name)
        return chosen


@cache
def _test_text(file: str) -> str:
    return (ROOT / file).read_text(encoding="utf-8")


def _imports(test: str, module: str) -> bool:
    return f"{module} import" in _test_text(test.partition("::")[0])


class Recorder:
    """A pytest plugin: which test runs which lines, and for how long."""

    def __init__(self, coverage: object) -> None:
        self.coverage, self.seconds, self.begun = coverage, {}, 0.0

    def pytest_runtest_setup(self, item):
        self.coverage.switch_context(item.nodeid)
        self.begun = time.process_time()

    def pytest_runtest_logreport(self, report):
        self.seconds[report.nodeid] = time.process_time() - self.begun


def recorded(place: Path, kept: Path) -> Record:
    """The tests' record, from kept ones where a file of tests is as it was.

    Where a source has changed since, its tests are known, but not by line.
    """
    files = sorted(
        file for name in TESTS for file in [place / name, *(place / name).rglob("test_*.py")]
    )
    files = [file for file in files if file.is_file() and "page" not in file.parts]
    held = {file: kept / f"{file.stem}-{_digest(file)}.json" for file in files}
    missing = {str(file.relative_to(place)): at for file, at in held.items() if not at.is_file()}
    if missing:
        status = in_a_child(lambda: _record(place, missing), 3600, place / "said")()
        if status != 0:
            print((place / "said").read_text(encoding="utf-8")[-4000:])
            raise SystemExit(f"the tests fail without any fault (status {status})")
    tests: dict[tuple[str, int], set[str]] = {}
    seconds: dict[str, float] = {}
    for at in held.values():
        rows, own = json.loads(at.read_text(encoding="utf-8"))
        seconds |= own
        for source, (digest, lines) in rows.items():
            same = (place / source).is_file() and digest == _digest(place / source)
            for line, names in lines.items():
                tests.setdefault((source, int(line) if same else 0), set()).update(names)
    loading = {at for at, names in tests.items() if "" in names}
    return Record({at: sorted(names - {""}) for at, names in tests.items()}, loading, seconds)


def _digest(*paths: Path) -> str:
    whole = hashlib.sha256()
    for path in paths:
        for file in sorted(path.rglob("*.py")) if path.is_dir() else [path]:
            whole.update(file.read_bytes())
    return whole.hexdigest()[:16]


def _record(place: Path, files: dict[str, Path]) -> int:
    """Run the tests of these files and write what each file's tests have run."""
    import coverage
    import pytest

    os.chdir(place)
    cover = coverage.Coverage(data_file=None, include=[f"{place / room}/*" for room in ROOMS])
    plugin = Recorder(cover)
    cover.start()
    status = pytest.main([*QUICK, *files], plugins=[plugin])
    cover.stop()
    data = cover.get_data()
    rows: dict[str, dict] = {file: {} for file in files}
    for measured in data.measured_files():
        source = str(Path(measured).resolve().relative_to(place.resolve()))
        for line, names in data.contexts_by_lineno(measured).items():
            for file in files:
                own = [n for n in names if not n or n.partition("::")[0] == file]
                if own:
                    lines = rows[file].setdefault(source, (_digest(Path(measured)), {}))[1]
                    lines[line] = own
    for file, at in files.items():
        own = {n: s for n, s in plugin.seconds.items() if n.partition("::")[0] == file}
        at.write_text(json.dumps([rows[file], own]), encoding="utf-8")
    return 0 if status in (0, 5) else int(status)


def in_a_child(
    action: Callable[[], int], seconds: float, said: Path = Path(os.devnull)
) -> Callable[[], int]:
    """Start a forked process; the answer waits for its status, negative when it was stopped."""
    child = os.fork()
    if child == 0:
        os.setsid()
        quiet = os.open(said, os.O_WRONLY | os.O_CREAT, 0o600)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        used = time.process_time()
        most = int(used + seconds) + 1
        resource.setrlimit(resource.RLIMIT_CPU, (most, most + 1))
        status = 70
        try:
            status = action()
        finally:
            os._exit(status)
    end = time.monotonic() + 8 * seconds + 60

    def ended() -> int:
        while time.monotonic() < end:
            done, status = os.waitpid(child, os.WNOHANG)
            if done:
                return os.waitstatus_to_exitcode(status)
            time.sleep(0.005)
        os.killpg(child, signal.SIGKILL)
        os.waitpid(child, 0)
        return -signal.SIGKILL

    return ended


class Warm:
    """A pytest plugin that tries faults instead of running what was collected.

    Each fault goes into the loaded program of a forked process: the code of the function that
    holds it is exchanged, whoever has imported the function.
    """

    def __init__(self, place: Path, faults: dict[int, Fault], record: Record, answer) -> None:
        self.place, self.faults, self.record, self.answer = place, faults, record, answer
        self.failed = False

    def pytest_runtest_logreport(self, report):
        self.failed |= report.failed

    def pytest_runtestloop(self, session):
        items = {item.nodeid: item for item in session.items}
        functions = [o for o in gc.get_objects() if isinstance(o, types.FunctionType)]
        for number, fault in self.faults.items():
            names = self.record.chosen(fault)
            seconds = 10 + 3 * sum(self.record.seconds[name] for name in names)
            chosen = [items[name] for name in names if name in items]
            status = in_a_child(lambda f=fault, c=chosen: self.tried(f, c, functions), seconds)()
            self.answer(number, status)
        return True

    def tried(self, fault: Fault, items: list, functions: list) -> int:
        if not exchanged(self.place / fault.file, fault, functions):
            return AGAIN
        for item, following in zip(items, [*items[1:], None], strict=True):
            item.config.hook.pytest_runtest_protocol(item=item, nextitem=following)
            if self.failed:
                return 1
        return 0


def exchanged(path: Path, fault: Fault, functions: Iterable[types.FunctionType]) -> bool:
    """Whether the fault could be put into the loaded functions of its file."""
    whole, faulty = (
        compile(text, str(path), "exec") for text in (source_of(fault.file), mutated(fault))
    )
    pairs = dict(_different(whole, faulty))
    real = os.path.realpath(path)
    found = False
    for function in functions:
        code = function.__code__
        if code in pairs and os.path.realpath(code.co_filename) == real:
            function.__code__ = pairs[code].replace(co_filename=code.co_filename)
            found = True
    return found


def _different(one: types.CodeType, other: types.CodeType) -> Iterator[tuple]:
    """Functions of the outermost level (or of a class) that differ, old and new."""
    inner = [[c for c in code.co_consts if isinstance(c, types.CodeType)] for code in (one, other)]
    for a, b in zip(*inner, strict=True):
        if a != b:
            yield a, b
            yield from _different(a, b)


class Faulty(importlib.machinery.SourceFileLoader):
    """Loads one module with its fault."""

    text = ""

    def get_code(self, fullname):
        return compile(self.text, self.path, "exec")


class Finder(importlib.abc.MetaPathFinder):
    def __init__(self, path: Path, text: str) -> None:
        self.path, self.text = os.path.realpath(path), text

    def find_spec(self, fullname, path, target=None):
        spec = importlib.machinery.PathFinder.find_spec(fullname, path, target)
        if spec is None or spec.origin is None or os.path.realpath(spec.origin) != self.path:
            return None
        spec.loader = Faulty(fullname, spec.origin)
        spec.loader.text = self.text
        return spec


def tried_cold(place: Path, fault: Fault, names: list[str]) -> int:
    import pytest

    os.chdir(place)
    sys.meta_path.insert(0, Finder(place / fault.file, mutated(fault)))
    return int(pytest.main(["-q", "-x", "-p", "no:cacheprovider", *names]))


def while_loading(fault: Fault, record: Record) -> bool:
    """Whether the fault acts while modules load, where exchanging code comes too late."""
    tree = ast.parse(source_of(fault.file))
    target = list(ast.walk(tree))[fault.node]
    inside = any(
        target in set(ast.walk(part))
        for function in ast.walk(tree)
        if isinstance(function, ast.FunctionDef | ast.Lambda)
        for part in (function.body if isinstance(function.body, list) else [function.body])
    )
    return not inside or (fault.file, fault.line) in record.loading


class Kept:
    """Answers by their fault, added one by one, so that a run that was stopped goes on."""

    def __init__(self, at: Path) -> None:
        self.at = at
        at.touch()

    def answers(self) -> dict[str, object]:
        lines = map(json.loads, self.at.read_text(encoding="utf-8").splitlines())
        return {answer["of"]: answer["found"] for answer in lines}

    def add(self, fault: Fault, found: object) -> None:
        of = f"{fault.file} {fault.node} {fault.kind}"
        with self.at.open("a", encoding="utf-8") as stream:
            stream.write(json.dumps({"of": of, "found": found}) + "\n")

    def of(self, faults: list[Fault]) -> dict[int, object]:
        """What is known, by the faults' numbers."""
        known = self.answers()
        names = [f"{fault.file} {fault.node} {fault.kind}" for fault in faults]
        return {number: known[name] for number, name in enumerate(names) if name in known}


def survivors(place: Path, faults: list[Fault], record: Record, kept: Kept) -> set[int]:
    """Numbers of the faults that no test notices."""
    open_ = [n for n in range(len(faults)) if n not in kept.of(faults)]
    warm = {n: faults[n] for n in open_ if not while_loading(faults[n], record)}

    def answer(number: int, status: int) -> None:
        if status != AGAIN:
            kept.add(faults[number], status)

    def try_warm() -> int:
        import pytest

        os.chdir(place)
        needed = {n.partition("::")[0] for fault in warm.values() for n in record.chosen(fault)}
        plugin = Warm(place, warm, record, answer)
        return int(pytest.main([*QUICK, *sorted(needed)], plugins=[plugin])) if needed else 0

    in_a_child(try_warm, 24 * 3600)()
    known = kept.of(faults)
    for number in (n for n in open_ if n not in known):
        names = record.chosen(faults[number])
        seconds = 20 + 3 * sum(record.seconds[name] for name in names)
        act = lambda f=faults[number], n=names: tried_cold(place, f, n)  # noqa: E731
        kept.add(faults[number], in_a_child(act, seconds)() if names else 0)
    return {number for number, status in kept.of(faults).items() if status == 0}


ROUNDING = 1e-5  # mm or a share: no hand, cutter or photo tells it
_NAMED = re.compile(r"^(_?[A-Z][A-Z_]*) = ([0-9.e-]+)$", re.MULTILINE)
_STRICT = ({ast.Lt, ast.LtE}, {ast.Gt, ast.GtE})


@cache
def guards() -> set[str]:
    """Names of numbers that are there against rounding alone."""
    files = [path for room in (*ROOMS, "base") for path in (ROOT / room).rglob("*.py")]
    found = (pair for path in files for pair in _NAMED.findall(path.read_text(encoding="utf-8")))
    return {name for name, number in found if _guards(ast.Constant(float(number)))}


def _guards(node: ast.AST) -> bool:
    match node:
        case ast.Constant(value=float(value)):
            # What is measured has other digits: 8e-6 / K is slate's growth.
            return 0 < value < ROUNDING and f"{value:g}".partition("e")[0] in ("1", "2")
        case ast.Name(id=name):
            return name in guards()
        case ast.UnaryOp(operand=inner):
            return _guards(inner)
        case ast.BinOp(left=left, right=right):
            return _guards(left) or _guards(right)
    return False


def only_strict(fault: Fault) -> bool:
    """Whether it is `zip(..., strict=True)`, which acts only where another fault has acted."""
    tree = ast.parse(source_of(fault.file))
    node = list(ast.walk(tree))[fault.node]
    strict = (word for word in ast.walk(tree) if isinstance(word, ast.keyword))
    return any(word.arg == "strict" and word.value is node for word in strict)


def only_rounding(fault: Fault) -> bool:
    node = list(ast.walk(ast.parse(source_of(fault.file))))[fault.node]
    changed = list(changes(node))[fault.kind]
    match node, changed:
        case ast.Constant(value=float()), ast.Constant():
            return _guards(node)
        case ast.Compare(ops=[one]), ast.Compare(ops=[other]) if {
            type(one),
            type(other),
        } in _STRICT:
            return _guards(node.left) or _guards(node.comparators[0])
    return False


@dataclass(frozen=True)
class Read:
    """Equivalent faults as they were read: by file, line's text and what was changed."""

    reasons: dict[tuple[str, str, str], str]

    def reason(self, fault: Fault) -> str | None:
        if only_rounding(fault):
            return "a guard against rounding"
        if only_strict(fault):
            return "a check that lists are of one length"
        return self.reasons.get((fault.file, line_of(fault), fault.said))


def line_of(fault: Fault) -> str:
    return " ".join(source_of(fault.file).split("\n")[fault.line - 1].split())


def read_equivalent() -> Read:
    """From the list: file, line, change and reason, each on a line of its own."""
    reasons = {}
    for entry in re.split(r"\n\s*\n", EQUIVALENT.read_text(encoding="utf-8")):
        lines = [line.strip() for line in entry.strip().splitlines() if line[:1] != "#"]
        if lines:
            file, line, said, reason = lines
            reasons[file, line, said] = reason
    return Read(reasons)


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
    faults = chosen.sample(every, min(arguments.count, len(every)))
    piece, pieces = map(int, arguments.piece.split("/"))
    return faults[piece - 1 :: pieces]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("count", nargs="?", type=int, default=500)
    parser.add_argument("rooms", nargs="*", default=ROOMS)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", help="one file, such as pocket/depth.py")
    parser.add_argument("--piece", default="1/1", help="2/5: the second fifth of them")
    parser.add_argument("--kept", type=Path, help="a folder for records and answers, used again")
    arguments = parser.parse_intermixed_args()
    faults = drawn(arguments)
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "copy"
        os.environ |= {"PYTHONDONTWRITEBYTECODE": "1", "CI": "true", "OMP_NUM_THREADS": "1"}
        sys.dont_write_bytecode = True
        package = str(laid_out(place))
        sys.path.insert(0, package)
        os.environ["PYTHONPATH"] = package
        for name in HEAVY:  # loaded once; each fault's process is a copy
            __import__(name)
        folder = arguments.kept or place
        state = _digest(*(place / part for part in PARTS), place / "benchmarks" / "cut_figures.py")
        record, kept = recorded(place, folder), Kept(folder / f"noticed-{state}")
        left = survivors(place, faults, record, kept)
        read = read_equivalent()
        unread = [n for n in sorted(left) if not read.reason(faults[n])]
        effect = effects(place, faults, unread, folder, state)
    raise SystemExit(told(faults, left, effect, arguments.rooms))


@dataclass(frozen=True)
class Effect:
    """What a survivor does to the jobs of `cut_figures`.

    Attributes
    ----------
    run : whether they run its line.
    changed : by kind, the largest change, or words where it has no number.
    times : processor time over that without the fault.
    """

    run: bool
    changed: dict[str, float | str]
    times: float

    @property
    def none(self) -> bool:
        return self.run and not self.changed

    def __str__(self) -> str:
        if not self.run:
            return "its line is not run"
        found = [
            f"{k} {f'by {c:.2g}' if isinstance(c, float) else c}" for k, c in self.changed.items()
        ]
        slow = f", {self.times:.1f} times the time" if self.times > 1.5 else ""
        return ("changes " + ", ".join(found) if found else "no figure changes") + slow


def effects(
    place: Path, faults: list[Fault], numbers: list[int], folder: Path, state: str
) -> dict[int, Effect]:
    """Each survivor's effect: the jobs of `cut_figures` with it and without."""
    sys.path.insert(0, str(place / "benchmarks"))
    import cut_figures

    at = place / "figures.json"

    def plain() -> int:
        import coverage

        cover = coverage.Coverage(data_file=None, include=[f"{place / room}/*" for room in ROOMS])
        cover.start()
        figures = cut_figures.figures(cover.switch_context)
        cover.stop()
        data, lines = cover.get_data(), {name: {} for name in cut_figures.JOBS}
        for file in data.measured_files():
            source = str(Path(file).resolve().relative_to(place.resolve()))
            for line, names in data.contexts_by_lineno(file).items():
                for name in set(names) & set(lines):
                    lines[name].setdefault(source, []).append(line)
        at.write_text(json.dumps([figures, lines]), encoding="utf-8")
        return 0

    def faulty(fault: Fault | None, names: list[str]) -> int:
        if fault is not None:
            sys.meta_path.insert(0, Finder(place / fault.file, mutated(fault)))
        at.write_text(json.dumps(cut_figures.figures(names=names)), encoding="utf-8")
        return 0

    def found(fault: Fault | None, names: list[str], seconds: float) -> dict | None:
        at.unlink(missing_ok=True)
        status = in_a_child(lambda: faulty(fault, names), seconds)()
        return json.loads(at.read_text(encoding="utf-8")) if status == 0 else None

    kept, plain_at = Kept(folder / f"effects-{state}"), folder / f"figures-{state}.json"
    open_ = [number for number in numbers if number not in kept.of(faults)]
    if open_ and not plain_at.is_file():
        in_a_child(plain, 600)()
        figures, lines = json.loads(at.read_text(encoding="utf-8"))
        wrong = [f"{n}: {figures[n]}" for n in cut_figures.JOBS if isinstance(figures[n], str)]
        assert not wrong, wrong
        own = found(None, list(cut_figures.JOBS), 600)
        plain_at.write_text(json.dumps([own, lines]), encoding="utf-8")
    own, lines = json.loads(plain_at.read_text(encoding="utf-8")) if open_ else ({}, {})
    for number in open_:
        fault = faults[number]
        names = [name for name, run in lines.items() if is_run(fault, run)]
        seconds = sum(own["seconds"][name] for name in names)
        other = found(fault, names, 20 + 5 * seconds) if names else None
        if not names:
            kept.add(fault, [False, {}, 1.0])
        elif other is None:
            kept.add(fault, [True, {"time": "more than five times"}, 5.0])
        else:
            times = sum(other["seconds"].values()) / seconds
            kept.add(fault, [True, cut_figures.changed(own, other), times])
    return {n: Effect(*answer) for n, answer in kept.of(faults).items()}


def is_run(fault: Fault, run: dict[str, list[int]]) -> bool:
    """Whether lines that ran use the fault: its own statement, or what is made while loading."""
    tree = ast.parse(source_of(fault.file))
    target = list(ast.walk(tree))[fault.node]
    around = [node for node in ast.walk(tree) if target in ast.walk(node)]
    functions = [n for n in around if isinstance(n, ast.FunctionDef) and _in_body(n, target)]
    if functions:
        simple = [n for n in around if isinstance(n, ast.stmt | ast.excepthandler)]
        inner = max(simple, key=lambda n: n.lineno)
        lines = range(target.lineno, target.end_lineno + 1)
        if not hasattr(inner, "body"):
            lines = range(inner.lineno, inner.end_lineno + 1)
        return bool(set(lines) & set(run.get(fault.file, ())))
    outer = next(n for n in tree.body if target in ast.walk(n))
    names = {
        n.id for n in ast.walk(outer) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)
    }
    names |= {getattr(n, "name", "") for n in around} - {""}
    return any(_use(file, frozenset(names)) & set(lines) for file, lines in run.items())


def _in_body(function: ast.FunctionDef, target: ast.AST) -> bool:
    return any(target in ast.walk(part) for part in function.body)


@cache
def _use(file: str, names: frozenset[str]) -> set[int]:
    """Lines inside functions that name any of these."""
    lines: set[int] = set()
    for function in ast.walk(ast.parse(source_of(file))):
        if isinstance(function, ast.FunctionDef):
            for node in (n for part in function.body for n in ast.walk(part)):
                named = node.id if isinstance(node, ast.Name) else getattr(node, "attr", None)
                if named in names:
                    lines.add(node.lineno)
    return lines


CUTS = ("depth", "clearance", "radius")


def told(
    faults: list[Fault], left: set[int], effect: dict[int, Effect], rooms: Iterable[str]
) -> bool:
    read = read_equivalent()
    reasons = {number: read.reason(faults[number]) for number in left}
    for number in sorted(left, key=lambda n: (faults[n].file, faults[n].line)):
        fault, reason = faults[number], reasons[number]
        said = f"equivalent  ({reason})" if reason else f"survived, {effect[number]}"
        print(f"{fault.file}:{fault.line}  {fault.said}\n    {said}")
    failed = False
    for room in rooms:
        own = [n for n, fault in enumerate(faults) if fault.file.startswith(f"{room}/")]
        open_ = [n for n in own if n in left and not reasons[n]]
        none = [n for n in open_ if effect[n].none]
        killed = len(own) - sum(n in left for n in own)
        print(
            f"{room}: {killed} of {len(own)} noticed, {len(own) - killed - len(open_)} equivalent"
        )
        for name, alive in (
            ("of the others", len(open_)),
            (f"without the {len(none)} that change no figure", len(open_) - len(none)),
        ):
            share = killed / (killed + alive) if killed + alive else 1.0
            failed |= share < BOUND
            verdict = "FAIL" if share < BOUND else "pass"
            print(f"  noticed, {name:40} {share:6.1%}  ({BOUND:.0%})  {verdict}")
        cuts = [n for n in open_ if any(kind in effect[n].changed for kind in (*CUTS, "fails"))]
        unknown = sum(not effect[n].run for n in open_)
        failed |= bool(cuts)
        verdict = "FAIL" if cuts else "pass"
        print(f"  that change a depth, a clearance or a radius {len(cuts):14}     (0)  {verdict}")
        print(f"  whose line the made jobs do not run {unknown:23}")
    return failed


if __name__ == "__main__":
    main()

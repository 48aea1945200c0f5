"""What the package promises of itself: its files, its rooms, and the standard library beside it."""

import ast
import re
import tomllib
import trace
from importlib import metadata
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SETTINGS = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
PACKAGE_DATA = SETTINGS["tool"]["setuptools"]["package-data"]
ROOMS = ("base", "trace", "fit", "pocket", "api", "desk")


def source_files():
    return [path for room in ROOMS for path in sorted((ROOT / room).rglob("*.py"))]


def imported_modules(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            # `from snugline import fit` imports the room, too.
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def test_the_standard_library_s_trace_is_still_importable():
    assert trace.Trace.__module__ == "trace"


def test_imports_keep_to_the_rules_of_the_pipeline(monkeypatch):
    from importlinter.cli import lint_imports

    monkeypatch.chdir(ROOT)
    assert lint_imports(config_filename=str(ROOT / "pyproject.toml"), no_cache=True) == 0


def test_no_room_imports_itself_by_its_folder_s_name():
    bare = {
        str(path.relative_to(ROOT)): module
        for path in source_files()
        for module in imported_modules(path)
        if module.split(".")[0] in ROOMS
    }
    assert bare == {}


def test_the_build_lists_each_room_and_every_folder_in_it_is_a_package():
    setup = (ROOT / "setup.py").read_text(encoding="utf-8")
    listed = ast.literal_eval(re.search(r"^ROOMS = (\(.*\))$", setup, re.MULTILINE)[1])
    assert ("base", *listed) == ROOMS
    for folder in {path.parent for path in source_files()}:
        assert (folder / "__init__.py").is_file(), folder


def package_of(folder):
    room, *inner = folder.relative_to(ROOT).parts
    return ".".join(["snugline", *([] if room == "base" else [room]), *inner])


def expected_files():
    """Package files as the settings have them: modules, and the listed data."""
    expected = set()
    for folder in {path.parent for path in source_files()}:
        package = package_of(folder)
        for pattern in ["*.py", *PACKAGE_DATA.get(package, [])]:
            for path in filter(Path.is_file, folder.glob(pattern)):
                name = path.relative_to(folder).as_posix()
                expected.add(f"{package.replace('.', '/')}/{name}")
    samples = filter(Path.is_file, (ROOT / "samples").glob(*PACKAGE_DATA["snugline.samples"]))
    return expected | {f"snugline/{path.relative_to(ROOT).as_posix()}" for path in samples}


def test_data_beside_the_modules_is_listed():
    modules_and_data = {
        path
        for room in (*ROOMS, "samples")
        for path in (ROOT / room).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }
    assert len(expected_files()) == len(modules_and_data)


def test_the_installed_copy_holds_the_tree_s_files_and_no_more():
    files = metadata.files("snugline") or []
    names = {str(file) for file in files if file.suffix != ".pyc"}
    if "snugline/__init__.py" not in names:
        pytest.skip("installed editable: the wheel's list is checked where it is installed whole")
    assert {name for name in names if name.startswith("snugline/")} == expected_files()


def test_the_source_archive_names_what_a_packager_needs():
    manifest = (ROOT / "MANIFEST.in").read_text(encoding="utf-8").split()
    for needed in ("DEVELOPERS.md", "CHANGELOG.md", "tests", "samples", "notebooks", "benchmarks"):
        assert needed in manifest, needed

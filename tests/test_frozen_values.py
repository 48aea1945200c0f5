"""What passes between the rooms cannot be changed by who receives it."""

import dataclasses
import importlib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
MODULES = sorted(
    "snugline." + path.relative_to(ROOT).with_suffix("").as_posix().replace("/", ".")
    for room in ("trace", "fit", "pocket")
    for path in (ROOT / room).rglob("*.py")
    if path.name != "__init__.py"
)
# Readers that collect what they meet; what they hand on is frozen.
COLLECTORS = {"_Contents", "_Reader", "Chain"}


@pytest.mark.parametrize("name", MODULES)
def test_every_dataclass_is_frozen(name):
    module = importlib.import_module(name)
    own = [v for v in vars(module).values() if getattr(v, "__module__", None) == name]
    loose = [
        kind.__name__
        for kind in own
        if dataclasses.is_dataclass(kind)
        and not kind.__dataclass_params__.frozen
        and kind.__name__ not in COLLECTORS
    ]
    assert loose == []

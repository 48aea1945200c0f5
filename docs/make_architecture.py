"""`docs/architecture.svg`, drawn from the import rules in `pyproject.toml`: no arrow goes up.

python docs/make_architecture.py
"""

import tomllib
from pathlib import Path
from xml.etree.ElementTree import Element, SubElement, indent, tostring

ROOT = Path(__file__).parents[1]
PICTURE = ROOT / "docs" / "architecture.svg"

ROW, GAP, COLUMN, MARGIN = 30, 8, 250, 14  # px
INK = "#333"


def layers() -> dict[str, list[list[str]]]:
    """The layers of each contract that orders packages, highest first; side by side in a row."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    return {
        contract["name"]: [
            [name.strip().removeprefix("snugline.") for name in row.split("|")]
            for row in contract["layers"]
        ]
        for contract in settings["tool"]["importlinter"]["contracts"]
        if contract["type"] == "layers"
    }


def drawing() -> str:
    """The picture: a column for each contract, a row for each layer."""
    columns = layers()
    height = max(map(len, columns.values())) * (ROW + GAP) + 60
    width = len(columns) * (COLUMN + MARGIN) + MARGIN
    picture = Element("svg", xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {width} {height}")
    picture.set("font-family", "sans-serif")
    picture.set("font-size", "13")
    SubElement(picture, "rect", width=str(width), height=str(height), fill="white")
    for number, (title, rows) in enumerate(columns.items()):
        left = MARGIN + number * (COLUMN + MARGIN)
        head = SubElement(picture, "text", {"x": str(left), "y": "22", "font-weight": "bold"})
        head.text = title
        for level, names in enumerate(rows):
            _row(picture, names, left, 34 + level * (ROW + GAP))
    foot = SubElement(picture, "text", x=str(MARGIN), y=str(height - 10), fill=INK)
    foot.text = "Imports go down only. `base` lies under all of them."
    indent(picture)
    return tostring(picture, encoding="unicode") + "\n"


def _row(picture: Element, names: list[str], left: float, top: float) -> None:
    wide = (COLUMN - GAP * (len(names) - 1)) / len(names)
    for place, name in enumerate(names):
        x = left + place * (wide + GAP)
        box = {"x": f"{x:g}", "y": f"{top:g}", "width": f"{wide:g}", "height": str(ROW)}
        SubElement(picture, "rect", {**box, "rx": "4", "fill": "none", "stroke": INK})
        middle = {"x": f"{x + wide / 2:g}", "y": f"{top + 20:g}", "text-anchor": "middle"}
        SubElement(picture, "text", middle).text = name


if __name__ == "__main__":
    PICTURE.write_text(drawing(), encoding="utf-8")

"""Where the photos show another sheet than the job names: what to change, in one press."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from snugline.trace.sheet.builtin_sheets import parsed_name


@dataclass(frozen=True)
class SheetOffer:
    """A change of the job's sheets.

    Attributes
    ----------
    says, button : the reason in a sentence, and the words on the button.
    was, now : the job's `frame` before and after.
    """

    says: str
    button: str
    was: Any
    now: Any

    def as_json(self) -> dict[str, Any]:
        change = {"path": ["frame"], "was": self.was, "now": self.now}
        return {"says": self.says, "button": self.button, "changes": [change]}


def sheet_offer(
    frame: Any, seen: Sequence[Sequence[Mapping[str, Any]] | None]
) -> SheetOffer | None:
    """The change that makes the job name the sheets in its photos.

    None where it names them, or where they are not known.

    Parameters
    ----------
    frame : as the job has it: a table or a list of tables.
    seen : the built-in sheets that each photo shows; None where that is not known yet.
    """
    tables = [frame] if isinstance(frame, Mapping) else frame
    if not isinstance(tables, list) or not all(isinstance(one, Mapping) for one in tables):
        return None
    named = [str(table.get("description", "")) for table in tables]
    if any(parsed_name(name) is None for name in named):
        return None  # a frame of one's own
    shown = {plain(sheet["name"]): sheet for photo in seen if photo for sheet in photo}
    if not shown:
        return None
    job = {plain(name): number for number, name in enumerate(named)}
    if not job.keys() & shown.keys():
        # A photo still being looked at may show the job's own.
        return None if None in seen else _another(frame, named, seen)
    return _tone(frame, tables, job, shown) or _beside(frame, tables, job, seen)


def plain(name: str) -> str:
    """A sheet's name without the tone of its window: the markers are the same."""
    return name.removesuffix("-dark")


def sheet_words(name: str) -> str:
    """A built-in sheet as people call it.

    >>> sheet_words("border-a4-2-dark")
    'A4 sheet no. 2, dark inside'
    """
    paper, number, dark = parsed_name(name) or ("", 1, False)
    words = f"{paper.upper() if len(paper) == 2 else paper.capitalize()} sheet"
    words += f" no. {number}" if number > 1 else ""
    return words + (", dark inside" if dark else "")


def _another(
    frame: Any,
    named: Sequence[str],
    seen: Sequence[Sequence[Mapping[str, Any]] | None],
) -> SheetOffer | None:
    """No photo shows a sheet that the job names. The bars are those of another print: they go."""
    first = next(photo for photo in seen if photo)
    new = [{"description": sheet["name"]} for sheet in first]
    now: Any = new[0] if len(new) == 1 else new
    right = " and ".join(sheet_words(table["description"]) for table in new)
    wrong = " and ".join(map(sheet_words, named)) or "no sheet"
    says = f"The photo shows the {right}; the job says {wrong}."
    return SheetOffer(says, f"Use {right}", frame, now)


def _tone(
    frame: Any,
    tables: Sequence[Mapping[str, Any]],
    job: Mapping[str, int],
    shown: Mapping[str, Mapping[str, Any]],
) -> SheetOffer | None:
    """The same sheet with the other inside. It is another print, so its bars go, too."""
    for name, number in job.items():
        dark = shown[name]["dark"] if name in shown else None
        described = str(tables[number]["description"])
        if dark is None or dark == described.endswith("-dark"):
            continue
        new = {"description": name + ("-dark" if dark else "")}
        inside, other = ("dark", "white") if dark else ("white", "dark")
        says = f"The sheet in the photo is {inside} inside; the job says {other}."
        return SheetOffer(says, f"Use the {inside} sheet", frame, _with(frame, number, new))
    return None


def _beside(
    frame: Any,
    tables: Sequence[Mapping[str, Any]],
    job: Mapping[str, int],
    seen: Sequence[Sequence[Mapping[str, Any]] | None],
) -> SheetOffer | None:
    """One photo shows a sheet of the job and another one beside it."""
    for photo in seen:
        names = [plain(sheet["name"]) for sheet in photo or ()]
        new = [sheet for sheet in photo or () if plain(sheet["name"]) not in job]
        if new and set(names) & job.keys():
            words = sheet_words(new[0]["name"])
            says = f"The photo also shows the {words}, which the job does not name."
            now = [*map(dict, tables), {"description": new[0]["name"]}]
            return SheetOffer(says, f"Add {words}", frame, now)
    return None


def _with(frame: Any, number: int, table: Mapping[str, Any]) -> Any:
    if isinstance(frame, Mapping):
        return dict(table)
    return [dict(table) if i == number else dict(one) for i, one in enumerate(frame)]

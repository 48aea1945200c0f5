"""The calibration frame as described: markers at known positions, or a plain rectangle."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from snugline.counting import counted
from snugline.errors import FileError, InputError
from snugline.files import why
from snugline.limits import FRAME_BYTES, LONGEST, MARKERS, WINDOW_POINTS
from snugline.untrusted import parsed_json

# "Fit to page" shrinks a print by 3 to 10 %, and hardly any printer enlarges; beyond these it is
# another bar, unit or digit.
LEAST_PRINT_SCALE, MOST_PRINT_SCALE = 0.85, 1.1
# Printers and scanners stretch by some tenths of a percent from axis to axis, not by more.
_MOST_BETWEEN_AXES = 0.01
_LEAST_AREA = 1.0  # mm^2; no marker or window is smaller than a square millimetre
# Limit of error of a 0.01 mm caliper up to 300 mm (DIN 862 extract), and how far a hand may place
# its jaws from the middle of an end mark (as on a part's edge: common practice, no source); both as
# rectangular distributions (JCGM 100, 4.3.7).
_CALIPER_LIMIT_MM = 0.03
_BAR_PLACING_MM = 0.1
# Two readings farther apart than hands place jaws are doubtful, and those that no hand explains are
# of two bars or mistyped.
BAR_DOUBT_MM = 0.3
_BAR_CONTRADICTION_MM = 1.0
# By how much printers stretch paper more along one side than the other, a share (common practice,
# no source).
_ALIKE_U = 0.003
_COMPARE = "compare the description with the one that `snugline frame` writes"


@dataclass(frozen=True)
class Bar:
    """A printed scale bar: its two ends as designed, and its nominal length in mm."""

    ends: NDArray[np.float64]
    nominal: float


@dataclass(frozen=True)
class Frame:
    """A sheet of markers round a clear window.

    Attributes
    ----------
    ids : (M,) marker ids.
    corners : (M, 4, 2) mm, each from the marker's own top left, clockwise seen from above.
    window : (K, 2) mm, where the part shows.
    sheet : (2,) mm, width and height of the paper.
    bars : the scale bars by axis, `x` and `y`; a frame may have none.
    window_dark : the window is printed dark, for pale parts.
    scale : print scale in x and y, as measured over nominal; 1 until the bars are read.
    scale_u : standard uncertainty of `scale`.
    bar_readings : the bars as read, mm, by axis.
    """

    name: str
    dictionary: str
    ids: NDArray[np.int64]
    corners: NDArray[np.float64]
    window: NDArray[np.float64]
    sheet: NDArray[np.float64]
    bars: dict[str, Bar]
    window_dark: bool = False
    scale: tuple[float, float] = (1.0, 1.0)
    scale_u: tuple[float, float] = (0.0, 0.0)
    bar_readings: Mapping[str, tuple[float, ...]] = field(default_factory=dict)

    @property
    def true_corners(self) -> NDArray[np.float64]:
        """Marker corners in true mm: the design with the print's scale applied."""
        corners: NDArray[np.float64] = self.corners * np.array(self.scale)
        return corners

    @property
    def true_window(self) -> NDArray[np.float64]:
        """The window's corners in true mm."""
        window: NDArray[np.float64] = self.window * np.array(self.scale)
        return window


@dataclass(frozen=True)
class PlainFrame:
    """A rectangle of known opening without markers; z = 0 is its upper face.

    Attributes
    ----------
    opening : (2,) mm, width and height of the opening as designed.
    border : mm, width of the material round the opening.
    thickness : mm.
    scale, scale_u : measured over designed opening, as in `Frame`.
    """

    name: str
    opening: NDArray[np.float64]
    border: float
    thickness: float
    scale: tuple[float, float] = (1.0, 1.0)
    scale_u: tuple[float, float] = (0.0, 0.0)


AnyFrame = Frame | PlainFrame


def read_frame(description: str | Path) -> AnyFrame:
    """A frame from its description: a file's path, or the name of a built-in one.

    Raises
    ------
    FileError : no such file, or not JSON.
    InputError : a key is missing or has a value of the wrong kind.
    """
    path = Path(description)
    if path.suffix.lower() != ".json":
        from snugline.trace.sheet.builtin_sheets import builtin_description

        return frame_from_record(builtin_description(str(description)), str(description))
    try:
        with path.open("rb") as stream:
            content = stream.read(FRAME_BYTES + 1)
    except OSError as error:
        raise FileError(
            f"cannot read the frame description ({why(error)})",
            str(path),
            "give the path of the JSON file that was written with the printed frame",
        ) from error
    if len(content) > FRAME_BYTES:
        raise FileError(
            f"is larger than {FRAME_BYTES / 1e6:g} MB",
            str(path),
            "give the file that was written with the frame",
        )
    return frame_from_record(parsed_json(content, str(path)), str(path))


def frame_from_record(record: Any, where: str) -> AnyFrame:
    """A frame from the parsed description; unknown keys are ignored, missing ones are errors.

    Raises
    ------
    InputError : a key is missing or has a value that a frame cannot have; it names the key.
    """
    if not isinstance(record, dict):
        raise InputError("the description is not a JSON object", where, _COMPARE)
    description = _Description(record, where)
    if description["units"] != "mm":
        raise InputError(f"units are {record['units']!r}", where, "describe the frame in mm")
    name = str(description["name"])
    numbers = description.numbers
    if record.get("kind") == "plain":
        return PlainFrame(
            name,
            opening=numbers("opening", description["opening"], (2,), above=0),
            border=float(numbers("border", description["border"], (), above=0)),
            thickness=float(numbers("thickness", description["thickness"], (), least=0)),
        )
    window = numbers("window", description["window"], (None, 2))
    if len(window) < 3 or len(window) > WINDOW_POINTS:
        points = counted(len(window), "point")
        raise description.refuse("window", f"has {points}, not 3 to {WINDOW_POINTS}")
    if not _areas(window[None])[0] > _LEAST_AREA:
        raise description.refuse("window", "encloses no area")
    ids = description.ids()
    corners = numbers("markers", description.of_each("markers", "corners"), (None, 4, 2))
    if not (_areas(corners) > _LEAST_AREA).all():
        bad = int(ids[np.argmin(_areas(corners))])
        raise description.refuse("markers", f"holds the marker {bad}, which encloses no area")
    return Frame(
        name=name,
        dictionary=description.dictionary(),
        ids=ids,
        corners=corners,
        window=window,
        sheet=numbers("sheet", description["sheet"], (2,), above=0),
        bars=description.bars(),
        window_dark=record.get("window_printed") == "dark",
    )


def _areas(polygons: NDArray[np.float64]) -> NDArray[np.float64]:
    """Areas of (N, M, 2) polygons, whichever way round."""
    x, y = np.moveaxis(polygons - polygons[:, :1], -1, 0)
    return np.asarray(0.5 * np.abs(np.sum(x * np.roll(y, -1, 1) - y * np.roll(x, -1, 1), axis=1)))


@dataclass(frozen=True)
class _Description:
    """A description being read; everything refused names its key."""

    record: dict[str, Any]
    where: str

    def __getitem__(self, key: str) -> Any:
        if key not in self.record:
            raise InputError(f"the key {key!r} is missing", self.where, _COMPARE)
        return self.record[key]

    def refuse(self, key: str, reason: str) -> InputError:
        return InputError(f"the key {key!r} {reason}", self.where, _COMPARE)

    def numbers(
        self,
        key: str,
        value: Any,
        shape: tuple[int | None, ...],
        above: float = -np.inf,
        least: float = -np.inf,
    ) -> NDArray[np.float64]:
        """Finite numbers of a shape (None: any length) and size."""
        try:
            array = np.asarray(value, dtype=np.float64)
        except (TypeError, ValueError) as error:
            raise self.refuse(key, "does not hold numbers alone") from error
        pairs = zip(array.shape, shape, strict=False)
        if array.ndim != len(shape) or any(b is not None and a != b for a, b in pairs):
            form = " x ".join("n" if n is None else str(n) for n in shape) or "one"
            raise self.refuse(key, f"does not hold numbers in the form {form}")
        if not np.isfinite(array).all():
            raise self.refuse(key, "holds a number that is not finite")
        if not (np.abs(array) <= LONGEST).all():
            raise self.refuse(key, f"holds a number beyond {LONGEST:g} mm")
        if not ((array > above) & (array >= least)).all():
            bound = "above" if above > -np.inf else "at least"
            raise self.refuse(key, f"holds a number that is not {bound} {max(above, least):g}")
        return array

    def of_each(self, key: str, part: str) -> list[Any]:
        entries = self[key]
        if not isinstance(entries, list) or not all(isinstance(e, dict) for e in entries):
            raise self.refuse(key, "is not a list of objects")
        if not all(part in entry for entry in entries):
            raise self.refuse(key, f"has an entry without {part!r}")
        return [entry[part] for entry in entries]

    def dictionary(self) -> str:
        import cv2  # the command line reads names of frames without it

        name = self["dictionary"]
        if not (isinstance(name, str) and name.startswith("DICT_") and hasattr(cv2.aruco, name)):
            raise InputError(
                f"the key 'dictionary' names {name!r}, which is unknown",
                self.where,
                "use DICT_APRILTAG_36h11, as the built-in frames do",
            )
        return name

    def ids(self) -> NDArray[np.int64]:
        ids = self.of_each("markers", "id")
        if not all(isinstance(i, int) and not isinstance(i, bool) and 0 <= i < 2**31 for i in ids):
            raise self.refuse("markers", "has an id that is not a whole number from 0 upwards")
        if len(set(ids)) != len(ids):
            raise self.refuse("markers", "has an id twice")
        if len(ids) < 4:
            raise self.refuse("markers", "holds fewer than four markers")
        if len(ids) > MARKERS:
            raise self.refuse("markers", f"holds {len(ids)} markers, more than {MARKERS}")
        return np.array(ids, dtype=np.int64)

    def bars(self) -> dict[str, Bar]:
        bars = self["scale_bars"]
        if not isinstance(bars, dict) or not all(isinstance(b, dict) for b in bars.values()):
            raise self.refuse("scale_bars", "is not an object of bars by axis")
        found = {}
        for axis, bar in bars.items():
            key = f"scale_bars.{axis}"
            for part in ("ends", "nominal"):
                if part not in bar:
                    raise self.refuse(key, f"has no {part!r}")
            nominal = self.numbers(key, bar["nominal"], (), above=0)
            found[str(axis)] = Bar(self.numbers(key, bar["ends"], (2, 2)), float(nominal))
        return found


def with_print_scale(
    frame: AnyFrame,
    bar_x: float | Sequence[float] | None = None,
    bar_y: float | Sequence[float] | None = None,
    bar_u: float | None = None,
) -> AnyFrame:
    """The frame with its bars (or its opening) as measured, in mm.

    Parameters
    ----------
    bar_x, bar_y : one reading or several. A print whose one bar alone was read is taken to be
        about as much out of scale in the other direction.
    bar_u : standard uncertainty of a bar's mean; without it that of a caliper read by hand: its own
        limit, which all readings share, and each one's placing on the end marks.

    Raises
    ------
    InputError : the frame has no such bar.
    BarError : a reading is below 85 % or above 110 %; two readings of a bar, or the two bars,
        contradict each other.
    """
    scale, scale_u = list(frame.scale), list(frame.scale_u)
    taken: dict[str, tuple[float, ...]] = {}
    meant = _meant(frame, bar_x, bar_y)
    for i, (axis, given) in enumerate((("x", bar_x), ("y", bar_y))):
        readings = () if given is None else tuple(np.atleast_1d(given).tolist())
        if not readings:
            continue
        nominal = _nominal(frame, i)
        _check_readings(frame, axis, readings, nominal, meant)
        scatter = float(np.std(readings, ddof=1)) if len(readings) > 1 else 0.0
        placing = max(_BAR_PLACING_MM / np.sqrt(3), scatter) / np.sqrt(len(readings))
        u = np.hypot(_CALIPER_LIMIT_MM / np.sqrt(3), placing) if bar_u is None else bar_u
        scale[i], scale_u[i] = float(np.mean(readings)) / nominal, float(u) / nominal
        taken[axis] = readings
    if len(taken) == 2 and isinstance(frame, Frame):
        _check_axes(frame, (scale[0], scale[1]))
    if len(taken) == 1:
        known, other = (0, 1) if "x" in taken else (1, 0)
        if not scale_u[other]:
            scale[other], scale_u[other] = scale[known], _ALIKE_U
    changed = replace(frame, scale=(scale[0], scale[1]), scale_u=(scale_u[0], scale_u[1]))
    return replace(changed, bar_readings=taken) if isinstance(changed, Frame) else changed


def _nominal(frame: AnyFrame, i: int) -> float:
    """Mm, the designed length of what is measured along an axis."""
    if isinstance(frame, PlainFrame):
        return float(frame.opening[i])
    axis = "xy"[i]
    if axis not in frame.bars:
        raise InputError(
            f"the frame has no scale bar {axis}", f"frame {frame.name}", f"leave out bar_{axis}"
        )
    return frame.bars[axis].nominal


class BarError(InputError):
    """A bar reading that cannot be right; `axis` is the bar's."""

    def __init__(self, what: str, frame: AnyFrame, axis: str, meant: str = "") -> None:
        again = "measure the printed bar again, from centre to centre of its end marks"
        super().__init__(what, f"frame {frame.name}", meant or again)
        self.axis = axis


def _meant(
    frame: AnyFrame, bar_x: float | Sequence[float] | None, bar_y: float | Sequence[float] | None
) -> str:
    """The likely slip in the readings of both bars, should they not be this frame's."""
    given = [bar for bar in (bar_x, bar_y) if bar is not None and np.size(bar)]
    read = [float(np.mean(bar)) for bar in given]
    if len(read) < 2 or not isinstance(frame, Frame) or not {"x", "y"} <= set(frame.bars):
        return ""
    from snugline.trace.sheet.bar_slips import likely_slip

    def fits(x: float, y: float) -> bool:
        of_a_print = min(x, y) > LEAST_PRINT_SCALE and max(x, y) <= MOST_PRINT_SCALE
        return of_a_print and abs(x / y - 1) <= _MOST_BETWEEN_AXES

    nominal = (_nominal(frame, 0), _nominal(frame, 1))
    return likely_slip(frame.name, nominal, (read[0], read[1]), fits)


def _check_readings(
    frame: AnyFrame, axis: str, readings: Sequence[float], nominal: float, meant: str
) -> None:
    for reading in readings:
        if not LEAST_PRINT_SCALE < reading / nominal <= MOST_PRINT_SCALE:
            raise BarError(
                f"bar {axis} was entered as {reading:.2f} mm, {reading / nominal * 100:.0f} % of "
                f"its nominal length of {nominal:.2f} mm",
                frame,
                axis,
                meant,
            )
    if max(readings) - min(readings) > _BAR_CONTRADICTION_MM:
        raise BarError(
            f"the readings of bar {axis}, {min(readings):.2f} mm and {max(readings):.2f} mm, "
            f"contradict each other",
            frame,
            axis,
        )


def _check_axes(frame: Frame, scale: tuple[float, float]) -> None:
    """No printer is this much out in one direction alone: a bar was read wrongly."""
    if abs(scale[0] / scale[1] - 1) <= _MOST_BETWEEN_AXES:
        return
    # The one that is further from its nominal length is likelier the wrong one.
    axis = max("xy", key=lambda one: abs(scale["xy".index(one)] - 1))
    raise BarError(
        f"bar x was entered as {scale[0] * 100:.1f} % and bar y as {scale[1] * 100:.1f} % of its "
        f"nominal length; no printer differs by more than 1 % between them",
        frame,
        axis,
    )

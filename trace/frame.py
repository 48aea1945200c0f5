"""The calibration frame as described: markers at known places, or a plain rectangle."""

import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from snugline.errors import FileError, InputError

# A printed sheet is rarely off by more than a few percent; beyond this the reading is a slip.
LARGEST_PRINT_ERROR = 0.1


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
        from snugline.trace.sheet import builtin_description

        return frame_from_record(builtin_description(str(description)), str(description))
    try:
        record = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise FileError(
            f"cannot read the frame description ({error.strerror})",
            str(path),
            "give the path of the JSON file that was written beside the printed frame",
        ) from error
    except ValueError as error:
        raise FileError(
            f"is not JSON ({error})", str(path), "give the file that was written beside the frame"
        ) from error
    return frame_from_record(record, str(path))


def frame_from_record(record: Any, where: str) -> AnyFrame:
    """A frame from the parsed description; unknown keys are ignored, missing ones are errors."""
    mend = "compare the description with the one that `snugline frame` writes"
    if not isinstance(record, dict):
        raise InputError("the description is not a JSON object", where, mend)

    def need(key: str) -> Any:
        if key not in record:
            raise InputError(f"the key {key!r} is missing", where, mend)
        return record[key]

    if need("units") != "mm":
        raise InputError(f"units are {record['units']!r}", where, "describe the frame in mm")
    name = str(need("name"))
    try:
        if record.get("kind") == "plain":
            opening = _array(need("opening"), (2,))
            border, thickness = float(need("border")), float(need("thickness"))
            if min(*opening, border) <= 0 or thickness < 0:
                raise InputError("opening or border is not positive", where, mend)
            return PlainFrame(name, opening, border, thickness)
        markers = need("markers")
        ids = np.array([marker["id"] for marker in markers], dtype=np.int64)
        corners = _array([marker["corners"] for marker in markers], (len(ids), 4, 2))
        bars = {
            axis: Bar(_array(bar["ends"], (2, 2)), float(bar["nominal"]))
            for axis, bar in need("scale_bars").items()
        }
        window = np.asarray(need("window"), dtype=np.float64)
        if window.ndim != 2 or window.shape[1] != 2 or len(window) < 3:
            raise InputError("the window is no polygon", where, mend)
        frame = Frame(
            name=name,
            dictionary=str(need("dictionary")),
            ids=ids,
            corners=corners,
            window=window,
            sheet=_array(need("sheet"), (2,)),
            bars=bars,
            window_dark=record.get("window_printed") == "dark",
        )
    except (TypeError, KeyError, AttributeError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"a value has the wrong form ({error})", where, mend) from error
    if len(set(frame.ids.tolist())) != len(frame.ids) or len(frame.ids) < 4:
        raise InputError("fewer than four markers, or an id twice", where, mend)
    if not np.isfinite(frame.corners).all():
        raise InputError("a marker corner is not a finite number", where, mend)
    return frame


def _array(value: Any, shape: tuple[int, ...]) -> NDArray[np.float64]:
    array = np.asarray(value, dtype=np.float64)
    if array.shape != shape:
        raise ValueError(f"expected numbers in the form {shape}, got {array.shape}")
    return array


def with_print_scale(
    frame: AnyFrame,
    bar_x: float | None = None,
    bar_y: float | None = None,
    bar_u: float = 0.03 / np.sqrt(3),
) -> AnyFrame:
    """The frame with its bars (or its opening) as measured, in mm.

    `bar_u` is the standard uncertainty of one reading; the default is a 0.01 mm caliper's limit
    of 0.03 mm taken as a rectangular distribution (DIN 862 extract; JCGM 100, 4.3.7).

    Raises
    ------
    InputError : the frame has no such bar, or the reading is off by more than 10 %.
    """
    scale, scale_u = list(frame.scale), list(frame.scale_u)
    for i, (axis, reading) in enumerate((("x", bar_x), ("y", bar_y))):
        if reading is None:
            continue
        if isinstance(frame, PlainFrame):
            nominal = float(frame.opening[i])
        elif axis in frame.bars:
            nominal = frame.bars[axis].nominal
        else:
            raise InputError(
                f"the frame has no scale bar {axis}", f"frame {frame.name}", f"leave out bar_{axis}"
            )
        ratio = reading / nominal
        if not abs(ratio - 1) <= LARGEST_PRINT_ERROR:
            raise InputError(
                f"bar {axis} reads {reading:.2f} mm where {nominal:.2f} mm was designed",
                f"frame {frame.name}",
                "measure the printed bar again, between the middles of its end marks",
            )
        scale[i], scale_u[i] = ratio, bar_u / nominal
    return replace(frame, scale=(scale[0], scale[1]), scale_u=(scale_u[0], scale_u[1]))

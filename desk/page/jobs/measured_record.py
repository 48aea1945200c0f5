"""Measured photos as a record and back, without loss."""

from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from snugline.notice import Notice
from snugline.trace.camera.lens import Lens
from snugline.trace.camera.projection import Camera
from snugline.trace.contour import Contour
from snugline.trace.measure import Measured, MeasuredPhoto


def to_record(measured: Measured) -> dict[str, Any]:
    """Everything that the drawings and the fit need."""
    return {
        "photos": [_photo(photo) for photo in measured.photos],
        "joined": None if measured.joined is None else measured.joined.as_json(),
        "notices": [notice.as_json() for notice in measured.notices],
    }


def from_record(record: Mapping[str, Any]) -> Measured:
    """The same measured photos, to the last bit.

    Raises
    ------
    KeyError, TypeError, ValueError : no such record.
    """
    joined = record["joined"]
    return Measured(
        tuple(_photo_from(photo) for photo in record["photos"]),
        None if joined is None else Contour.from_json(joined),
        tuple(Notice.from_json(notice) for notice in record["notices"]),
    )


def _photo(photo: MeasuredPhoto) -> dict[str, Any]:
    lens = photo.camera.lens
    return {
        "file": str(photo.file),
        "contour": photo.contour.as_json(),
        "lens": asdict(lens),
        "rotation": photo.camera.rotation.tolist(),
        "translation": photo.camera.translation.tolist(),
        "contour_px": [points.tolist() for points in photo.contour_px],
        "markers_used": photo.markers_used.tolist(),
        "markers_rejected": photo.markers_rejected.tolist(),
    }


def _photo_from(record: Mapping[str, Any]) -> MeasuredPhoto:
    lens = record["lens"]
    return MeasuredPhoto(
        Path(record["file"]),
        Contour.from_json(record["contour"]),
        Camera(
            Lens(lens["focal"], tuple(lens["centre"]), tuple(lens["radial"]), tuple(lens["size"])),
            np.array(record["rotation"]),
            np.array(record["translation"]),
        ),
        tuple(np.array(points).reshape(-1, 2) for points in record["contour_px"]),
        np.array(record["markers_used"]).reshape(-1, 4, 2),
        np.array(record["markers_rejected"]).reshape(-1, 4, 2),
    )

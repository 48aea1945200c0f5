"""A learned network, run by OpenCV."""

from functools import cache
from pathlib import Path

import cv2


@cache
def network(weights: Path) -> cv2.dnn.Net:
    """Of an ONNX file, read once."""
    # Where OpenCV has two engines, the classic one is faster by a tenth to a third.
    engine = {"engine": cv2.dnn.ENGINE_CLASSIC} if hasattr(cv2.dnn, "ENGINE_CLASSIC") else {}
    return cv2.dnn.readNetFromONNX(str(weights), **engine)

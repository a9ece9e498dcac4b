"""Small fitted networks, run by OpenCV. Their weights lie in the rooms that use them."""

from __future__ import annotations

import threading
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]

_own = threading.local()  # a network holds the picture it works on, so every thread has its own


def scores(model: Path, planes: Floats) -> Floats:
    """Output of an ONNX file for one picture of planes (C, H, W), without the batch axis."""
    held: dict[Path, cv2.dnn.Net] = _own.__dict__.setdefault("nets", {})
    if model not in held:
        held[model] = cv2.dnn.readNetFromONNX(str(model))
    held[model].setInput(np.ascontiguousarray(planes[None], np.float32))
    output: Floats = np.asarray(held[model].forward(), np.float32)
    return np.asarray(output[0])


def softmax(values: Floats, axis: int = 0) -> Floats:
    """Probabilities of class scores."""
    raised = np.exp(values - values.max(axis=axis, keepdims=True))
    return np.asarray(raised / raised.sum(axis=axis, keepdims=True), np.float32)

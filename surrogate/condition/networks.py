"""The room's two small networks, run by OpenCV. Their weights lie beside this module; docs/condition.md says more."""

from __future__ import annotations

import threading
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]

_HERE = Path(__file__).parent
_own = threading.local()  # a network holds the picture it works on, so every thread has its own


def scores(name: str, planes: Floats) -> Floats:
    """Output of ``NAME_model.onnx`` for one picture of planes (C, H, W), without the batch axis."""
    held: dict[str, cv2.dnn.Net] = _own.__dict__.setdefault("nets", {})
    if name not in held:
        held[name] = cv2.dnn.readNetFromONNX(str(_HERE / f"{name}_model.onnx"))
    held[name].setInput(np.ascontiguousarray(planes[None], np.float32))
    output: Floats = np.asarray(held[name].forward(), np.float32)
    return np.asarray(output[0])


def softmax(values: Floats, axis: int = 0) -> Floats:
    """Probabilities of class scores."""
    raised = np.exp(values - values.max(axis=axis, keepdims=True))
    return np.asarray(raised / raised.sum(axis=axis, keepdims=True), np.float32)

"""What was seen of the prints of a lot, as text that can be kept and sent to workers."""

from __future__ import annotations

import base64
import hashlib
from functools import lru_cache
from importlib.resources import files

import numpy as np
import numpy.typing as npt

from surrogate.condition.fade_colour import FadeEstimate, Glance, estimate_in_lot
from surrogate.condition.fade_colour import glance as _glance
from surrogate.condition.fade_network import THETA, Look
from surrogate.records import Lot

Floats = npt.NDArray[np.float32]

#: theta, gate, root, bordered: what stands before the hidden numbers, see fade_network.Look.
_ROOT = 6


@lru_cache(maxsize=1)
def seen_by() -> str:
    """A fingerprint of the networks: what other ones saw cannot be pooled with what these see."""
    return hashlib.sha256(files("surrogate.condition").joinpath("fade_model.npz").read_bytes()).hexdigest()[:16]


def glance(density: Floats) -> str:
    """What the estimate of a lot needs of a colour print, (H, W, 3) density; empty: too little to judge from."""
    seen = _glance(density)
    return "" if seen is None else written(seen)


def written(seen: Glance) -> str:
    """A glance as text: its numbers as little-endian float32, in base 64."""
    look = seen.look
    numbers = np.array([*look.theta, look.gate, *look.root.ravel(), float(seen.bordered), *look.hidden], dtype="<f4")
    return base64.b64encode(numbers.tobytes()).decode("ascii")


def read(text: str) -> Glance:
    """The glance that :func:`written` wrote."""
    numbers = np.frombuffer(base64.b64decode(text), dtype="<f4").astype(np.float32)
    theta, gate, root, bordered, hidden = np.split(numbers, np.cumsum([THETA, 1, _ROOT * _ROOT, 1]))
    return Glance(Look(theta, float(gate[0]), root.reshape(_ROOT, _ROOT), hidden), bool(bordered[0]))


def estimate(density: Floats, lot: Lot) -> FadeEstimate:
    """Estimate one print, (H, W, 3) density, together with the others of its lot."""
    return estimate_in_lot(density, [read(text) for text in lot.glances], lot.place)

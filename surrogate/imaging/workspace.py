"""Arrays that are used again strip after strip.

Asking the system for new memory costs more than the work done in it: with new arrays for every strip a print of 8x10 in
took 1.2 s of processor time, with these 0.6 s, the difference being the kernel's (tests/benchmarks/bench_prints.py).
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt


class Workspace:
    """Scratch arrays by name; what an array held before is still in it."""

    def __init__(self) -> None:
        self._kept: dict[str, npt.NDArray[Any]] = {}

    def array(self, name: str, shape: tuple[int, ...], dtype: npt.DTypeLike) -> npt.NDArray[Any]:
        """The contiguous array called ``name`` of this shape and type; the same memory while that is large enough."""
        size = math.prod(shape)
        flat = self._kept.get(name)
        if flat is None or flat.size < size or flat.dtype != dtype:
            flat = self._kept[name] = np.zeros(size, dtype=dtype)
        return flat[:size].reshape(shape)

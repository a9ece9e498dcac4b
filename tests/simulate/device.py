"""A scanner without a profile: filters that overlap, an exposure and a gamma of its own in each channel, flare."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Device:
    """``sees`` (3, 3): what each channel takes of linear sRGB; ``gamma`` (3,); ``flare``: stray light, a share."""

    sees: Array
    gamma: Array
    flare: float

    def codes(self, linear: Array) -> Array:
        """Codes 0..1 (..., 3) of linear sRGB light."""
        seen = np.clip(linear @ self.sees.T, 0, 1)
        return np.asarray((seen * (1 - self.flare) + self.flare) ** (1 / self.gamma))


#: One with a yellow cast, for examples.
ORDINARY = Device(
    np.diag([0.92, 1.0, 0.86]) @ np.array([[0.88, 0.10, 0.02], [0.07, 0.87, 0.06], [0.02, 0.12, 0.86]]),
    np.array([1.9, 1.8, 1.7]),
    0.0,
)


def any_device(generator: np.random.Generator) -> Device:
    """Overlaps up to 14 %, exposures 0.82 to 1, gammas 1.6 to 2.4, flare up to 0.4 % (plausible, from memory)."""
    mix = generator.uniform(0, 0.14, (3, 3))
    np.fill_diagonal(mix, 0)
    np.fill_diagonal(mix, 1 - mix.sum(axis=1))
    exposure = np.diag(generator.uniform(0.82, 1.0, 3))
    return Device(exposure @ mix, generator.uniform(1.6, 2.4, 3), float(generator.uniform(0, 0.004)))

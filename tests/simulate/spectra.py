"""Dyes, stains and scanner sensors over 31 wavelengths: why one dye darkens all three channels.

A channel's density is `-log10(sum S(l) 10^-(sum a_j d_j(l)) / sum S(l))`: Beer-Lambert at each wavelength, then a broad
sensor. It is not quite linear in the dye amounts, so no 3x3 matrix undoes it exactly. The curves are sums of Gaussians
shaped like published spectral dye densities of chromogenic papers (from memory; peaks 440-455, 535-550, 640-670 nm).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
WAVELENGTHS_NM: Array = np.arange(400.0, 701.0, 10.0)

Lobe = tuple[float, float, float, float]
"""Height, peak nm, standard deviation nm on the short side, on the long side."""


def lobes(*parts: Lobe) -> Array:
    """Sum of two-sided Gaussians over `WAVELENGTHS_NM`."""
    curve = np.zeros_like(WAVELENGTHS_NM)
    for height, peak, short, long in parts:
        offset = WAVELENGTHS_NM - peak
        curve = curve + height * np.exp(-0.5 * (offset / np.where(offset < 0, short, long)) ** 2)
    return curve


@dataclass(frozen=True, eq=False)
class DyeSet:
    """Spectral density of one unit of cyan, magenta and yellow dye, each of shape (31,)."""

    name: str
    cyan: Array
    magenta: Array
    yellow: Array

    @property
    def curves(self) -> Array:
        """Shape (3, 31)."""
        return np.stack([self.cyan, self.magenta, self.yellow])


DYE_SETS: tuple[DyeSet, ...] = (
    DyeSet(
        "broad dyes of the early papers",
        lobes((1.0, 645, 52, 60), (0.20, 420, 40, 70)),
        lobes((1.0, 540, 36, 32), (0.32, 430, 40, 45), (0.08, 640, 40, 40)),
        lobes((1.0, 440, 45, 44), (0.10, 540, 40, 40)),
    ),
    DyeSet(
        "cyan with a strong blue side absorption",
        lobes((1.0, 660, 58, 50), (0.26, 405, 40, 50)),
        lobes((1.0, 545, 34, 30), (0.22, 435, 35, 40), (0.05, 640, 40, 40)),
        lobes((1.0, 450, 42, 40), (0.06, 550, 30, 40)),
    ),
    DyeSet(
        "cleaner magenta",
        lobes((1.0, 655, 48, 55), (0.14, 425, 45, 60)),
        lobes((1.0, 548, 30, 28), (0.12, 420, 30, 50), (0.03, 640, 40, 40)),
        lobes((1.0, 445, 38, 36), (0.04, 540, 30, 40)),
    ),
    DyeSet(
        "short cyan, wide yellow",
        lobes((1.0, 636, 46, 64), (0.18, 430, 50, 60)),
        lobes((1.0, 536, 38, 34), (0.26, 415, 40, 60), (0.06, 650, 50, 40)),
        lobes((1.0, 436, 50, 50), (0.13, 520, 30, 50)),
    ),
)


@dataclass(frozen=True, eq=False)
class Sensor:
    """Lamp times filter of a scanner's three channels, shape (3, 31), red first."""

    name: str
    sensitivity: Array


SENSORS: tuple[Sensor, ...] = (
    Sensor("three LEDs", np.stack([lobes((1, 628, 10, 9)), lobes((1, 526, 16, 18)), lobes((1, 462, 11, 13))])),
    Sensor(
        "fluorescent lamp and filters",
        np.stack(
            [
                lobes((1, 612, 10, 12), (0.3, 650, 25, 25)),
                lobes((1, 544, 10, 10), (0.4, 520, 25, 25)),
                lobes((0.7, 437, 10, 12), (0.6, 470, 25, 22)),
            ]
        ),
    ),
    Sensor("broad filters", np.stack([lobes((1, 605, 28, 38)), lobes((1, 540, 36, 34)), lobes((1, 455, 28, 30))])),
)


def stain_curve(decay_nm: float) -> Array:
    """Yellow stain: density falling exponentially from blue to red, 1 at 450 nm, e-fold every `decay_nm`."""
    return np.exp(-(WAVELENGTHS_NM - 450.0) / decay_nm)


def seen(spectral_density: Array, sensor: Sensor) -> Array:
    """Channel densities (..., 3) of spectral densities (..., 31), a perfect white being 0."""
    weight = sensor.sensitivity / sensor.sensitivity.sum(axis=1, keepdims=True)
    return np.asarray(-np.log10(np.power(10.0, -spectral_density) @ weight.T))


def dye_amounts(channel_density: Array, dyes: DyeSet, sensor: Sensor, rounds: int = 8) -> Array:
    """Amounts (n, 3), none negative, that `sensor` sees as `channel_density` (n, 3) above base (Newton's method).

    Colours outside what the dyes can make come out as the nearest that clipping allows.
    """
    curves = dyes.curves
    weight = sensor.sensitivity / sensor.sensitivity.sum(axis=1, keepdims=True)
    both = (weight[:, None, :] * curves[None, :, :]).reshape(9, -1)
    small = seen(0.01 * curves, sensor) / 0.01
    amounts = np.clip(channel_density @ np.linalg.inv(small), -0.3, 4.0)
    for _ in range(rounds):
        transmitted = np.power(10.0, -(amounts @ curves))
        total = transmitted @ weight.T
        slope = (transmitted @ both.T).reshape(-1, 3, 3) / total[:, :, None]
        step = np.linalg.solve(slope, (channel_density + np.log10(total))[:, :, None])[:, :, 0]
        amounts = np.clip(amounts + np.clip(step, -0.8, 0.8), -0.3, 4.0)
    return np.asarray(np.maximum(amounts, 0.0))

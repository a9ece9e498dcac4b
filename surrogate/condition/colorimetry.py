"""From optical density to CIE colour: XYZ, CIELAB (D50), yellowness and colour difference.

Densities are those of linear sRGB (IEC 61966-2-1), so their white is D65. CIELAB is given for D50 as the graphic
arts do (ISO 13655), reached by the Bradford adaptation (ICC.1, annex E).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Triple = tuple[float, float, float]

#: White points for 2 degrees, Y = 1 (the ones scikit-image uses; CIE 15, ASTM E308).
WHITE_D65 = np.array([0.95047, 1.0, 1.08883])
WHITE_D50 = np.array([0.96422, 1.0, 0.82521])

#: Bradford cone response (Lam 1985, as in ICC.1:2010 annex E).
_BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])

#: Linear sRGB (D65) to XYZ, IEC 61966-2-1 to the digits scikit-image uses.
_XYZ_OF_RGB = np.array([[0.412453, 0.35758, 0.180423], [0.212671, 0.71516, 0.072169], [0.019334, 0.119193, 0.950227]])

#: ASTM E313-15e1, table of coefficients for D65 and 2 degrees.
_E313_X, _E313_Z = 1.2985, 1.1335


def _adaptation(source: Array, target: Array) -> Array:
    """Bradford matrix (3, 3) from one white to another."""
    gain = (_BRADFORD @ target) / (_BRADFORD @ source)
    return np.asarray(np.linalg.inv(_BRADFORD) @ np.diag(gain) @ _BRADFORD)


_D65_TO_D50 = _adaptation(WHITE_D65, WHITE_D50)
_D50_TO_D65 = _adaptation(WHITE_D50, WHITE_D65)


def xyz(density: npt.ArrayLike) -> Array:
    """CIE XYZ (D65, Y of perfect white = 1) of densities, shape (..., 3)."""
    linear = 10.0 ** -np.asarray(density, dtype=np.float64)
    return np.asarray(linear @ _XYZ_OF_RGB.T)


def lab(density: npt.ArrayLike) -> Array:
    """CIELAB for D50 and 2 degrees of densities, shape (..., 3).

    The formula of CIE 15:2004 itself: loading scikit-image for it takes a second. The tests compare the two.
    """
    ratio = xyz(density) @ _D65_TO_D50.T / WHITE_D50
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    x, y, z = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def density_of_lab(colour: npt.ArrayLike) -> Array:
    """Densities of linear sRGB of CIELAB (D50) colours, shape (..., 3); out-of-gamut light is floored at 1e-4."""
    from skimage.color import lab2xyz

    adapted = np.asarray(lab2xyz(np.asarray(colour, dtype=np.float64), illuminant="D50")) @ _D50_TO_D65.T
    return np.asarray(-np.log10(np.maximum(adapted @ np.linalg.inv(_XYZ_OF_RGB).T, 1e-4)))


def yellowness(tristimulus: npt.ArrayLike) -> float:
    """Yellowness index of ASTM E313-15e1 for D65 and 2 degrees; ``tristimulus`` is XYZ on any scale, shape (3,)."""
    x, y, z = np.asarray(tristimulus, dtype=np.float64)
    return float(100.0 * (_E313_X * x - _E313_Z * z) / y)


def difference(one: npt.ArrayLike, other: npt.ArrayLike) -> float:
    """CIEDE2000 between two densities, shape (3,) each (CIE 142, ISO/CIE 11664-6)."""
    from skimage.color import deltaE_ciede2000

    return float(deltaE_ciede2000(lab(one), lab(other)))


def triple(values: npt.ArrayLike, digits: int = 3) -> Triple:
    """Three values as a rounded tuple of floats, for the records."""
    a, b, c = (round(float(v), digits) for v in np.asarray(values, dtype=np.float64))
    return a, b, c

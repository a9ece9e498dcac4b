"""Density and the sRGB curve against their definitions and the CIE formula for L*."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from surrogate.imaging import density


def lightness(reflectance: float) -> float:
    """CIE 1976 L* of a neutral with Y = reflectance (CIE 15:2004)."""
    cube = reflectance ** (1 / 3) if reflectance > (6 / 29) ** 3 else reflectance / (3 * (6 / 29) ** 2) + 4 / 29
    return 116 * cube - 16


@pytest.mark.parametrize(
    ("value", "expected"), [(0.05, 95.63), (0.70, 51.78), (1.00, 37.84), (1.95, 9.97)]
)  # derived from D = -log10 R and the CIE formula
def test_density_and_lightness_agree_with_the_cie_formula(value: float, expected: float) -> None:
    code = density.to_srgb(np.array([value]), bits=16)
    back = density.density_table(16)[int(code[0])]
    assert lightness(10.0 ** -float(back)) == pytest.approx(expected, abs=0.01)


# 20-step reflection scale, D 0.05 to 1.95 in steps of 0.1: 8-bit sRGB codes derived from its definition
STEPS = [242.4, 218.9, 197.6, 178.3, 160.7, 144.7, 130.2, 117.0, 105.0, 94.1]
DARK_STEPS = [84.2, 75.2, 67.1, 59.6, 52.9, 46.8, 41.2, 36.2, 31.6, 27.4]


def test_a_grey_scale_of_20_steps_gets_its_codes() -> None:
    codes = density.to_srgb(0.05 + 0.1 * np.arange(20), bits=16) / 257
    np.testing.assert_allclose(codes, STEPS + DARK_STEPS, atol=0.06)


@given(st.integers(0, 65535))
def test_codes_survive_the_way_to_linear_and_back(code: int) -> None:
    linear = density.srgb_to_linear(np.array([code / 65535]))
    assert round(float(density.linear_to_srgb(linear)[0]) * 65535) == code


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_density_keeps_shape_and_stays_within_its_range(dtype: type[np.generic]) -> None:
    pixels = np.zeros((1, 1, 3), dtype=dtype)
    pixels.setflags(write=False)
    found = density.to_density(pixels)
    assert found.shape == (1, 1, 3)
    assert found.dtype == np.float32
    assert found.max() == pytest.approx(density.FLOOR_DENSITY)


def test_density_falls_as_codes_rise() -> None:
    assert (np.diff(density.density_table(8)) <= 0).all()

"""CIELAB, adaptation and wide-gamut coding, written from the standards for the sample scans and their truth."""

import struct

import numpy as np
from numpy.typing import NDArray

from .tone import Image

Matrix = NDArray[np.float64]

SRGB_TO_XYZ: Matrix = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
"""IEC 61966-2-1, D65."""
D65_TO_D50: Matrix = np.array(
    [[1.0478112, 0.0228866, -0.0501270], [0.0295424, 0.9904844, -0.0170491], [-0.0092345, 0.0150436, 0.7521316]]
)
"""Bradford adaptation as in ICC.1 (from memory, checked against the ICC sRGB profile in the tests)."""
D50: Matrix = np.array([0.9642, 1.0, 0.8249])
"""ICC.1 profile connection space illuminant."""
ROMM_PRIMARIES = ((0.7347, 0.2653), (0.1596, 0.8404), (0.0366, 0.0001))
"""Reference output medium metric RGB, chromaticities of ISO 22028-2."""


def primaries_to_xyz(primaries: tuple[tuple[float, float], ...], white: Matrix) -> Matrix:
    """3x3 from linear RGB to XYZ so that RGB (1, 1, 1) is `white`."""
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in primaries]).T
    return columns * np.linalg.solve(columns, white)[None, :]


ROMM_TO_XYZ: Matrix = primaries_to_xyz(ROMM_PRIMARIES, D50)
SRGB_TO_XYZ_D50: Matrix = D65_TO_D50 @ SRGB_TO_XYZ


def lab_to_linear_srgb(lab: NDArray[np.generic]) -> Image:
    """Linear sRGB, unclipped, of CIELAB D50 values (..., 3) (CIE 15)."""
    values = np.asarray(lab, np.float64)
    fy = (values[..., 0] + 16.0) / 116.0
    f = np.stack([fy + values[..., 1] / 500.0, fy, fy - values[..., 2] / 200.0], axis=-1)
    xyz = np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)) * D50
    return (xyz @ np.linalg.inv(SRGB_TO_XYZ_D50).T).astype(np.float32)


def linear_srgb_to_lab(linear: Image) -> NDArray[np.float64]:
    """CIELAB D50 of linear sRGB (..., 3) (CIE 15)."""
    t = linear.astype(np.float64) @ SRGB_TO_XYZ_D50.T / D50
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


def to_romm16(linear: Image) -> NDArray[np.uint16]:
    """16-bit ROMM RGB codes of linear sRGB, which may go below 0 and above 1 (ISO 22028-2)."""
    romm = np.clip(linear @ (np.linalg.inv(ROMM_TO_XYZ) @ SRGB_TO_XYZ_D50).T, 0.0, 1.0)
    coded = np.where(romm < 16.0 ** (1.8 / (1 - 1.8)), 16.0 * romm, np.maximum(romm, 1e-9) ** (1 / 1.8))
    return np.round(coded * 65535.0).astype(np.uint16)


ROMM_CURVE = (1.8, 1.0, 0.0, 1 / 16, 16.0 ** (1.8 / (1 - 1.8)) * 16.0)
SRGB_CURVE = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
"""Parametric curve type 3 of ICC.1: Y = (aX + b)^g for X >= d, else cX; as (g, a, b, c, d)."""


def matrix_profile(name: str, to_xyz_d50: Matrix, curve: tuple[float, float, float, float, float]) -> bytes:
    """An ICC display profile of version 4.3 with three primaries and one curve (ICC.1:2010)."""

    def number(value: float) -> bytes:
        return struct.pack(">i", round(value * 65536))

    def text(words: str) -> bytes:
        coded = words.encode("utf-16-be")
        return b"mluc" + struct.pack(">IIIHHII", 0, 1, 12, 0x656E, 0x5553, len(coded), 28) + coded

    def xyz(values: NDArray[np.float64]) -> bytes:
        return b"XYZ \0\0\0\0" + b"".join(number(float(v)) for v in values)

    shape = b"para\0\0\0\0" + struct.pack(">HH", 3, 0) + b"".join(number(value) for value in curve)
    tags = {
        b"desc": text(name), b"cprt": text("CC0-1.0"), b"wtpt": xyz(D50),
        b"rXYZ": xyz(to_xyz_d50[:, 0]), b"gXYZ": xyz(to_xyz_d50[:, 1]), b"bXYZ": xyz(to_xyz_d50[:, 2]),
        b"rTRC": shape, b"gTRC": shape, b"bTRC": shape,
    }  # fmt: skip
    table, body, start = struct.pack(">I", len(tags)), b"", 128 + 4 + 12 * len(tags)
    for tag, data in tags.items():
        table += tag + struct.pack(">II", start + len(body), len(data))
        body += data + b"\0" * (-len(data) % 4)
    header = struct.pack(">I4sI4s4s4s", start + len(body), b"\0\0\0\0", 0x04300000, b"mntr", b"RGB ", b"XYZ ")
    header += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + b"\0" * 28
    header += b"".join(number(float(v)) for v in D50)
    return header.ljust(128, b"\0") + table + body

"""A colour profile of a scanner from one scan of the 24-patch target: tone curves and a matrix, written as ICC.

ICC.1:2001-04 (version 2.4): an input profile of class ``scnr`` with three matrix columns and three curves, XYZ at D50.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import numpy.typing as npt
from scipy.interpolate import PchipInterpolator
from scipy.optimize import least_squares
from skimage.color import deltaE_ciede2000, lab2xyz, xyz2lab

from surrogate.condition.chart_values import NEUTRALS
from surrogate.condition.colorimetry import WHITE_D50

Array = npt.NDArray[np.float64]

#: Entries of a tone curve.
_CURVE = 1024

#: Grey patches need this much between neighbours (share of full scale), or the scan is clipped or upside down in tone.
_LEAST_STEP = 0.004

#: Darkest light that a grey may need: black of the card is 3 % of light.
_FLOOR = 1e-4

#: How often matrix and curves follow one another: a fourth time changes nothing (measured on simulated scanners).
_ROUNDS = 3


@dataclass(frozen=True)
class ScannerProfile:
    """``curves`` (3, 1024): linear light of device codes 0..1; ``matrix`` (3, 3): XYZ (D50) of linear light."""

    curves: Array
    matrix: Array

    def lab(self, codes: Array) -> Array:
        """CIELAB (D50) of device codes (N, 3) in 0..1."""
        at = np.linspace(0, 1, self.curves.shape[1])
        linear = np.stack([np.interp(codes[:, c], at, self.curves[c]) for c in range(3)], axis=1)
        return np.asarray(xyz2lab(linear @ self.matrix.T, illuminant="D50"))


def fit(codes: Array, truth: Array) -> ScannerProfile | None:
    """From device codes (24, 3) in 0..1 and CIELAB (24, 3) of the card; None where the greys do not rise.

    The curves pass through the six greys, the matrix then has the least CIEDE2000. The card's greys are not neutral to
    the last (its white is a little yellow), so each curve leads to the light that the matrix needs in its channel for
    that grey; matrix and curves follow one another until both fit.
    """
    xyz = np.asarray(lab2xyz(truth, illuminant="D50"))
    greys = np.argsort(xyz[NEUTRALS, 1]) + NEUTRALS.start
    if (np.diff(codes[greys], axis=0) < _LEAST_STEP).any() or (codes[greys[0]] <= 0).any():
        return None
    light = np.repeat(xyz[greys, 1:2], 3, axis=1)
    matrix = np.zeros((3, 3))
    for _ in range(_ROUNDS):
        curves = np.array([_curve(codes[greys, channel], light[:, channel]) for channel in range(3)])
        matrix = _matrix(curves, codes, xyz, truth)
        light = np.maximum.accumulate(xyz[greys] @ np.linalg.inv(matrix).T)
    return ScannerProfile(curves, matrix)


def _matrix(curves: Array, codes: Array, xyz: Array, truth: Array) -> Array:
    """The matrix (3, 3) of least mean square CIEDE2000 for these curves; its rows add up to D50."""
    at = np.linspace(0, 1, _CURVE)
    linear = np.stack([np.interp(codes[:, c], at, curves[c]) for c in range(3)], axis=1)
    start = np.linalg.lstsq(linear / xyz[:, 1:2], xyz / xyz[:, 1:2], rcond=None)[0].T
    start *= WHITE_D50[:, None] / start.sum(axis=1, keepdims=True)

    def rest(numbers: Array) -> Array:
        made = np.c_[numbers.reshape(3, 2), WHITE_D50 - numbers.reshape(3, 2).sum(axis=1)]
        return np.asarray(deltaE_ciede2000(xyz2lab(np.maximum(linear @ made.T, 1e-6), illuminant="D50"), truth))

    found = np.asarray(least_squares(rest, start[:, :2].ravel()).x).reshape(3, 2)
    return np.asarray(np.c_[found, WHITE_D50 - found.sum(axis=1)])


def _curve(x: npt.NDArray[np.float64], y: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """A rising curve through the greys in logarithms of code and light, a power law beyond them, at most 1."""
    codes, lights = np.log(x), np.log(np.maximum(y, _FLOOR))
    at = np.log(np.maximum(np.linspace(0, 1, _CURVE), 1e-6))
    low, high = np.diff(lights)[[0, -1]] / np.diff(codes)[[0, -1]]
    values = PchipInterpolator(codes, lights)(np.clip(at, codes[0], codes[-1]))
    values += low * np.minimum(at - codes[0], 0) + high * np.maximum(at - codes[-1], 0)
    return np.asarray(np.minimum(np.exp(values), 1.0))


def as_icc(profile: ScannerProfile, name: str, made: datetime) -> bytes:
    """The profile as ICC bytes; ``name`` is what programs show."""
    tags: dict[bytes, bytes] = {
        b"desc": _description(name),
        b"cprt": b"text" + bytes(4) + b"No rights reserved\0",
        b"wtpt": _xyz(WHITE_D50),
    }
    for channel, letter in enumerate("rgb"):
        tags[letter.encode() + b"XYZ"] = _xyz(profile.matrix[:, channel])
        steps = np.rint(np.clip(profile.curves[channel], 0, 1) * 65535).astype(">u2")
        tags[letter.encode() + b"TRC"] = b"curv" + bytes(4) + struct.pack(">I", len(steps)) + steps.tobytes()
    offset = 128 + 4 + 12 * len(tags)
    table, body = struct.pack(">I", len(tags)), b""
    for signature, data in tags.items():
        table += signature + struct.pack(">II", offset + len(body), len(data))
        body += data + bytes(-len(data) % 4)
    when = struct.pack(">6H", made.year, made.month, made.day, made.hour, made.minute, made.second)
    header = struct.pack(">I4sI4s4s4s", offset + len(body), bytes(4), 0x02400000, b"scnr", b"RGB ", b"XYZ ")
    header += when + b"acsp" + bytes(28) + _fixed(WHITE_D50)
    return header + bytes(128 - len(header)) + table + body


def _fixed(values: Array) -> bytes:
    """s15Fixed16Number."""
    return struct.pack(">3i", *(round(float(value) * 65536) for value in values))


def _xyz(values: Array) -> bytes:
    return b"XYZ " + bytes(4) + _fixed(values)


def _description(name: str) -> bytes:
    text = name.encode("ascii", "replace")[:200] + b"\0"
    return b"desc" + bytes(4) + struct.pack(">I", len(text)) + text + bytes(4 + 4 + 2 + 1 + 67)

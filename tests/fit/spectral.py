"""Spectral dyes, stain and sensors for half of the family of the fit (torch): broad, random, different for every lot.

Absorption follows Beer and Lambert at each wavelength, then a broad sensor sums light, so no 3x3 matrix undoes it
exactly. Ranges enclose published spectral dye densities of chromogenic papers (peaks 433 to 453, 532 to 552, 632 to 668
nm; side absorptions 0.08 to 0.34 of the main one) and scanner sensors from narrow lamps to broad filters; from memory.
"""

import math
from typing import NamedTuple

import torch
from torch import Tensor

WAVES = 31  # 400 to 700 nm by 10


class Lots(NamedTuple):
    """Dyes and sensors, N lots (or prints)."""

    curves: Tensor  # (N,3,WAVES) spectral density of unit amounts; equal units are a neutral of 1.0
    sensor: Tensor  # (N,WAVES,3) shares of each channel's light
    matrix: Tensor  # (N,3,3) channel densities of unit amounts near a mid grey, rows sum to 1
    bend: Tensor  # (N,3,1) how far channel densities of a neutral fall behind its amount u: by bend * u * (u - 1)
    stain: Tensor  # (N,1,WAVES) spectral density of the stain
    spared: Tensor  # (N,1,1) share of the stain that a full magenta spares


def inverse(matrix: Tensor) -> Tensor:
    """Inverse of (...,3,3) by cofactors."""
    a, b, c = matrix.unbind(-2)
    cross = torch.stack([torch.linalg.cross(b, c), torch.linalg.cross(c, a), torch.linalg.cross(a, b)], -1)
    return cross / (a * torch.linalg.cross(b, c)).sum(-1)[..., None, None]


def lobe(draw, n: int, height: tuple, peak: tuple, short: tuple, long: tuple) -> Tensor:
    """(n,WAVES) two-sided Gaussians, their numbers drawn from ranges."""
    wave = 400 + 10 * torch.arange(WAVES, device=draw.device, dtype=torch.float32)
    offset = wave[None] - draw.uniform(*peak, n, 1)
    width = torch.where(offset < 0, draw.uniform(*short, n, 1), draw.uniform(*long, n, 1))
    return draw.uniform(*height, n, 1) * torch.exp(-0.5 * (offset / width) ** 2)


def lots(draw, n: int, stained: Tensor) -> Lots:
    """`stained` (n,1): density of the stain at 450 nm."""
    curves = torch.stack(
        [
            lobe(draw, n, (1, 1), (632, 668), (42, 62), (46, 68))
            + lobe(draw, n, (0.08, 0.3), (400, 440), (35, 50), (35, 65)),
            lobe(draw, n, (1, 1), (532, 552), (28, 40), (26, 36))
            + lobe(draw, n, (0.08, 0.34), (410, 440), (28, 45), (35, 60))
            + lobe(draw, n, (0.02, 0.1), (635, 655), (38, 50), (38, 45)),
            lobe(draw, n, (1, 1), (433, 453), (36, 52), (34, 52))
            + lobe(draw, n, (0.02, 0.14), (515, 555), (28, 42), (35, 50)),
        ],
        1,
    )
    broad = draw.uniform(0, 1, n, 1)  # one scanner's channels are all narrow or all broad
    sensor = torch.stack(
        [
            _channel(draw, n, (600, 632), (8, 38), broad),
            _channel(draw, n, (522, 548), (9, 35), broad),
            _channel(draw, n, (445, 466), (10, 30), broad),
        ],
        2,
    )
    unit = torch.ones(n, 3, 1, device=draw.device)
    for _ in range(10):  # amounts that make a neutral of 1.0
        unit = unit / seen(curves * unit, sensor, torch.ones_like(unit)).clamp(min=0.2)
    curves = curves * unit
    grey = torch.full((n, 3, 4), 0.7, device=draw.device)
    step = torch.nn.functional.pad(0.05 * torch.eye(3, device=draw.device), (1, 0))
    slope = seen(curves, sensor, grey + step)
    matrix = (slope[:, :, 1:] - slope[:, :, :1]) / 0.05
    bend = (2 - seen(curves, sensor, 2 * torch.ones_like(unit))).clamp(min=1e-3) / 2
    wave = 10 * torch.arange(WAVES, device=draw.device, dtype=torch.float32) - 50
    yellowing = stained[:, :, None] * torch.exp(-wave[None, None] / draw.uniform(35, 95, n, 1, 1))
    spared = draw.uniform(0, 0.7, n, 1, 1) * draw.chance(0.6, n, 1, 1)
    return Lots(curves, sensor, matrix / matrix.sum(2, keepdim=True), bend, yellowing, spared)


def _channel(draw, n: int, peak: tuple, width: tuple, broad: Tensor) -> Tensor:
    """(n,WAVES) sensitivity, summing to 1."""
    wave = 400 + 10 * torch.arange(WAVES, device=draw.device, dtype=torch.float32)
    spread = width[0] + (width[1] - width[0]) * (broad * draw.uniform(0.7, 1.0, n, 1))
    curve = torch.exp(-0.5 * ((wave[None] - draw.uniform(*peak, n, 1)) / spread) ** 2)
    return curve / curve.sum(1, keepdim=True)


def seen(curves: Tensor, sensor: Tensor, amount: Tensor, more: Tensor | None = None) -> Tensor:
    """(N,3,S) channel densities of (N,3,S) amounts; `more` (N,S or 1,WAVES) is spectral density on top."""
    spectrum = amount.transpose(1, 2) @ curves
    if more is not None:
        spectrum = spectrum + more
    light = torch.exp(-math.log(10) * spectrum) @ sensor
    return -torch.log10(light.clamp(min=1e-4)).transpose(1, 2)


def amounts(dyes: Lots, density: Tensor) -> Tensor:
    """(N,3,S) amounts, none negative, that look about like densities above base; neutrals look right."""
    one = 1 + dyes.bend
    root = (one**2 - 4 * dyes.bend * density).clamp(min=0.01).sqrt()
    neutral = torch.where(density > 0, (one - root) / (2 * dyes.bend), density)
    cross = inverse(dyes.matrix)
    return (cross @ neutral).clamp(min=0)


def unfaded(dyes: Lots, amount: Tensor) -> Tensor:
    """Density above base of the fresh print."""
    return seen(dyes.curves, dyes.sensor, amount)


def stain(dyes: Lots) -> Tensor:
    """(N,3) what the stain adds to the base."""
    return seen(dyes.curves, dyes.sensor, torch.zeros_like(dyes.curves[:, :, :1]), dyes.stain)[:, :, 0]


def aged(dyes: Lots, amount: Tensor, left: Tensor) -> Tensor:
    """Density above the fresh base now: dyes that are left and the stain, least where magenta was full."""
    kept = 1 - dyes.spared * (amount[:, 1:2] / 2.0).clamp(0, 1)
    return seen(dyes.curves, dyes.sensor, left, kept.transpose(1, 2) * dyes.stain)

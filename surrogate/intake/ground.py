"""The scanner's lid or the album's page around originals: one even colour that reaches the edge of the scan."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]

#: CIELAB radius within which pixels count as one ground: noise, grain and the fall of the lamp stay within it.
RADIUS = 9.0


#: A ground that reaches less of the scan's edge than this at its widest is none: 0.2 is asked for in the end.
LEAST_EDGE = 0.12


@dataclass(frozen=True)
class Ground:
    """A found ground.

    ``mask``: (H, W) bool, True on the ground. ``difference``: (H, W) float32, distance from the ground's own smooth
    surface in CIELAB units. ``noise``: its standard deviation on the ground. ``unevenness``: range of the fitted
    surface over the ground in CIELAB units. ``share``: share of the scan's edge that is ground. ``lab``: its colour.
    """

    mask: Mask
    difference: Floats
    noise: float
    unevenness: float
    share: float
    lab: tuple[float, float, float]

    def is_even(self, slack: float = 1.0) -> bool:
        """Whether it reaches far along the edge and is as smooth as a lid or a page; ``slack`` widens the bounds."""
        return self.share >= 0.2 / slack and self.unevenness <= 14 * slack and self.noise <= 3.5 * slack

    @property
    def name(self) -> str:
        """The ground in words."""
        lightness, _, b = self.lab
        if lightness < 40:
            return "black page"
        if b > 3.0 and lightness > 70:
            return "cream page"
        return "white lid" if lightness > 88 else "grey lid"


def lab_of(rgb: npt.NDArray[np.uint8]) -> Floats:
    """CIELAB of sRGB pixels: (H, W, 3) float32; OpenCV's conversion, D65."""
    return np.asarray(cv2.cvtColor(rgb.astype(np.float32) / 255.0, cv2.COLOR_RGB2Lab), np.float32)


def edge_ring(shape: tuple[int, int]) -> Mask:
    """Mask of the outermost 1 % of a picture, at least 3 px wide."""
    width = max(3, round(0.01 * min(shape)))
    ring = np.ones(shape, np.bool_)
    ring[width:-width, width:-width] = False
    return ring


def grounds(lab: Floats) -> list[Ground]:
    """Find what may be a ground, largest share of the edge first: (H, W, 3) CIELAB, long edge about 800 px."""
    ring = edge_ring(lab.shape[:2])
    smooth = cv2.GaussianBlur(lab, (0, 0), 1.0)
    half = cv2.resize(smooth, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    left = smooth[ring]
    found = []
    for _ in range(2):
        if left.shape[0] < 0.15 * ring.sum():
            break
        colour = _mode(left)
        near = _lengths(left - colour) < RADIUS
        if near.sum() >= 0.15 * ring.sum():
            coarse = _grown(half, edge_ring(half.shape[:2]), colour)
            ground = _grown(smooth, ring, colour) if coarse is not None and coarse.is_even(slack=1.2) else None
            if ground is not None and ground.is_even():
                found.append(ground)
        left = left[~near]
    return sorted(found, key=lambda ground: -ground.share)


def _lengths(vectors: Floats) -> Floats:
    """Lengths of the vectors along the last axis."""
    return np.asarray(np.sqrt(np.einsum("...i,...i->...", vectors, vectors)), np.float32)


def _mode(colours: Floats) -> Floats:
    """Return the commonest colour: the fullest cell of a coarse CIELAB grid, moved to the mean of its surroundings."""
    cells = np.round(colours / np.float32(4.0)).astype(np.int64) + 64  # CIELAB / 4 lies within -32 to 32
    numbered = (cells[:, 0] * 128 + cells[:, 1]) * 128 + cells[:, 2]
    _, inverse, counts = np.unique(numbered, return_inverse=True, return_counts=True)
    colour = colours[inverse.ravel() == counts.argmax()].mean(axis=0)
    for _ in range(5):
        near = _lengths(colours - colour) < RADIUS
        colour = colours[near].mean(axis=0)
    return np.asarray(colour, np.float32)


@lru_cache(maxsize=2)
def _terms(shape: tuple[int, int]) -> Floats:
    """Quadratic terms over a picture, (H * W, 6)."""
    y, x = np.mgrid[-1 : 1 : shape[0] * 1j, -1 : 1 : shape[1] * 1j].astype(np.float32)
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1).reshape(-1, 6)


def _grown(lab: Floats, ring: Mask, colour: Floats) -> Ground | None:
    """Fit a smooth surface to the pixels of one colour that hang together with the edge, and what belongs to it."""
    shape = (lab.shape[0], lab.shape[1])
    terms = _terms(shape)
    surface = np.broadcast_to(colour, lab.shape)
    limit = RADIUS
    noise = 1.0
    mask = np.zeros(shape, np.bool_)
    for _ in range(4):
        difference = _lengths(lab - surface)
        mask = _reached(difference < limit, ring)
        if mask.sum() < 0.01 * mask.size or mask[ring].mean() < LEAST_EDGE:
            return None
        chosen = np.flatnonzero(mask.ravel())
        chosen = chosen[:: max(1, chosen.size // 20_000)]
        flat = lab.reshape(-1, 3)
        known = terms[chosen].astype(np.float64)
        # a hair of ridge, for grounds so narrow that they do not tell every term
        coefficients = np.linalg.solve(known.T @ known + 1e-6 * np.eye(6), known.T @ flat[chosen]).astype(np.float32)
        surface = (terms @ coefficients).reshape(lab.shape).astype(np.float32)
        residual = _lengths(flat[chosen] - surface.reshape(-1, 3)[chosen])
        # Length of a 3-vector of normal noise: median 1.54 sigma (chi distribution, 3 degrees of freedom).
        noise = float(np.median(residual)) / 1.54
        # A dark page's fibres vary more than its noise tells; white paper on a white lid leaves no room for that.
        limit = float(np.clip(4.5 * noise, 2.0 if colour[0] < 60 else 1.6, RADIUS))
    level = surface.reshape(-1, 3)[chosen]
    return Ground(
        mask=mask,
        difference=difference.astype(np.float32),
        noise=noise,
        unevenness=float(np.ptp(level, axis=0).max()),
        share=float(mask[ring].mean()),
        lab=(float(level[:, 0].mean()), float(level[:, 1].mean()), float(level[:, 2].mean())),
    )


def _reached(alike: Mask, ring: Mask) -> Mask:
    """Pixels of the ground's colour that are reached from the scan's edge through gaps of at least 3 px."""
    opened = cv2.morphologyEx(alike.astype(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    opened |= (alike & ring).astype(np.uint8)
    _, labels = cv2.connectedComponents(opened, connectivity=4)
    touching = np.unique(labels[ring & (opened > 0)])
    return np.isin(labels, touching[touching > 0])

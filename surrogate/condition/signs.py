"""Physical signs of marks, measured without any fit: stain against the picture's own tone line, and creases.

In a grey picture, on printed paper and on a letter, blue density follows red density along one line, whatever the
picture shows. A stain adds more blue than red and so leaves that line; the picture cannot. In a colour print every
object has a line of its own, and this sign is silent there.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.imaging.density import mean_of_channels

Floats = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]

_DARKEST = 2.6  # density
_ROUNDS = 8
#: Spread of the excess around the tone line below which a picture counts as grey: silver prints and paper read 0.005
#: to 0.03 in the simulator and in black-and-white photographs, colour prints 0.05 and more.
GREY_SPREAD = 0.03
_SMOOTH = 1.2  # px; as wide as the narrowest stain that is looked for
_FIELD_SHARE = 0.3  # of the short side: browning that is wider belongs to the base and is graded there

_SEED_DENSITY = 0.03  # blue over red; the base of two fresh papers differs by as much
_EDGE_SHARE = 0.2  # of a stain's peak; its outline

_RING = 6  # px; browning from the edges is evened out in rings of this width

_RUN = 129  # px; over a quarter of the sheet's length a line of glue wanders by less than its width
_STRETCH = 24  # px; a line of glue is straight over this length, and strokes of writing fill less than half of it

_SEGMENTS = 16
_REACH = 4  # px from the middle of a crease to the undisturbed sheet
_HALF = 3.5  # px; half an outline, ridge and shadow (where the confidence was fitted 2.5 was a third too narrow)
_SLOPES = np.linspace(-0.05, 0.05, 21)
_APART = 9  # px; nearer lines are one
_FULL = 0.15  # density: a stronger line counts no more, so that one black bar cannot pass for a crease


def excess(sheet: Floats) -> tuple[Floats, float]:
    """Stain map (H, W): blue density above what the picture's tone line and base give; and its spread (robust sd).

    ``sheet`` is density (H, W, 3). The spread says whether the map means anything (see ``GREY_SPREAD``).
    """
    red, blue = sheet[..., 0], sheet[..., 2]
    raw = blue - red
    line = _tone_line(red[::4, ::4].ravel(), raw[::4, ::4].ravel())(np.clip(red, 0.0, _DARKEST)).astype(np.float32)
    rest = cv2.GaussianBlur(raw - line, (0, 0), _SMOOTH)
    rest = rest - _wide(rest)
    rest = rest - _from_edges(rest)
    spread = 1.4826 * float(np.median(np.abs(rest - np.median(rest))))
    return np.asarray(rest, np.float32), spread


def _tone_line(red: Floats, raw: Floats) -> np.polynomial.Polynomial:
    """Blue above red as a stiff curve of red density through most pixels; what may be stained, above it, counts less.

    A stain darkens red too and so owns a stretch of tone; the stiff curve keeps it from owning the line as well.
    """
    design = np.vander(np.clip(red, 0.0, _DARKEST) / _DARKEST, 6, increasing=True).astype(np.float64)
    goal = raw.astype(np.float64)
    penalty = np.diag([0.0, 1e-5, 1e-4, 1e-4, 1e-4, 1e-4]) * len(goal)
    weight = np.ones(len(goal))
    factors = np.zeros(6)
    for _ in range(_ROUNDS):
        heavy = design * weight[:, None]
        factors = np.linalg.solve(design.T @ heavy + penalty + 1e-9 * np.eye(6), heavy.T @ goal)
        off = goal - design @ factors
        scale = max(1.4826 * float(np.median(np.abs(off))), 0.003)
        weight = 1.0 / (1.0 + (off / (2.0 * scale)) ** 2)
        weight[off > 0] *= weight[off > 0]
    return np.polynomial.Polynomial(factors / _DARKEST ** np.arange(6))


def stains(rest: Floats, spread: float) -> Mask:
    """Where a stain map of :func:`excess` is stained: well above its noise, out to a quarter of each peak."""
    seed, least = max(_SEED_DENSITY, 6.0 * spread), max(0.6 * _SEED_DENSITY, 3.0 * spread)
    count, labels, _, _ = cv2.connectedComponentsWithStats((rest > least).astype(np.uint8))
    peaks = np.zeros(count, np.float32)
    inside = labels > 0
    np.maximum.at(peaks, labels[inside], rest[inside])
    peaks[0] = np.inf
    kept = (peaks >= seed) & np.isfinite(peaks)
    return np.asarray(kept[labels] & (rest > np.maximum(least, _EDGE_SHARE * peaks[labels])))


def _wide(plane: Floats) -> Floats:
    """The part of a map that is wider than any mark: a median over nearly a third of the sheet, at an eighth size."""
    height, width = plane.shape
    small = cv2.resize(plane, (max(8, width // 8), max(8, height // 8)), interpolation=cv2.INTER_AREA)
    size = int(_FIELD_SHARE * min(small.shape)) | 1
    codes = np.clip((small + 0.5) * 255.0, 0, 255).astype(np.uint8)
    field = cv2.medianBlur(codes, size).astype(np.float32) / 255.0 - 0.5
    return np.asarray(cv2.resize(cv2.GaussianBlur(field, (0, 0), 2), (width, height)), np.float32)


def _from_edges(plane: Floats) -> Floats:
    """The part of a map that depends only on the distance to the nearest edge: air and light reach in from there."""
    rows = np.minimum(np.arange(plane.shape[0]), np.arange(plane.shape[0])[::-1])
    columns = np.minimum(np.arange(plane.shape[1]), np.arange(plane.shape[1])[::-1])
    ring = np.minimum(rows[:, None], columns[None, :]) // _RING
    coarse, sample = ring[::2, ::2], plane[::2, ::2]
    order = np.argsort(coarse, axis=None, kind="stable")
    cuts = np.searchsorted(coarse.ravel()[order], np.arange(1, int(ring.max()) + 1))
    middle = np.array([np.median(part) if part.size else 0.0 for part in np.split(sample.ravel()[order], cuts)])
    profile = np.interp(np.minimum(rows[:, None], columns[None, :]) / _RING - 0.5, np.arange(len(middle)), middle)
    return np.asarray(profile, np.float32)


def without_lines(sheet: Floats, lines: Mask) -> Floats:
    """The sheet (H, W, 3) without what parallel lines, upright or level, add. ``lines`` (H, W): where they were
    seen; two px around that and what lies between two stretches of a line count too.

    What a line adds is what it has above a straight run from one of its sides to the other: the median along a stretch
    of the line, so that the picture, which differs along it, stays.
    """
    upright = (lines[:, 1:] != lines[:, :-1]).sum() > (lines[1:] != lines[:-1]).sum()
    if upright:
        sheet, lines = sheet.transpose(1, 0, 2), lines.T
    height, width = lines.shape
    run_on = cv2.blur(lines.astype(np.float32), (_RUN, 1)) > 0.4  # where something else was seen on a line
    wide = cv2.dilate((lines | run_on).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    places = np.arange(height)
    above = np.zeros(sheet.shape, np.float32)
    for column in np.flatnonzero(~wide.all(axis=0)):
        bare = np.flatnonzero(~wide[:, column])
        for channel in range(3):
            tone = sheet[:, column, channel]
            above[:, column, channel] = tone - np.interp(places, bare, tone[bare])
    parts = np.array_split(above, max(1, width // _STRETCH), axis=1)
    stretches = np.stack([np.median(part, axis=1) for part in parts], axis=1)
    added = cv2.resize(stretches.astype(np.float32), (width, height), interpolation=cv2.INTER_LINEAR)
    cleaned = sheet - added * wide[..., None]
    return np.ascontiguousarray(cleaned.transpose(1, 0, 2) if upright else cleaned, np.float32)


def creases(sheet: Floats) -> list[tuple[float, Mask]]:
    """Thin straight lines from edge to edge: (density step along nearly all of it, above the next line's; where)."""
    tone = mean_of_channels(sheet)
    found = [(score, area) for score, area in _level_lines(tone)]
    found += [(score, np.ascontiguousarray(area.T)) for score, area in _level_lines(np.ascontiguousarray(tone.T))]
    return found


def _level_lines(tone: Floats) -> list[tuple[float, Mask]]:
    """Nearly level lines of one tone plane, the strongest of each polarity.

    A crease is lighter (or darker) than the sheet on both its sides; an edge of the picture only than one. Its place
    is sought over sixteen segments from edge to edge; the third-weakest of them speaks for the line, and both ends must
    show it, which the edges of a bordered picture do not. Only what it is stronger than the next line counts: lines of
    type and ruled lines come in numbers.
    """
    smooth = cv2.GaussianBlur(tone, (0, 0), 0.8)
    above, below = np.roll(smooth, _REACH, axis=0), np.roll(smooth, -_REACH, axis=0)
    lines = []
    for sign in (1.0, -1.0):
        ridge = np.clip(np.minimum(sign * (smooth - above), sign * (smooth - below)), -0.03, _FULL)
        ridge[:_REACH], ridge[-_REACH:] = 0.0, 0.0
        parts = np.array_split(ridge, _SEGMENTS, axis=1)
        profiles = np.stack([part.mean(axis=1) for part in parts])
        wobble = cv2.dilate(profiles, np.ones((1, 3), np.uint8))
        middles = np.array([part.shape[1] for part in parts]).cumsum() - parts[0].shape[1] / 2 - tone.shape[1] / 2
        places, segments = np.arange(tone.shape[0]), np.arange(_SEGMENTS)[:, None]
        best_score, best_row, best_slope = 0.0, 0, 0.0
        for slope in _SLOPES:
            shifts = np.rint(slope * middles).astype(int)
            moved = wobble[segments, (places + shifts[:, None]) % len(places)]
            voice = np.minimum(np.partition(moved, 2, axis=0)[2], 2.0 * np.minimum(moved[0], moved[-1]))
            row = int(np.argmax(voice))
            if voice[row] <= best_score:
                continue
            rest = np.concatenate([voice[: max(0, row - _APART)], voice[row + _APART :], [0.0]])
            best_score, best_row, best_slope = float(voice[row] - max(0.0, rest.max())), row, float(slope)
        if best_score > 0:
            rows = best_row + best_slope * (np.arange(tone.shape[1]) - tone.shape[1] / 2)
            area = np.abs(np.arange(tone.shape[0])[:, None] - rows[None]) <= _HALF
            lines.append((best_score, area))
    return lines

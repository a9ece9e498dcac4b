"""A scan's own edge: whether lid or page runs along it, more of it to see by, and a print's own border."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.intake import quads
from surrogate.intake.quads import Corners
from surrogate.intake.surround import lab_of

Pixels = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float32]

#: Outermost pixels that show what runs along the edge; the lamp's fall and noise stay within this CIELAB distance.
_EDGE_PX, _ALIKE = 3, 9.0
#: Least share of the edge that is alike.
_RUNS_ALONG = 0.75
_MOST_GRAIN = 4.0  # sRGB codes
#: How far a scan is widened, share of its long edge.
_WIDER = 0.18
#: Widest margin of a print's own border, share of the scan's short edge; the foot of instant prints and mounts.
_WIDEST, _FOOT = 0.13, 2.2
#: Turn in degrees beyond which a picture does not lie in its own border: the scanner's trim may be askew by so much.
_TURNED = 1.5
#: Least difference in lightness between the ground right beside a sheet and further out that is the sheet's shadow.
#: Measured on the fit's photographs: own borders up to 0.64, sheets on a bed from 1.25 up. More than the last is no
#: shadow but the picture itself.
_SHADOW, _PLAIN_SHADOW, _NO_SHADOW = 1.0, 4.0, 25.0
#: Sheets laid by hand are hardly ever straighter than this, in degrees (judgement).
_BY_HAND = 0.15
#: Margins narrower than this share of the scan's short edge all round are not worth a cut; left and right as even as
#: the second are a border (both judgements, made with the fit's photographs in sight).
_SLIVER, _EVEN = 0.02, 0.005
#: Margins left and right that differ by more than this share of the wider one, and of the scan's short edge, are a
#: bed's: 16 of 20 narrow sheets were found with it, 14 without; none of 56 full frames was cut (fit's photographs).
_UNEVEN, _UNEVEN_LEAST = 0.25, 0.01
#: Degrees that the corners of a sheet may differ from square.
_SKEWED = 0.7
#: Darker than this is no paper but the open lid, or the holder of a negative.
_NO_PAPER = 10.0


@dataclass(frozen=True)
class Widened:
    """A scan with more of its surround, and where in it the scan's top left corner lies, px."""

    rgb: Pixels
    left: int
    top: int


def widened(rgb: Pixels) -> Widened | None:
    """The scan, (H, W, 3) uint8 sRGB, amid more of what runs along its edge; None where nothing even does."""
    height, width = rgb.shape[:2]
    sides = [
        side.astype(np.float32).mean(axis=0)
        for side in (
            rgb[:_EDGE_PX],
            rgb[-_EDGE_PX:],
            rgb[:, :_EDGE_PX].swapaxes(0, 1),
            rgb[:, -_EDGE_PX:].swapaxes(0, 1),
        )
    ]
    edge = np.concatenate(sides)
    lab = lab_of(np.round(edge[None]).astype(np.uint8))[0]
    alike = np.linalg.norm(lab - np.median(lab, axis=0), axis=1) < _ALIKE
    if alike.mean() < _RUNS_ALONG:
        return None
    colour = np.median(edge[alike], axis=0)
    places = np.cumsum([0, width, width, height, height])
    top, bottom, left, right = (_smoothed(edge[a:b], alike[a:b], colour) for a, b in itertools.pairwise(places))
    pad = round(_WIDER * max(height, width))
    canvas = np.zeros((height + 2 * pad, width + 2 * pad, 3), np.float32)
    canvas[:pad, pad:-pad], canvas[-pad:, pad:-pad] = top, bottom
    canvas[pad:-pad, :pad], canvas[pad:-pad, -pad:] = left[:, None], right[:, None]
    canvas[:pad, :pad], canvas[:pad, -pad:] = (top[0] + left[0]) / 2, (top[-1] + right[0]) / 2
    canvas[-pad:, :pad], canvas[-pad:, -pad:] = (bottom[0] + left[-1]) / 2, (bottom[-1] + right[-1]) / 2
    rows = rgb[:_EDGE_PX].astype(np.float32)
    grain = min(float(np.std(rows - cv2.blur(rows, (9, 1)))), _MOST_GRAIN)
    canvas += np.random.default_rng(0).normal(0, grain, (*canvas.shape[:2], 1)).astype(np.float32)
    wide = np.clip(canvas, 0, 255).astype(np.uint8)
    wide[pad : pad + height, pad : pad + width] = rgb
    return Widened(wide, pad, pad)


def _smoothed(side: Floats, alike: npt.NDArray[np.bool_], colour: Floats) -> Floats:
    """The slow change of the ground along one side, (N, 3); what is not ground takes the ground's colour."""
    ground = np.where(alike[:, None], side, colour).astype(np.float32)
    return np.asarray(cv2.GaussianBlur(ground[None], (0, 0), 0.03 * len(side), borderType=cv2.BORDER_REPLICATE)[0])


def is_narrow(corners: Corners, size: tuple[int, int]) -> bool:
    """Whether one picture on a scan of a size (width, height) is surrounded no wider than by a border or a mount."""
    *sides, foot = _margins(corners, size)
    widest = _WIDEST * min(size)
    return max(sides) <= widest and foot <= _FOOT * widest


def is_lid(rgb: Pixels, corners: Corners) -> bool:
    """Whether something shows that a sheet lies on what surrounds it, which is not its own border: it is askew, lies
    nearer to one side, throws a shadow, or its surround is too dark for paper.
    """
    if _is_own_border(corners, rgb.shape[1::-1]):
        return False
    if quads.skew_degrees(corners) > _SKEWED:  # no sheet: lines of text that end raggedly, a figure, a poor fit
        return False
    light, shadow = _beside(rgb, corners)
    turn = abs(quads.angle_degrees(corners))
    if light < _NO_PAPER or turn > _TURNED or _lies_uneven(corners, rgb.shape[1::-1]):
        return True
    least = _SHADOW if turn > _BY_HAND else _PLAIN_SHADOW  # a picture's own edge, a little soft, looks like a faint one
    return least < shadow < _NO_SHADOW


def _is_own_border(corners: Corners, size: tuple[int, int]) -> bool:
    """Whether margins are a trimmer's sliver, or as even left and right as only printers make them."""
    left, right, top, foot = _margins(corners, size)
    if max(left, right, top, foot) <= _SLIVER * min(size):
        return True
    return abs(quads.angle_degrees(corners)) <= _BY_HAND and abs(left - right) <= _EVEN * min(size)


def _lies_uneven(corners: Corners, size: tuple[int, int]) -> bool:
    """Whether the margins left and right differ as a printer's do not."""
    left, right, _, _ = _margins(corners, size)
    return abs(left - right) > max(_UNEVEN * max(left, right), _UNEVEN_LEAST * min(size))


def _margins(corners: Corners, size: tuple[int, int]) -> tuple[float, float, float, float]:
    """Mean widths left, right, above and below, px, of a scan of a size (width, height)."""
    array = np.asarray(corners)
    left, right = float(array[[0, 3], 0].mean()), float(size[0] - array[[1, 2], 0].mean())
    return left, right, float(array[[0, 1], 1].mean()), float(size[1] - array[[2, 3], 1].mean())


def _beside(rgb: Pixels, corners: Corners) -> tuple[float, float]:
    """Lightness of the ground beside a sheet, and by how much it is darker right at the sheet, on the darkest side."""
    array = np.asarray(corners, np.float64)
    lights, darker = [], []
    for place in range(4):
        start, end = array[place], array[(place + 1) % 4]
        along = (end - start) / max(float(np.hypot(*(end - start))), 1e-9)
        outward = np.array([along[1], -along[0]])
        places = np.linspace(0.08, 0.92, 200)[:, None, None] * (end - start) + start
        offsets = np.array([1.5, 2.0, 2.5, 3.0, 7.0, 8.0, 9.0, 10.0])[None, :, None]
        points = (places + offsets * outward - 0.5).astype(np.float32)
        seen = cv2.remap(rgb, points[..., 0], points[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        light = lab_of(seen)[..., 0]
        lights.append(float(np.median(light[:, 4:])))
        darker.append(lights[-1] - float(np.median(light[:, :4])))
    return float(np.median(lights)), max(darker)

"""All arithmetic of a framed print: window, print, overlap, borders, pixels, and what must be said about them.

Nothing here opens a file. Lengths are mm unless the name says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from surrogate.copies.sizes import Size, both, both_sides, in_mm
from surrogate.errors import WrongUse
from surrogate.imaging.read import MM_PER_INCH

Edges = Literal["hidden", "shown"]
Shape = Literal["rectangle", "oval", "round"]


@dataclass(frozen=True)
class Look:
    """How the print sits in its mat.

    ``edges`` hides the edges of the original under the mat or shows them inside the window. ``bottom_weight`` is how
    much more the lower border has than the upper, as a share (0.1 = 10 %; 5 to 15 % is usual, standards table 5.2).
    ``shape`` is that of the window; the measures of an oval are those of the rectangle around it, and a round window is
    as wide as it is high.
    """

    edges: Edges = "hidden"
    bottom_weight: float = 0.0
    shape: Shape = "rectangle"


#: The picture's edges under the mat, borders alike above and below.
PLAIN = Look()

#: How far the mat's window lies over the print, each side: 1/8 to 1/4 in (3 to 6 mm), shop openings use 1/4
#: (standards table 5.2, read in newsbasis.com, "standard mat opening sizes").
OVERLAP_MM = {"in": 0.25 * MM_PER_INCH, "mm": 6.0}
LEAST_OVERLAP_MM = 3.0

#: With the edges shown, the paper of the original floats this far inside the window (common practice, no source).
FLOAT_GAP_MM = 3.0

#: Below this a print no longer looks sharp from half a metre (standards table 5.3: 180 at 0.5 m).
LEAST_PPI = 180.0

#: Pixels per inch that one arc-minute asks for, times the distance in inches: 1 / (2 tan 0.5').
ARC_MINUTE = 3437.75

#: What rounding to whole pixels and hand measuring hide (mm).
SLACK_MM = 0.05


@dataclass(frozen=True)
class Border:
    """What shows of the mat on each side."""

    left: float
    right: float
    top: float
    bottom: float


@dataclass(frozen=True)
class FramePlan:
    """Where everything lies. ``picture_mm`` is the whole picture at print scale, which may be larger than the print
    (filled) or smaller (blank paper shows); ``picture_box_px`` (left, top, width, height) is the same in pixels.
    """

    frame_mm: tuple[float, float]
    opening_mm: tuple[float, float]
    print_mm: tuple[float, float]
    picture_mm: tuple[float, float]
    overlap_mm: float
    border_mm: Border
    shape: Shape
    print_px: tuple[int, int]
    picture_box_px: tuple[int, int, int, int]
    print_ppi: float
    master_ppi: float | None
    enlargement: float | None
    lost_mm: tuple[float, float]
    blank_mm: tuple[float, float]
    largest_good_mm: tuple[float, float]
    warnings: tuple[str, ...]


def plan_frame(
    picture_px: tuple[int, int],
    picture_mm: tuple[float, float] | None,
    *,
    frame: Size,
    opening: Size | None = None,
    fill: bool = False,
    ppi: float = 300.0,
    look: Look = PLAIN,
) -> FramePlan:
    """Plan one print.

    ``picture_px`` is the picture (not the scan's whole frame) in master pixels, ``picture_mm`` its true size when the
    master says. Raises :class:`WrongUse` when frame and opening do not go together.
    """
    if not 0 <= look.bottom_weight <= 1:
        raise WrongUse(
            f"The lower border can have 0 to 100 % more than the upper, not {100 * look.bottom_weight:.0f} %."
        )
    if not 72 <= ppi <= 1200:
        raise WrongUse(f"A print needs between 72 and 1200 pixels per inch, not {ppi:g}. 300 is right for most.")
    if look.edges == "shown" and (fill or look.shape != "rectangle"):
        other = "--fill" if fill else f"A window that is {look.shape}"
        raise WrongUse(
            f"{other} hides edges of the picture, so it does not go with --edges shown. Leave one of them out."
        )
    frame = frame.turned_like(*picture_px)
    outer = (frame.width_mm, frame.height_mm)
    unit = opening.unit if opening else frame.unit
    window, overlap = _window(picture_px, outer, opening, OVERLAP_MM[unit], look, fill=fill)
    paper = (window[0] + 2 * overlap, window[1] + 2 * overlap)
    picture = _picture(picture_px, paper, window, edges=look.edges, fill=fill)
    border = _border(outer, window, look.bottom_weight)
    available = picture_px[0] / (picture[0] / MM_PER_INCH)
    print_ppi = min(float(ppi), available)
    print_px = _pixels(paper, print_ppi)
    size_px = tuple(min(have, want) for have, want in zip(picture_px, _pixels(picture, print_ppi), strict=True))
    if _close(picture, paper):
        print_px = (size_px[0], size_px[1])
    box = ((print_px[0] - size_px[0]) // 2, (print_px[1] - size_px[1]) // 2, size_px[0], size_px[1])
    lost = tuple(max(0.0, have - want) for have, want in zip(picture, paper, strict=True))
    blank = tuple(max(0.0, want - have) for have, want in zip(picture, window, strict=True))
    enlargement = picture[0] / picture_mm[0] if picture_mm else None
    plan = FramePlan(
        frame_mm=outer,
        opening_mm=window,
        print_mm=paper,
        picture_mm=picture,
        overlap_mm=overlap,
        border_mm=border,
        shape=look.shape,
        print_px=print_px,
        picture_box_px=box,
        print_ppi=print_ppi,
        master_ppi=picture_px[0] / (picture_mm[0] / MM_PER_INCH) if picture_mm else None,
        enlargement=enlargement,
        lost_mm=(lost[0], lost[1]),
        blank_mm=(blank[0], blank[1]) if look.edges == "hidden" else (0.0, 0.0),
        largest_good_mm=(picture_px[0] / LEAST_PPI * MM_PER_INCH, picture_px[1] / LEAST_PPI * MM_PER_INCH),
        warnings=(),
    )
    return replace(plan, warnings=tuple(_warnings(plan)))


def _window(
    picture_px: tuple[int, int],
    outer: tuple[float, float],
    opening: Size | None,
    overlap: float,
    look: Look,
    *,
    fill: bool,
) -> tuple[tuple[float, float], float]:
    """The window and the overlap that the frame leaves room for."""
    if look.shape == "round" and opening is not None and opening.width_mm != opening.height_mm:
        raise WrongUse("A round window is as wide as it is high: give its diameter twice, such as --opening 6x6in.")
    if opening is None:
        border = default_border(outer)
        room = (outer[0] - 2 * border, outer[1] - 2 * border)
        if look.shape == "round":
            room = (min(room), min(room))
        if fill or look.shape == "round":
            return room, overlap
        inset = overlap if look.edges == "hidden" else -FLOAT_GAP_MM
        scale = min((room[0] + 2 * inset) / picture_px[0], (room[1] + 2 * inset) / picture_px[1])
        window = (picture_px[0] * scale - 2 * inset, picture_px[1] * scale - 2 * inset)
        if min(window) < 4 * overlap:
            raise WrongUse(
                f"A picture of this shape leaves a window of only {both_sides(*window)} in this frame. Choose a longer "
                "frame, or give --opening with --fill."
            )
        return window, overlap
    turned = opening.turned_like(*picture_px)
    window = (turned.width_mm, turned.height_mm)
    room_each_side = min((outer[0] - window[0]) / 2, (outer[1] - window[1]) / 2)
    if room_each_side < LEAST_OVERLAP_MM:
        raise WrongUse(
            f"The opening {both_sides(*window)} leaves less than {in_mm(LEAST_OVERLAP_MM)} of the frame "
            f"{both_sides(*outer)} on a side: the print would fall through. Choose a smaller opening or a larger frame."
        )
    return window, min(overlap, room_each_side)


def default_border(outer: tuple[float, float]) -> float:
    """Mat border (mm) where no opening was asked for.

    Follows the borders of the shop table (standards 5.2: 8x10 in has 1.75, 11x14 1.75, 16x20 2.75, 20x24 2.25, 24x36
    2.25 in at the sides): a fifth of a small frame, 45 mm in the middle, a tenth of a large one.
    """
    short = min(outer)
    return min(0.2 * short, max(45.0, 0.1 * short))


def _picture(
    picture_px: tuple[int, int],
    paper: tuple[float, float],
    window: tuple[float, float],
    *,
    edges: Edges,
    fill: bool,
) -> tuple[float, float]:
    """Size of the whole picture on the print."""
    if edges == "shown":
        room = (window[0] - 2 * FLOAT_GAP_MM, window[1] - 2 * FLOAT_GAP_MM)
        scale = min(room[0] / picture_px[0], room[1] / picture_px[1])
    else:
        ratios = (paper[0] / picture_px[0], paper[1] / picture_px[1])
        scale = max(ratios) if fill else min(ratios)
    return picture_px[0] * scale, picture_px[1] * scale


def _border(outer: tuple[float, float], window: tuple[float, float], bottom_weight: float) -> Border:
    side = (outer[0] - window[0]) / 2
    upright = outer[1] - window[1]
    top = upright / (2 + bottom_weight)
    return Border(side, side, top, upright - top)


def _pixels(mm: tuple[float, float], ppi: float) -> tuple[int, int]:
    return max(1, round(mm[0] / MM_PER_INCH * ppi)), max(1, round(mm[1] / MM_PER_INCH * ppi))


def _close(one: tuple[float, float], other: tuple[float, float]) -> bool:
    return all(abs(a - b) < SLACK_MM for a, b in zip(one, other, strict=True))


def viewing_distance_mm(ppi: float) -> float:
    """From how far single pixels can no longer be told apart: one arc-minute (standards 5.3, exact)."""
    return ARC_MINUTE / ppi * MM_PER_INCH


def _warnings(plan: FramePlan) -> list[str]:
    """Sentences for people; empty when there is nothing to say."""
    said: list[str] = []
    if plan.print_ppi < LEAST_PPI - 0.5:
        good = both_sides(*plan.largest_good_mm)
        said.append(
            f"The scan gives only {plan.print_ppi:.0f} pixels per inch at this size; below "
            f"{LEAST_PPI:.0f} a print looks soft from half a metre. The largest good size of the picture is {good}"
            + (f"; or scan the original again at {_scan_ppi(plan)} ppi." if plan.enlargement else ".")
        )
    if max(plan.lost_mm) > SLACK_MM:
        said.append(
            f"Filling the window cuts {_across(plan.lost_mm)} off the picture at print size, half on each side."
        )
    if max(plan.blank_mm) > SLACK_MM:
        said.append(
            f"The picture is narrower than the opening: {_across(plan.blank_mm)} of blank paper will show, "
            f"shared by both sides. --fill would cut {_across(_lost_by_filling(plan))} off the picture instead."
        )
        if plan.shape != "round":
            said.append(f"An opening of {both_sides(*_own_opening(plan))} would follow the picture.")
    if plan.shape != "rectangle":
        said.append(f"A window that is {plan.shape} hides the corners of the picture. They stay on the print.")
    return said


def _scan_ppi(plan: FramePlan) -> int:
    """Scanner setting for 300 pixels per inch on this print, in the steps that scanners offer."""
    needed = 300 * (plan.enlargement or 1.0)
    return next((step for step in (300, 400, 600, 800, 1200, 1600, 2400, 3200, 4800) if step >= needed - 1), 4800)


def _lost_by_filling(plan: FramePlan) -> tuple[float, float]:
    """What would be cut off in width and height if the picture filled the print."""
    scale = max(want / have for want, have in zip(plan.print_mm, plan.picture_mm, strict=True))
    across, down = (have * scale - want for have, want in zip(plan.picture_mm, plan.print_mm, strict=True))
    return across, down


def _own_opening(plan: FramePlan) -> tuple[float, float]:
    """The opening that this picture would have at this size."""
    return plan.picture_mm[0] - 2 * plan.overlap_mm, plan.picture_mm[1] - 2 * plan.overlap_mm


def _across(mm: tuple[float, float]) -> str:
    """``12 mm (1/2 in) in width``; both directions when both are touched."""
    words = [f"{both(side)} in {name}" for side, name in zip(mm, ("width", "height"), strict=True) if side > SLACK_MM]
    return " and ".join(words)

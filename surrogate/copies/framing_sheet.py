"""The framing sheet: what to cut, what to ask for in the shop and why, and the slip for the back of the frame."""

from __future__ import annotations

from dataclasses import dataclass

from surrogate.copies.frame_plan import FLOAT_GAP_MM, FramePlan, viewing_distance_mm
from surrogate.copies.sizes import Size, both_sides, in_inches, in_mm
from surrogate.sheets.page import HAIR, PENCIL, Document, Page

#: Paper that a sheet of words can be read on; anything smaller or larger gets A4.
_READABLE_MM = (200.0, 300.0)

_LEFT = 16.0
_RIGHT = 16.0

#: What the two columns of advice, and the line above the ruler, take at most.
_ADVICE_MM = 76.0

_CHECK_MM = 100.0
_CHECK_IN = 4

#: Glass, mat and backing go in with a little play: 1/8 in together (standards 5.2, recommended-picture-frames.com).
_PLAY_MM = 3.0


@dataclass(frozen=True)
class Slip:
    """What the slip for the back of the frame says; ``number`` is the reference, with the part of a page."""

    reference: str
    number: str
    title: str
    caption: str
    date: str
    credit: str


def draw_framing_sheet(document: Document, plan: FramePlan, slip: Slip, paper: Size, notes: list[str]) -> None:
    """Page 2: one sheet with everything that is needed to frame the print. ``notes`` are said above the rest."""
    sheet = paper if _READABLE_MM[0] <= paper.width_mm <= _READABLE_MM[1] else Size(210.0, 297.0, "mm")
    page = document.page(sheet.width_mm, sheet.height_mm)
    width = page.width - _LEFT - _RIGHT
    page.text(_LEFT, 20, "Framing sheet", size=9, grey=PENCIL)
    page.text(page.width - _RIGHT, 20, slip.number, size=9, grey=PENCIL, align="right")
    page.box((_LEFT, 22.5, width, 9), slip.title or slip.number, (17, 15, 13, 11), weight="bold")
    y = 35.0
    for note in notes:
        y = page.paragraph(_LEFT, y, width, note, size=8.5) + 1.2
    y += 3
    ruler = page.height - 64
    room = ruler - _ADVICE_MM - y
    bottom_of_drawing = _drawing(page, plan, (_LEFT, y, 88.0, min(92.0, room)))
    bottom_of_list = _measures(page, plan, _LEFT + 100, y, room)
    _advice(page, plan, max(bottom_of_drawing, bottom_of_list) + 7, width)
    _ruler(page, ruler)
    _slip(page, slip, page.height - 51, width)


def _drawing(page: Page, plan: FramePlan, area: tuple[float, float, float, float]) -> float:
    """Frame, window and print to scale, with their measures. Returns the y below."""
    x, y, width, height = area
    outer_w, outer_h = plan.frame_mm
    room_w, room_h = width - 12, height - 14
    scale = min(room_w / outer_w, room_h / outer_h)
    left, top = x + 12 + (room_w - outer_w * scale) / 2, y + 4
    page.rectangle(left, top, outer_w * scale, outer_h * scale, fill=0.955, points=0.9)
    window = (
        left + plan.border_mm.left * scale,
        top + plan.border_mm.top * scale,
        plan.opening_mm[0] * scale,
        plan.opening_mm[1] * scale,
    )
    centre = (window[0] + window[2] / 2, window[1] + window[3] / 2)
    print_w, print_h = plan.print_mm[0] * scale, plan.print_mm[1] * scale
    if plan.shape == "rectangle":
        page.rectangle(*window, fill=0.84)
    else:
        page.oval(*window, fill=0.84)
    page.rectangle(
        centre[0] - print_w / 2, centre[1] - print_h / 2, print_w, print_h, grey=PENCIL, points=0.5, dash=(1.0, 0.8)
    )
    _dimension_across(page, left, left + outer_w * scale, top + outer_h * scale + 4, _pair(outer_w))
    _dimension_down(page, left - 4, top, top + outer_h * scale, _pair(outer_h))
    page.text(centre[0], centre[1] - 1.5, "window", size=7.5, align="centre")
    page.text(
        centre[0], centre[1] + 1.8, in_mm(plan.opening_mm[0]).removesuffix(" mm") + " ×", size=7.5, align="centre"
    )
    page.text(centre[0], centre[1] + 5.1, in_mm(plan.opening_mm[1]), size=7.5, align="centre")
    page.text(centre[0], top + plan.border_mm.top * scale / 2 + 1, in_mm(plan.border_mm.top), size=6.5, align="centre")
    foot = window[1] + window[3] + plan.border_mm.bottom * scale / 2 + 1
    page.text(centre[0], foot, in_mm(plan.border_mm.bottom), size=6.5, align="centre")
    page.turned_text(left + plan.border_mm.left * scale / 2, centre[1], in_mm(plan.border_mm.left), size=6.5)
    beside = window[0] + window[2] + plan.border_mm.right * scale / 2
    page.turned_text(beside, centre[1], in_mm(plan.border_mm.right), size=6.5)
    return top + outer_h * scale + 9


def _pair(mm: float) -> str:
    return f"{in_mm(mm)} · {in_inches(mm)}"


def _dimension_across(page: Page, x1: float, x2: float, y: float, words: str) -> None:
    page.line(x1, y, x2, y, grey=HAIR, points=0.4)
    for x in (x1, x2):
        page.line(x, y - 1, x, y + 1, grey=HAIR, points=0.4)
    page.text((x1 + x2) / 2, y + 3.6, words, size=7, align="centre")


def _dimension_down(page: Page, x: float, y1: float, y2: float, words: str) -> None:
    page.line(x, y1, x, y2, grey=HAIR, points=0.4)
    for y in (y1, y2):
        page.line(x - 1, y, x + 1, y, grey=HAIR, points=0.4)
    page.turned_text(x - 2.6, (y1 + y2) / 2, words, size=7)


def _measures(page: Page, plan: FramePlan, x: float, y: float, room: float) -> float:
    """The list of measures and cuts. Returns the y below."""
    cut = (plan.frame_mm[0] - _PLAY_MM, plan.frame_mm[1] - _PLAY_MM)
    rows = [
        ("Frame (glass size)", both_sides(*plan.frame_mm)),
        ("Mat board: cut to", both_sides(*cut)),
        ("Window in the mat" + ("" if plan.shape == "rectangle" else f" ({plan.shape})"), both_sides(*plan.opening_mm)),
        ("Backing board: cut to", both_sides(*cut)),
        ("Print", both_sides(*plan.print_mm)),
        ("Mat over print, each side", _pair(plan.overlap_mm)),
        ("Print resolution", f"{plan.print_ppi:.0f} pixels per inch"),
        ("Looks sharp from", _distance(plan)),
    ]
    if plan.enlargement:
        rows.append(("Against the original", _enlarged(plan.enlargement)))
    step = min(10.3, room / len(rows))
    for name, value in rows:
        page.text(x, y + 2.8, name, size=7.5, grey=PENCIL)
        page.text(x, y + 6.6, value, size=8.5)
        y += step
    return y


def _distance(plan: FramePlan) -> str:
    mm = viewing_distance_mm(plan.print_ppi)
    return f"{round(mm / 10)} cm ({round(mm / 25.4)} in): one arc-minute"


def _enlarged(times: float) -> str:
    if abs(times - 1) < 0.02:
        return "the same size"
    return f"{times:.2f} times as large" if times > 1 else f"{100 * times:.0f} % of its size"


def _advice(page: Page, plan: FramePlan, y: float, width: float) -> None:
    """Two columns: what to ask for in the shop and why; where to hang it."""
    column = (width - 8) / 2
    shop = [
        "A mat (passe-partout) of cotton or lignin-free board, 1.4 mm (4-ply) or more, to keep the print off glass.",
        "At least 3 mm between print and glass. A print that touches glass sticks to it in damp.",
        "Glass or acrylic that filters ultraviolet. Ordinary glass lets most of the harmful part through.",
        "The print held by paper corners, or at its top by hinges of Japanese paper and starch paste. No tape or glue.",
        f"The outer sizes are {in_mm(_PLAY_MM)} less than the frame, so that board and glass drop in.",
    ]
    wall = [
        "This is a copy. Hang it in place of the original, which rests in the dark, cool and dry, in its enclosure.",
        "Light fades copies too: no sun on the wall, 50 to 150 lux where people look, lamps off when nobody does.",
        "Not over a radiator or stove, not on a damp outer wall, not in bath or kitchen.",
        "Cut out the slip below and put it on the back of the frame, not on the print: its number finds the original.",
    ]
    if plan.shape != "rectangle":
        shop.insert(0, f"A window that is {plan.shape}: the measures above are those of the rectangle around it.")
    if max(plan.blank_mm) == 0 and plan.picture_mm[0] < plan.opening_mm[0]:
        shop.insert(0, f"The edges of the original show: its paper floats {in_mm(FLOAT_GAP_MM)} inside the window.")
    for x, heading, items in ((_LEFT, "Ask for in the shop", shop), (_LEFT + column + 8, "On the wall", wall)):
        page.text(x, y + 3, heading, size=9, weight="bold")
        below = y + 6
        for item in items:
            below = page.paragraph(x, below, column, item, size=7.8, spacing=1.32) + 1.1


def _ruler(page: Page, y: float) -> None:
    """A ruler to check that the paper came out at its true size."""
    words = "Lay a ruler here. If it does not agree, print again at 100 % (actual size, no fitting)."
    page.text(_LEFT, y - 9, words, size=7.8)
    page.line(_LEFT, y, _LEFT + _CHECK_IN * 25.4, y, points=0.4)
    for mm in range(int(_CHECK_MM) + 1):
        length = 3.6 if mm % 10 == 0 else 2.6 if mm % 5 == 0 else 1.6
        page.line(_LEFT + mm, y, _LEFT + mm, y - length, points=0.3)
    for eighth in range(8 * _CHECK_IN + 1):
        length = 3.6 if eighth % 8 == 0 else 2.6 if eighth % 4 == 0 else 1.6
        page.line(_LEFT + eighth * 25.4 / 8, y, _LEFT + eighth * 25.4 / 8, y + length, points=0.3)
    for tens in range(0, int(_CHECK_MM) + 1, 10):
        page.text(_LEFT + tens, y - 4.4, str(tens), size=5.5, align="centre")
    for inch in range(_CHECK_IN + 1):
        page.text(_LEFT + inch * 25.4, y + 6, str(inch), size=5.5, align="centre")
    page.text(_LEFT + _CHECK_IN * 25.4 + 4, y - 1, "100 mm", size=7.5)
    page.text(_LEFT + _CHECK_IN * 25.4 + 4, y + 3.2, "4 in", size=7.5)


def _slip(page: Page, slip: Slip, y: float, width: float) -> None:
    """The slip for the back of the frame, to cut out."""
    height = 38.0
    page.rectangle(_LEFT, y, width, height, grey=PENCIL, points=0.4, dash=(1.2, 1.0))
    page.code(_LEFT + width - 31, y + 3.5, 28, slip.reference)
    x, room = _LEFT + 5, width - 42
    page.text(x, y + 9.5, slip.number, size=15, weight="bold")
    below = page.box((x, y + 12, room, 6), slip.title, (11, 10, 9, 8))
    below = page.box((x, below + 0.6, room, 11), slip.caption, (8.5, 7.5, 7))
    words = " · ".join(filter(None, (slip.date, slip.credit)))
    page.box((x, y + height - 7.5, room, 5), words, (7.5, 7), grey=PENCIL)

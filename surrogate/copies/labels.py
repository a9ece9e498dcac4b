"""``surrogate labels``: a number, a few words and a code for every enclosure."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from surrogate.collection import files
from surrogate.copies.collection_reading import Shown, read_manifest, shown
from surrogate.copies.label_sheets import LabelSheet, label_sheet
from surrogate.copies.sizes import in_mm, parse_size
from surrogate.description.readable import for_people
from surrogate.errors import WrongUse
from surrogate.records import Location
from surrogate.sheets.page import HAIR, PENCIL, Document, Page
from surrogate.sheets.text import POINT_PER_MM, shape, wrap

LABELS = "labels.pdf"
ALIGNMENT = "labels_alignment.pdf"

#: Printers drift by a millimetre or two from sheet to sheet: nothing is printed closer to a label's edge.
PADDING_MM = 2.5

#: Home printers leave 3 to 5 mm blank at the paper's edge (common practice, no source).
EDGE_MM = 5.0

#: A code of 14 mm has modules of 0.4 mm, which telephones and 300 ppi scans read (tests/benchmarks/quality_prints.py).
LEAST_CODE_MM = 14.0
MOST_CODE_MM = 26.0

#: From this height on there is room for the caption as well: a label for a large envelope.
TALL_MM = 45.0

NUMBER_SIZES = (18, 16, 14, 13, 12, 11, 10, 9, 8, 7, 6, 5)
#: A long number is set in several lines rather than smaller than this.
ONE_LINE_SIZE = 7
LEADING = 1.12
TITLE_SIZES = (10, 9, 8, 7, 6)
SMALL_SIZES = (8, 7, 6)


def labels(
    collection: Path, references: Sequence[str], *, sheet: str = "3x8", paper: str = "a4", skip: int = 0
) -> Path:
    """Write ``labels.pdf``, one label for each of the given originals (all, when none is named), and beside it
    ``labels_alignment.pdf`` to try on plain paper first. Returns the path of the labels.

    ``skip`` leaves so many labels of the first sheet free, because they are used already. Raises :class:`WrongUse`,
    :class:`CollectionUnusable` or :class:`DiskFull` with a sentence for people.
    """
    layout = label_sheet(sheet, parse_size(paper, "paper"))
    if not 0 <= skip < layout.columns * layout.rows:
        raise WrongUse(f"A sheet has {layout.columns * layout.rows} labels: {skip} of them cannot be used already.")
    manifest = read_manifest(collection)
    labelled = shown(manifest, references)
    if not labelled:
        raise WrongUse(f"{collection} holds no originals yet: there is nothing to label.")
    files.replace_if_changed(collection / ALIGNMENT, alignment_pdf(layout))
    files.replace_if_changed(collection / LABELS, labels_pdf(labelled, layout, skip=skip))
    return collection / LABELS


def labels_pdf(labelled: Sequence[Shown], layout: LabelSheet, *, skip: int = 0) -> bytes:
    """The sheets of labels as a PDF."""
    document = Document("Labels")
    places = list(layout.places())
    free = max(PADDING_MM, EDGE_MM - layout.left, EDGE_MM - layout.top)
    page: Page | None = None
    for number, one in enumerate(labelled, start=skip):
        place = number % len(places)
        if page is None or place == 0:
            page = document.page(*layout.paper)
        x, y = places[place]
        draw_label(page, (x + free, y + free, layout.width - 2 * free, layout.height - 2 * free), one)
    return document.finish()


def draw_label(page: Page, area: tuple[float, float, float, float], one: Shown) -> None:
    """One label inside ``area`` (x, y, width, height in mm); nothing leaves it."""
    original = one.original
    x, y, width, height = area
    code = min(height, max(LEAST_CODE_MM, min(MOST_CODE_MM, 0.36 * width)))
    page.code(x + width - code, y + (height - code) / 2, code, original.reference)
    room = width - code - 1
    used, size = _number(page, (x, y, room, 0.4 * height), one.number)
    small = " · ".join(filter(None, (for_people(original.date), place_words(original.location))))
    small_height = page.measure((room, 0.32 * height), small, SMALL_SIZES, spacing=1.2)
    page.box((x, y + height - small_height, room, small_height), small, SMALL_SIZES, grey=PENCIL, spacing=1.2)
    middle = height - used - small_height - 1.4
    with_caption = height >= TALL_MM and bool(original.caption)
    sizes = [each for each in TITLE_SIZES if each <= size] or TITLE_SIZES[-1:]
    title = (x, y + used + 0.7, room, 0.45 * middle if with_caption else middle)
    below = page.box(title, original.title, sizes, spacing=1.22)
    if with_caption:
        page.box((x, below + 0.8, room, y + height - small_height - below - 1.5), original.caption, SMALL_SIZES)


def _number(page: Page, area: tuple[float, float, float, float], reference: str) -> tuple[float, float]:
    """The reference number, as large as it goes, in two lines if need be, never cut. Returns (height, type size)."""
    x, y, width, height = area
    size, lines = number_lines(reference, width * POINT_PER_MM, height * POINT_PER_MM)
    leading = size * LEADING / POINT_PER_MM
    for number, line in enumerate(lines):
        page.text(x, y + number * leading + size * 0.75 / POINT_PER_MM, line, size=size, weight="bold")
    return len(lines) * leading, size


def number_lines(reference: str, width: float, height: float) -> tuple[float, list[str]]:
    """(type size, lines) of a reference number in a box of points: one line while that is readable, else several."""
    one_line = [size for size in NUMBER_SIZES if size >= ONE_LINE_SIZE]
    for size in one_line:
        if size * LEADING <= height and shape(reference, size, "bold").width <= width:
            return size, [reference]
    for size in NUMBER_SIZES:
        lines = _broken(reference, size, width)
        if len(lines) * size * LEADING <= height:
            return size, lines
    return size, lines


def _broken(reference: str, size: float, width: float) -> list[str]:
    """A reference number in lines that fit, broken after its separators where there are any."""
    lines = [""]
    for part in re.findall(r"[^./_ -]*[./_ -]?", reference):
        if lines[-1] and shape((lines[-1] + part).strip(), size, "bold").width > width:
            lines.append("")
        lines[-1] += part
    return [piece for line in lines for piece in wrap(line, size, width, "bold")]


def place_words(location: Location) -> str:
    """``box 3, folder 2, polyester sleeve``."""
    named = (("box", location.box), ("folder", location.folder))
    words = [value if name in value.casefold() else f"{name} {value}" for name, value in named if value]
    return ", ".join([*words, *([location.enclosure] if location.enclosure else [])])


def alignment_pdf(layout: LabelSheet) -> bytes:
    """A page to print on plain paper and hold behind a sheet of labels against the light."""
    document = Document("Labels: alignment")
    page = document.page(*layout.paper)
    for x, y in layout.places():
        page.rectangle(x, y, layout.width, layout.height, grey=HAIR, points=0.4)
        for across, down in (
            (x, y),
            (x + layout.width, y),
            (x, y + layout.height),
            (x + layout.width, y + layout.height),
        ):
            page.line(across - 1.5, down, across + 1.5, down, points=0.4)
            page.line(across, down - 1.5, across, down + 1.5, points=0.4)
    width, height = min(150.0, layout.paper[0] - 40), 72.0
    x, y = (layout.paper[0] - width) / 2, (layout.paper[1] - height) / 2
    page.rectangle(x, y, width, height, grey=None, fill=1.0)
    page.text(x + 6, y + 10, "Print this page on plain paper first", size=13, weight="bold")
    below = y + 14.0
    for words in (_ALIGNMENT_WORDS, f"Each label: {in_mm(layout.width)} × {in_mm(layout.height)}."):
        below = page.paragraph(x + 6, below, width - 12, words, size=9) + 1.4
    page.text(x + 6, below + 6, "On paper, not on pictures", size=11, weight="bold")
    below += 9
    for words in _PENCIL_WORDS.splitlines():
        below = page.paragraph(x + 6, below, width - 12, words, size=9) + 1.4
    return document.finish()


_ALIGNMENT_WORDS = (
    "At 100 % (actual size, no fitting to the page). Hold it behind a sheet of labels against the light: the crosses "
    "must meet the corners of the labels. If all are off by the same amount, move the sheet in the tray or set that "
    "offset in the printer's own window."
)
_PENCIL_WORDS = (
    "Stick labels on envelopes, folders and boxes, never on a photograph, front or back: glue goes through.\n"
    "On the back of a print write the number with a soft pencil (2B or softer), lightly, near the edge, on a hard "
    "surface. Never ballpoint or felt pen. On plastic-coated paper that takes no pencil, number the envelope only."
)

"""Text for paper in any of the scripts that people caption photographs in.

Direction by the Unicode bidirectional algorithm (UAX 9, python-bidi), glyphs by HarfBuzz, fonts by script
from ``fonts/``, embedded as subsets. Sizes and lengths are PDF points (1/72 in).
"""

from __future__ import annotations

import unicodedata
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

import uharfbuzz
from bidi import algorithm as bidi
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import ShapeData, ShapedStr, TTFont
from reportlab.pdfgen.canvas import Canvas

Weight = Literal["regular", "bold"]

#: PDF points in a millimetre (ISO 32000-1: 1/72 in).
POINT_PER_MM = 72 / 25.4

FONTS = Path(__file__).parent / "fonts"

REGULAR = "NotoSans-Regular"
BOLD = "NotoSans-SemiBold"
_FALLBACK = "DroidSansFallback-Regular"

#: First code point of each run of code points and the font that draws it (Unicode blocks; scripts side by side).
_BLOCKS: tuple[tuple[int, str], ...] = (
    (0x0000, REGULAR),
    (0x0530, "NotoSansArmenian-Regular"),
    (0x0590, "NotoSansHebrew-Regular"),
    (0x0600, "NotoSansArabic-Regular"),
    (0x0700, REGULAR),
    (0x0750, "NotoSansArabic-Regular"),
    (0x0780, REGULAR),
    (0x08A0, "NotoSansArabic-Regular"),
    (0x0900, "NotoSansDevanagari-Regular"),
    (0x0980, "NotoSansBengali-Regular"),
    (0x0A00, REGULAR),
    (0x0B80, "NotoSansTamil-Regular"),
    (0x0C00, REGULAR),
    (0x0E00, "NotoSansThai-Regular"),
    (0x0E80, REGULAR),
    (0x10A0, "NotoSansGeorgian-Regular"),
    (0x1100, "NotoSansKR-Hangul-Regular"),
    (0x1200, "NotoSansEthiopic-Regular"),
    (0x13A0, REGULAR),
    (0x1C90, "NotoSansGeorgian-Regular"),
    (0x1CC0, REGULAR),
    (0x2D00, "NotoSansGeorgian-Regular"),
    (0x2D30, REGULAR),
    (0x2D80, "NotoSansEthiopic-Regular"),
    (0x2DE0, REGULAR),
    (0x2E80, _FALLBACK),
    (0xA000, REGULAR),
    (0xA8E0, "NotoSansDevanagari-Regular"),
    (0xA900, REGULAR),
    (0xAB00, "NotoSansEthiopic-Regular"),
    (0xAB30, REGULAR),
    (0xAC00, "NotoSansKR-Hangul-Regular"),
    (0xD7B0, REGULAR),
    (0xF900, _FALLBACK),
    (0xFB00, REGULAR),
    (0xFB13, "NotoSansArmenian-Regular"),
    (0xFB18, REGULAR),
    (0xFB1D, "NotoSansHebrew-Regular"),
    (0xFB50, "NotoSansArabic-Regular"),
    (0xFE00, REGULAR),
    (0xFE30, _FALLBACK),
    (0xFE50, REGULAR),
    (0xFE70, "NotoSansArabic-Regular"),
    (0xFEFF, REGULAR),
    (0xFF00, _FALLBACK),
    (0xFFF0, REGULAR),
)
_STARTS = [start for start, _ in _BLOCKS]

#: Drawn for a character that no font here has (Unicode: replacement character).
MISSING = "\ufffd"

ELLIPSIS = "…"

#: Zero-width non-joiner and joiner: Persian and Indian scripts need them.
_JOINERS = "\u200c\u200d"


#: Signs that no line begins with (JIS X 4051, line-start prohibition, the common ones; from memory).
_NEVER_FIRST = "，。、；：？！）」』】〉》・ー々,.;:?!)]}”’"


@dataclass(frozen=True)
class Run:
    """Glyphs of one font from left to right; ``shaped`` is what reportlab's text object draws."""

    font: str
    shaped: Any
    width: float


@dataclass(frozen=True)
class Line:
    """One line ready to be drawn: runs from left to right, its width in points, and whether it reads leftwards."""

    runs: tuple[Run, ...]
    size: float
    width: float
    leftwards: bool


@dataclass(frozen=True)
class Block:
    """Lines that fit a box: at ``size`` points, ``leading`` apart; ``cut`` when an ellipsis stands for the rest."""

    lines: tuple[Line, ...]
    size: float
    leading: float
    cut: bool

    @property
    def height(self) -> float:
        """From the top of the first line to the foot of the last, in points."""
        return len(self.lines) * self.leading


@lru_cache(maxsize=64)
def font(name: str) -> TTFont:
    """A font of ``fonts/``, registered with reportlab on first use."""
    loaded = TTFont(name, str(FONTS / f"{name}.ttf"))
    pdfmetrics.registerFont(loaded)
    return loaded


def clean(text: str) -> str:
    """Text as one line: composed (NFC), control and formatting characters other than joiners gone, spaces single."""
    composed = unicodedata.normalize("NFC", text)
    spaced = "".join(" " if unicodedata.category(char) in {"Cc", "Zl", "Zp"} else char for char in composed)
    unseen = {"Cf", "Cs", "Co", "Cn"}
    kept = (char for char in spaced if char in _JOINERS or unicodedata.category(char) not in unseen)
    return " ".join("".join(kept).split())


def reads_leftwards(text: str) -> bool:
    """Whether the first strong character of a paragraph is of a script that reads leftwards (UAX 9, P2 and P3)."""
    return bool(text) and bool(bidi.get_base_level(text))


@lru_cache(maxsize=4096)
def shape(text: str, size: float, weight: Weight = "regular", *, leftwards: bool | None = None) -> Line:
    """One line of cleaned text in visual order, in the direction of its paragraph (None: of its own)."""
    base = reads_leftwards(text) if leftwards is None else leftwards
    runs = [_glyphs(part, name, size, backwards=back) for part, name, back in _font_runs(text, weight, leftwards=base)]
    return Line(tuple(runs), size, sum(run.width for run in runs), base)


def _glyphs(text: str, name: str, size: float, *, backwards: bool) -> Run:
    """Shape a piece of one font and direction; glyphs that no character maps to get one of the private-use area."""
    face = font(name)
    hb_font = face.hbFont(size)
    buffer = uharfbuzz.Buffer()
    buffer.cluster_level = uharfbuzz.BufferClusterLevel.MONOTONE_CHARACTERS
    buffer.add_str(text)
    buffer.guess_segment_properties()
    buffer.direction = "rtl" if backwards else "ltr"
    uharfbuzz.shape(hb_font, buffer, {"kern": True, "liga": True})
    characters = ""
    data: list[ShapeData] = []
    for info, position in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
        known = face.face.glyphToChar.get(info.codepoint)
        if known:
            character = known[0]
        else:
            advance = face.pdfScale(hb_font.get_glyph_h_advance(info.codepoint))
            character = face.hbAddPrivate(hb_font.glyph_to_string(info.codepoint), info.codepoint, advance)
        characters += chr(character)
        moves = (position.x_advance, position.y_advance, position.x_offset, position.y_offset)
        data.append(ShapeData(info.cluster, *map(face.pdfScale, moves), face.face.charWidths[character]))
    return Run(name, ShapedStr(characters, shapeData=data), sum(glyph.x_advance for glyph in data) * size / 1000)


def _font_runs(text: str, weight: Weight, *, leftwards: bool) -> Iterator[tuple[str, str, bool]]:
    """(text, font, whether it reads leftwards) of each piece of one font and direction, from left to right."""
    for piece, backwards in _visual_runs(text, leftwards=leftwards):
        pieces = [(part, name, backwards) for part, name in _by_font(piece, weight)]
        yield from reversed(pieces) if backwards else pieces


def _visual_runs(text: str, *, leftwards: bool) -> list[tuple[str, bool]]:
    """Pieces of one embedding level from left to right, with whether each reads leftwards (UAX 9, rule L2)."""
    if not text:
        return []
    storage = bidi.get_empty_storage()
    storage["base_level"] = int(leftwards)
    storage["base_dir"] = ("L", "R")[storage["base_level"]]
    bidi.get_embedding_levels(text, storage)
    bidi.explicit_embed_and_overrides(storage)
    bidi.resolve_weak_types(storage)
    bidi.resolve_neutral_types(storage, debug=False)
    bidi.resolve_implicit_levels(storage, debug=False)
    pieces: list[tuple[str, int]] = []
    for char in storage["chars"]:
        if pieces and pieces[-1][1] == char["level"]:
            pieces[-1] = (pieces[-1][0] + char["ch"], char["level"])
        else:
            pieces.append((char["ch"], char["level"]))
    for level in range(max(level for _, level in pieces), 0, -1):
        start = 0
        while start < len(pieces):
            if pieces[start][1] < level:
                start += 1
                continue
            stop = start
            while stop < len(pieces) and pieces[stop][1] >= level:
                stop += 1
            pieces[start:stop] = pieces[start:stop][::-1]
            start = stop
    return [(piece, bool(level % 2)) for piece, level in pieces]


def _by_font(text: str, weight: Weight) -> Iterator[tuple[str, str]]:
    """Split text where its font changes; marks, joiners and spaces stay with what they follow."""
    current = ""
    name = ""
    for char in text:
        follows = char.isspace() or char in _JOINERS or unicodedata.category(char).startswith("M")
        wanted = name if name and follows and _has(name, char) else _font_of(char, weight)
        if current and wanted != name:
            yield current, name
            current = ""
        current += char if _has(wanted, char) else MISSING
        name = wanted
    if current:
        yield current, name


def _font_of(char: str, weight: Weight) -> str:
    """The font of a character's block, or of the missing character where that font lacks it."""
    code = ord(char)
    plain = BOLD if weight == "bold" else REGULAR
    name = _BLOCKS[bisect_right(_STARTS, code) - 1][1] if code <= 0xFFFF else REGULAR
    candidates = (plain, _FALLBACK) if name == REGULAR else (name,)
    return next((each for each in candidates if _has(each, char)), plain)


def _has(name: str, char: str) -> bool:
    return ord(char) in font(name).face.charToGlyph


def wrap(text: str, size: float, width: float, weight: Weight = "regular") -> list[str]:
    """Lines of cleaned text that are at most ``width`` wide; long words break between characters."""
    lines: list[str] = []
    line = ""
    for word in clean(text).split(" "):
        longer = f"{line} {word}" if line else word
        if shape(longer, size, weight).width <= width:
            line = longer
            continue
        if line:
            lines.append(line)
        while shape(word, size, weight).width > width:
            head = _fitting(word, size, width, weight, "")
            if not head or head == word:
                break
            lines.append(head)
            word = word[len(head) :]  # noqa: PLW2901 - the rest of a word that is wider than the line
        line = word
    return [*lines, line] if line else lines


def _clusters(text: str) -> list[int]:
    """Where text may be cut: never before a mark, a joiner or a closing sign, nor after a joiner."""
    cuts = [0]
    for at in range(1, len(text)):
        mark = unicodedata.category(text[at]).startswith("M") or text[at] in _JOINERS
        if not mark and text[at] not in _NEVER_FIRST and text[at - 1] not in _JOINERS:
            cuts.append(at)
    return [*cuts, len(text)]


def _fitting(text: str, size: float, width: float, weight: Weight, tail: str) -> str:
    """The longest beginning of text that, with ``tail``, fits ``width``; "" when not even one character does."""
    cuts = _clusters(text)
    low, high = 0, len(cuts) - 1
    while low < high:
        middle = (low + high + 1) // 2
        if shape(text[: cuts[middle]].rstrip() + tail, size, weight).width <= width:
            low = middle
        else:
            high = middle - 1
    return text[: cuts[low]].rstrip() if tail else text[: cuts[low]]


def fit(
    text: str, width: float, height: float, sizes: Sequence[float], *, weight: Weight = "regular", spacing: float = 1.3
) -> Block:
    """Set text into a box: the largest of ``sizes`` (falling) that holds all of it, else the smallest, cut.

    The result never leaves the box. Empty text gives no lines.
    """
    cleaned = clean(text)
    if not cleaned:
        return Block((), sizes[0], sizes[0] * spacing, cut=False)
    leftwards = reads_leftwards(cleaned)
    for size in sizes:
        lines = [shape(line, size, weight, leftwards=leftwards) for line in wrap(cleaned, size, width, weight)]
        if len(lines) * size * spacing <= height and all(line.width <= width for line in lines):
            return Block(tuple(lines), size, size * spacing, cut=False)
    size = sizes[-1]
    room = int(height / (size * spacing) + 1e-9)
    kept = wrap(cleaned, size, width, weight)[: max(0, room - 1)]
    if room > 0:
        used = 0
        for line in kept:
            used = cleaned.index(line, used) + len(line)
        kept.append(_fitting(cleaned[used:].strip(), size, width, weight, ELLIPSIS) + ELLIPSIS)
    shaped = [shape(line, size, weight, leftwards=leftwards) for line in kept]
    return Block(tuple(line for line in shaped if line.width <= width), size, size * spacing, cut=True)


def draw(canvas: Canvas, line: Line, x: float, y: float) -> None:
    """Draw a line with its left end at ``x`` and its baseline at ``y`` (points from the lower left)."""
    for run in line.runs:
        text = canvas.beginText(x, y)
        text.setFont(run.font, line.size)
        text.textOut(run.shaped)
        canvas.drawText(text)
        x += run.width

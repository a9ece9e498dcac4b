"""Aged pages to tune on: another ageing than the one in tests/simulate, on which figures are reported.

Everything is density over a page: paper + stain + ink + show-through, then the scanner's blur and noise.
"""

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

Floats = NDArray[np.float32]

FONTS = Path("/usr/share/fonts")
SERIF = FONTS / "truetype/liberation/LiberationSerif-Regular.ttf"
DEJAVU = FONTS / "truetype/dejavu/DejaVuSerif.ttf"
TYPEWRITER = FONTS / "truetype/liberation/LiberationMono-Regular.ttf"
SANS = FONTS / "truetype/dejavu/DejaVuSans.ttf"
ITALIC = FONTS / "truetype/liberation/LiberationSerif-Italic.ttf"

#: Invented texts of a harbour town's local paper and of the backs of its photographs.
_TEXTS = """
The new slipway at Garnet Bay was opened on Saturday by the harbour master before a crowd of some four
hundred. The first boat down was the Wren, built by the brothers Tolland over two winters in the old net
loft. A band played until the tide turned and the children were given buns. The cost, 212 pounds, has been
met in full by the subscription begun in March of last year.

A concert in aid of the reading room will be held at the Mission Hall on Friday evening at half past seven.
Miss Ada Perrin will sing, and Mr. J. Holloway has promised his lantern pictures of the northern lakes.
Tickets may be had of the stationer in Quay Street, price sixpence, or at the door. It is hoped that every
family will send at least one member.

Dear Walter, the parcel came safely and the gloves fit as if you had measured me. We have had nine days of
rain and the lower field is a lake. Father has mended the gate, and the mare is well again. Your cousin Beth
was here on Sunday with the two boys, who ate all the plums. Write soon and tell us when the ship sails.

REPORT of the committee. The meeting was held in the school on 14 June with eleven members present. The
treasurer showed a balance of 38 pounds 6 shillings. It was agreed to buy two ladders and forty yards of
rope, and to paint the boat house before winter. Mrs. Lowe offered the use of her cart. The next meeting
will be on 12 July at six.

Prize for the best garden went again to Mr. Abel Fenn of Mill Row, whose sweet peas stood nine feet high.
Second was the schoolmaster, with a fine show of roses, and third the widow Harker. The judges had walked
eleven miles in two days and wished it known that the gooseberries were the largest seen in this county
since 1911.

Fire broke out in the rope works shortly after midnight on Tuesday. The alarm was given by the watchman,
Peter Dunn, who saw smoke from the tar house. Forty men passed buckets from the quay until the engine came.
No one was hurt, though the roof is lost and six hundred fathoms of new rope with it. The works will open
again within the month.
"""
TEXTS = tuple(" ".join(text.split()) for text in _TEXTS.split("\n\n"))
_NOTES = """
Grandmother Ellen with
the twins, Garnet Bay,
summer of 1931.
Taken by Uncle Joseph
from the old pier.

Front row left to right
Mary Holt, Ann Perrin,
Susan Lowe and the cook.
The mill house garden,
14 June 1927

Our first boat, the Wren,
built at the rope works.
Father stands behind
holding the lantern.
No. 48

School outing to the lake
with Mr. Holloway and
forty children. It rained
until three in the afternoon.

This is the house where
mother was born. The two
windows on the right are
the nursery. Please return
to Beth Tolland.
"""
NOTES = tuple(text.strip() for text in _NOTES.split("\n\n"))


def ink_of(text: str, font: Path, size_px: int, shape: tuple[int, int], margin_px: int = 60) -> Floats:
    """Ink coverage 0..1 of a text set into a page, (H, W); lines are broken at the page's width."""
    scale = 3
    face = ImageFont.truetype(str(font), size_px * scale)
    picture = Image.new("L", (shape[1] * scale, shape[0] * scale), 0)
    draw = ImageDraw.Draw(picture)
    width = (shape[1] - 2 * margin_px) * scale
    y = margin_px * scale
    for line in lines_of(text, face, width):
        draw.text((margin_px * scale, y), line, fill=255, font=face)
        y += int(size_px * 1.45 * scale)
    small = picture.resize((shape[1], shape[0]), Image.Resampling.BOX)
    return np.asarray(small, dtype=np.float32) / 255


def lines_of(text: str, face: ImageFont.FreeTypeFont, width: float) -> list[str]:
    """The text's lines, broken by words at ``width`` px."""
    lines = []
    for paragraph in text.split("\n"):
        line = ""
        for word in paragraph.split():
            longer = f"{line} {word}".strip()
            if line and face.getlength(longer) > width:
                lines.append(line)
                line = word
            else:
                line = longer
        lines.append(line)
    return lines


@dataclass(frozen=True)
class Page:
    """What happened to one page; densities. All amounts 0 for a clean page."""

    ink: float = 1.05
    yellowing: float = 0.05
    edge: float = 0.0
    uneven: float = 0.0
    tide: float = 0.0
    foxing: int = 0
    tape: float = 0.0
    fold: float = 0.0
    show_through: float = 0.0
    texture: float = 0.015
    noise: float = 0.006
    blur_px: float = 0.6
    base: tuple[float, float, float] = (0.17, 0.19, 0.23)


LEVELS = {
    "clean": Page(),
    "mild": Page(0.95, 0.15, 0.1, 0.04, 0.0, 5, 0.0, 0.05, 0.03),
    "medium": Page(0.75, 0.35, 0.25, 0.10, 0.12, 25, 0.25, 0.12, 0.12, 0.03, 0.010, 0.8),
    "severe": Page(0.50, 0.65, 0.45, 0.18, 0.25, 60, 0.40, 0.20, 0.20, 0.04, 0.015, 1.0),
    "pencil": Page(0.14, 0.12, 0.08, 0.03, 0.0, 4, 0.0, 0.0, 0.0, 0.012, 0.012, 0.9, (0.08, 0.09, 0.11)),
    "rough pencil": Page(0.18, 0.25, 0.15, 0.05, 0.05, 10, 0.0, 0.0, 0.0, 0.03, 0.010, 0.9),
}
YELLOW = np.array([0.16, 0.45, 1.0], np.float32)


def _smooth(rng: np.random.Generator, shape: tuple[int, int], scale_px: float) -> Floats:
    small = rng.standard_normal((max(2, int(shape[0] / scale_px)) + 3, max(2, int(shape[1] / scale_px)) + 3))
    field = cv2.resize(small.astype(np.float32), (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(field / max(float(field.std()), 1e-6))


def stain_of(page: Page, shape: tuple[int, int], rng: np.random.Generator) -> Floats:
    """Stain over the page, (H, W, 3) density."""
    height, width = shape
    rows, columns = np.mgrid[0:height, 0:width].astype(np.float32)
    distance = np.minimum.reduce([rows, columns, height - 1 - rows, width - 1 - columns])
    yellow = page.yellowing * (1 + 0.25 * _smooth(rng, shape, 300))
    yellow = yellow + page.edge * np.exp(-distance / (0.06 * width)) * (1 + 0.3 * _smooth(rng, shape, 200))
    yellow = yellow + page.uneven * _smooth(rng, shape, 90)
    if page.tide:
        front = rows - height * rng.uniform(0.3, 0.7) + 40 * _smooth(rng, shape, 250)
        yellow = yellow + page.tide * (
            0.5 / (1 + np.exp(np.clip(front / 6, -30, 30))) + 1.2 * np.exp(-((front / 5) ** 2))
        )
    for _ in range(page.foxing):
        y, x, r = rng.uniform(0, height), rng.uniform(0, width), rng.uniform(2, 12)
        spot = rng.uniform(0.1, 0.5) * np.exp(-(((rows - y) ** 2 + (columns - x) ** 2) / (2 * r * r)))
        yellow = yellow + spot
    stain = np.maximum(yellow, 0)[..., None] * YELLOW
    if page.tape:
        left, top = int(rng.uniform(0.1, 0.5) * width), int(rng.uniform(0.1, 0.6) * height)
        inside = np.zeros(shape, np.float32)
        inside[top : top + 90, left : left + int(0.45 * width)] = 1
        inside = cv2.GaussianBlur(inside, (0, 0), 1.5)
        stain = stain + page.tape * inside[..., None] * np.array([0.25, 0.6, 1.0], np.float32)
    if page.fold:
        x = width * rng.uniform(0.3, 0.7)
        stain = stain + (page.fold * np.exp(-(((columns - x) / 2.0) ** 2)))[..., None]
    return np.asarray(stain, dtype=np.float32)


def aged(coverage: Floats, page: Page, rng: np.random.Generator, other: Floats | None = None) -> NDArray[np.uint8]:
    """The scan of a page, (H, W, 3) uint8 sRGB."""
    shape = (coverage.shape[0], coverage.shape[1])
    texture = page.texture * _smooth(rng, shape, 3) * 0.7 + page.texture * _smooth(rng, shape, 1) * 0.7
    grain = np.clip(1 + 0.35 * _smooth(rng, shape, 4), 0.2, 1.6)
    soft = cv2.GaussianBlur(coverage, (0, 0), page.blur_px)
    density = np.array(page.base, np.float32) + stain_of(page, shape, rng) + texture[..., None]
    density = density + (page.ink * soft * grain)[..., None] * np.array([1.0, 1.0, 0.97], np.float32)
    if page.show_through and other is not None:
        back = cv2.GaussianBlur(np.ascontiguousarray(other[:, ::-1]), (0, 0), 2.2)
        density = density + page.show_through * back[..., None]
    light = 10.0**-density + 0.01
    light = light + page.noise * np.sqrt(np.maximum(light, 0.01)) * rng.standard_normal(light.shape)
    light = np.clip(light, 0, 1)
    codes = np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)
    picture = Image.fromarray(np.rint(codes * 255).astype(np.uint8))
    return np.asarray(picture)


def example(level: str, index: int, seed: int = 0) -> tuple[NDArray[np.uint8], Floats, str]:
    """(scan, ink coverage, text) of one page of that level."""
    rng = np.random.default_rng((seed, index, sum(map(ord, level))))
    if "pencil" in level:
        text, font, size, shape = NOTES[index % len(NOTES)], (ITALIC, SANS)[index % 2], 52, (700, 900)
    else:
        text, size, shape = TEXTS[index % len(TEXTS)], 30, (900, 1000)
        font = (SERIF, DEJAVU, TYPEWRITER)[index % 3]
    coverage = ink_of(text, font, size, shape)
    other = ink_of(TEXTS[(index + 3) % len(TEXTS)], SERIF, 30, shape)
    return aged(coverage, LEVELS[level], rng, other), coverage, text

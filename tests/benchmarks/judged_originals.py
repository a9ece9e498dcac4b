"""Originals of every kind for the figures of the condition room: the simulator on photographs no fit saw."""

from __future__ import annotations

import csv
import os
import zlib
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from tests.simulate import (
    LEVELS,
    colour_print,
    handwriting,
    lettering,
    negative,
    newsprint,
    scanner,
    sheet,
    silver_print,
)
from tests.simulate import target as chart
from tests.simulate.tone import from_codes8, luminance, reflectance, to_codes8

Picture = NDArray[np.float32]
Size = tuple[int, int]

PROSE = (
    "The choir of the harbour school sang on Sunday to a full hall. Mrs Ketterley played the harmonium and the "
    "takings of eleven pounds go to the roof. ¶ The ferry was late again owing to fog, and the mail lay at the quay "
    "until noon. ¶ At the autumn show the first prize for marrows went to Mr Oban Pell, whose pears were also praised. "
    "Rain kept many away from the rowing, which the visitors won by two lengths. ¶ A purse was found near the mill "
    "and may be had at the post office by whoever can say what is in it. ¶ The council will mend the lower bridge "
    "before winter and asks that carts go round by the chapel until then. "
)
LETTER = (
    "Dear Ada, we came home safely", "and the garden is full of beans.", "Father has mended the boat at last",
    "and means to paint it on Saturday.", "The little one has a tooth and", "is very proud of it. Write soon",
    "and tell us about the new school.", "Your loving sister, Wren", "August 1936, at the lake", "Nell and the pony",
)  # fmt: skip


def unseen(source: str) -> bool:
    """Whether photographs of that source were kept from every fit of this room (a fifth of the sources)."""
    return zlib.crc32(source.split("@", maxsplit=1)[0].encode()) % 5 == 0


def photographs() -> list[Path]:
    """Colour photographs that no fit saw, or an empty list when ``SURROGATE_PHOTOGRAPHS`` is not set."""
    folder = os.environ.get("SURROGATE_PHOTOGRAPHS")
    if not folder:
        return []
    with (Path(folder) / "index.tsv").open(encoding="utf-8") as lines:
        rows = [row for row in csv.DictReader(lines, delimiter="\t") if unseen(row["source"])]
    return [Path(folder) / row["file"] for row in rows]


def photograph(rng: Generator, paths: list[Path], size: Size, *, colour: bool) -> Picture:
    """Linear light of one of them, cut to the shape of ``size`` and mirrored at random."""
    while True:
        path = paths[int(rng.integers(len(paths)))]
        if not colour or path.parent.name != "bw":
            break
    picture = Image.open(path).convert("RGB")
    share = min(picture.width / size[1], picture.height / size[0])
    width, height = size[1] * share, size[0] * share
    left, top = rng.uniform(0, 1, 2) * np.maximum([picture.width - width, picture.height - height], 0)
    cut = picture.resize((size[1], size[0]), Image.Resampling.LANCZOS, (left, top, left + width, top + height))
    codes = np.asarray(cut)
    return from_codes8(codes[:, ::-1] if rng.random() < 0.5 else codes)


def scanned(rng: Generator, light: Picture) -> NDArray[np.uint8]:
    """Through a consumer flatbed, to 8-bit sRGB."""
    return to_codes8(scanner.scan(np.asarray(light, np.float32), scanner.sample(rng)))


def bordered(rng: Generator, photo: Picture) -> Picture:
    """Half of the prints have a white border."""
    if rng.random() < 0.5:
        return photo
    width = int(rng.uniform(0.02, 0.06) * max(photo.shape))
    inner = (photo.shape[0] - 2 * width, photo.shape[1] - 2 * width)
    small = Image.fromarray(to_codes8(photo)).resize((inner[1], inner[0]), Image.Resampling.BICUBIC)
    return sheet.pad(from_codes8(np.asarray(small)), width, width, width, width)


def colour(rng: Generator, paths: list[Path], size: Size) -> Picture:
    """Colour print of any level of ageing."""
    level = LEVELS[int(rng.integers(4))]
    photo = bordered(rng, photograph(rng, paths, size, colour=True))
    return scanner.grain(colour_print.print_of(photo, colour_print.sample(rng, level))[1], rng, rng.uniform(0, 0.02))


def silver(rng: Generator, paths: list[Path], size: Size) -> Picture:
    """Silver print of any level; one in eight toned on purpose."""
    photo = bordered(rng, photograph(rng, paths, size, colour=False))
    if rng.random() < 0.125:
        return silver_print.sepia_toned(photo)
    aged = silver_print.print_of(photo, silver_print.sample(rng, LEVELS[int(rng.integers(4))]))[1]
    return scanner.grain(aged, rng, rng.uniform(0, 0.02), chroma=0.0)


def toned(rng: Generator, paths: list[Path], size: Size) -> Picture:
    """Silver print toned on purpose."""
    return silver_print.sepia_toned(bordered(rng, photograph(rng, paths, size, colour=False)))


def browned(rng: Generator, paths: list[Path], size: Size) -> Picture:
    """Silver print that age has browned: medium or severe."""
    photo = bordered(rng, photograph(rng, paths, size, colour=False))
    aged = silver_print.print_of(photo, silver_print.sample(rng, LEVELS[2 + int(rng.integers(2))]))[1]
    return scanner.grain(aged, rng, rng.uniform(0, 0.02), chroma=0.0)


def hand_coloured(rng: Generator, paths: list[Path], size: Size) -> Picture:
    """Silver print with thin washes of the colours that its subject has, laid on by hand and not quite in place."""
    photo = photograph(rng, paths, size, colour=True)
    light = silver_print.print_of(photo, silver_print.sample(rng, LEVELS[int(rng.integers(2))]))[1]
    broad = ndimage.gaussian_filter(photo, (*(2 * (rng.uniform(0.008, 0.02) * max(size),)), 0))
    density = -np.log10(np.clip(np.roll(broad, rng.integers(-6, 7, 2), (0, 1)), 0.02, 1.0))
    wash = (density - density.min(axis=2, keepdims=True)) * rng.uniform(0.35, 0.8)
    return np.asarray(light * 10**-wash, np.float32)


def film(rng: Generator, paths: list[Path], size: Size) -> Picture:
    """Negative, black and white or colour, with or without its clear edge and the holder."""
    level = LEVELS[int(rng.integers(4))]
    coloured = rng.random() < 0.4
    stock = negative.sample_colour(rng, level) if coloured else negative.sample_black_and_white(rng, level)
    light = negative.transmittance(photograph(rng, paths, size, colour=coloured), stock)
    if rng.random() < 0.5:
        edge = int(rng.uniform(0.01, 0.05) * max(size))
        light[:edge] = light[-edge:] = negative.unexposed(stock)
        light[:, :edge] = light[:, -edge:] = negative.unexposed(stock)
        if rng.random() < 0.5:
            light[: edge // 2] = light[:, : edge // 2] = 0.002
    return light


def clipping(rng: Generator, paths: list[Path], size: Size) -> Picture:
    """A newspaper cutting of one to three columns, at times with a screened picture."""
    ink = _newspaper(rng, paths, size)
    other = _newspaper(rng, paths, size)
    aged = newsprint.sample(rng, LEVELS[int(rng.integers(4))], size)
    unharmed = replace(aged, foxing=0, tide_px=0.0, tape_boxes=(), folds=())  # marks are laid apart, with their truth
    return newsprint.page_of(ink, other, unharmed)[1]


def _newspaper(rng: Generator, paths: list[Path], size: Size) -> Picture:
    page = np.zeros(size, np.float32)
    columns, margin = int(rng.integers(1, 4)), 0.03 * size[1]
    wide = (size[1] - 2 * margin - (columns - 1) * 0.02 * size[1]) / columns
    em, top = wide / rng.uniform(14, 24), margin
    if rng.random() < 0.7:
        big = rng.uniform(1.8, 3.5) * em
        words = PROSE.split()[: max(2, int(size[1] / big / 3))]
        page = lettering.line(page, " ".join(words), lettering.SERIF_BOLD, big, margin, top + big)
        top += 1.5 * big
    picture = rng.random() < 0.4
    for column in range(columns):
        left, start = margin + column * (wide + 0.02 * size[1]), top
        if picture and column == 0:
            shape = (int(min(wide * 0.75, 0.5 * size[0])), int(wide))
            tone = luminance(photograph(rng, paths, shape, colour=False))
            dots = newsprint.halftone(tone, rng.uniform(2.5, 5.0))
            page[int(top) : int(top) + dots.shape[0], int(left) : int(left) + dots.shape[1]] = dots[: shape[0]]
            start += shape[0] + em
        text = " ".join(np.roll(np.array(PROSE.split() * 12), int(rng.integers(100))))
        page, _ = lettering.column(page, text, lettering.SERIF, em, (left, start, wide, size[0] - start - margin))
    return page


def document(rng: Generator, paths: list[Path], size: Size) -> Picture:
    """Letter, typed page, or the back of a print with a line or two in pencil."""
    del paths
    style = rng.random()
    level = LEVELS[int(rng.integers(4))]
    paper = handwriting.writing_paper(rng, size, (0.06, 0.07, float(rng.uniform(0.08, 0.2))))
    em = rng.uniform(0.02, 0.045) * max(size)
    rows = [(0.1 * size[1], em * (2 + 1.7 * n), LETTER[n % 10]) for n in range(int((size[0] - 3 * em) / (1.7 * em)))]
    if style < 0.4:
        ink = lettering.hand(rng, size, lettering.PEN, em, rows)
        return reflectance(paper + handwriting.pen(ink, handwriting.sample_pen(rng, level)))
    if style < 0.7:
        few = rows[: int(rng.integers(1, 4))]
        ink = lettering.hand(rng, size, lettering.PENCIL, em * 1.2, few)
        return reflectance(paper + handwriting.pencil(ink, handwriting.sample_pencil(rng, level)))
    box = (0.1 * size[1], 0.08 * size[0], 0.8 * size[1], rng.uniform(0.3, 0.85) * size[0])
    ink, _ = lettering.column(np.zeros(size, np.float32), PROSE * 6, lettering.SERIF, em * 0.7, box)
    return reflectance(paper + ndimage.gaussian_filter(ink, 0.6)[..., None] * np.float32(rng.uniform(0.6, 1.2)))


def album(rng: Generator, paths: list[Path], size: Size) -> Picture:
    """Two to four prints on black card or a mount."""
    page = (sheet.black_card if rng.random() < 0.5 else sheet.mount_board)(rng, size)
    cells = [(0.27, 0.27), (0.73, 0.27), (0.27, 0.73), (0.73, 0.73)]
    for x, y in cells[: int(rng.integers(2, 5))]:
        shape = (int(size[0] * rng.uniform(0.28, 0.40)), int(size[1] * rng.uniform(0.28, 0.40)))
        make = colour if rng.random() < 0.5 else silver
        placing = sheet.Placing((x * size[1], y * size[0]), float(rng.normal(0, 2)))
        page = sheet.lay(page, make(rng, paths, shape), placing)
    return page


def target(rng: Generator, paths: list[Path], size: Size) -> Picture:
    """The classic 24 patches, alone or on the scanner's lid."""
    del paths
    patch = int(size[1] / rng.uniform(6.9, 9))
    card = np.clip(chart.card(patch, max(3, patch // 8)), 0, 1).astype(np.float32)[: size[0], : size[1]]
    scene = sheet.glass(rng, size)
    return sheet.lay(scene, card, sheet.Placing((size[1] / 2, size[0] / 2), float(rng.normal(0, 1))))


MAKERS = {
    "silver-print": silver, "colour-print": colour, "negative": film, "clipping": clipping, "document": document,
    "album-page": album, "target": target,
}  # fmt: skip

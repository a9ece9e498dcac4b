"""The other kinds for fitting: documents, clippings, negatives, album pages, targets, and none of these."""

from __future__ import annotations

import numpy as np
from numpy.random import Generator
from PIL import Image, ImageDraw
from scipy import ndimage
from sheets import (
    LUMINANCE,
    Array,
    Material,
    Size,
    aged_paper,
    bordered,
    colour_print,
    exposed,
    font,
    handwriting,
    ink_colour,
    photograph,
    resized,
    silver_print,
    smooth,
    text_block,
    triple,
    words,
)


def document(rng: Generator, material: Material, size: Size) -> Array:
    """Letter, typescript, form, printed sheet, card, or the back of a print."""
    page = aged_paper(rng, size, float(rng.random()))
    if rng.random() < 0.15:  # coloured paper
        page = page + triple(rng, (0, 0, 0), (0.25, 0.25, 0.25))
    style, ink = rng.random(), np.zeros(size, np.float32)
    margin = [int(rng.uniform(0.04, 0.16) * side) for side in (size[0], size[1], size[0], size[1])]
    inner = (size[0] - margin[0] - margin[2], size[1] - margin[1] - margin[3])
    em = rng.uniform(0.010, 0.032) * max(size)
    block = np.s_[margin[0] : margin[0] + inner[0], margin[1] : margin[1] + inner[1]]
    colour = ink_colour(rng)
    if style < 0.30:  # typed or printed
        filled = (int(inner[0] * rng.uniform(0.25, 1.0)), inner[1])
        lines = text_block(
            rng, material.fonts, filled, em, justified=bool(rng.random() < 0.4), lead=rng.uniform(1.15, 2.2)
        )
        ink[margin[0] : margin[0] + filled[0], margin[1] : margin[1] + inner[1]] = lines
        colour = np.full(3, rng.uniform(0.5, 1.3), np.float32) if rng.random() < 0.8 else colour
        if rng.random() < 0.5:
            head = text_block(rng, material.fonts, (int(em * 4), inner[1]), em * 2, justified=False, lead=1.3)
            ink[: head.shape[0], margin[1] : margin[1] + inner[1]] += head
    elif style < 0.62:  # letter by hand
        ink[block] = handwriting(rng, material, inner, em * 1.1, int(rng.integers(2, 40)), rng.uniform(0.5, 1.8))
    elif style < 0.80:  # back of a print: a few words, a stamp, a printed back
        em *= rng.uniform(1.0, 2.0)
        ink[block] = handwriting(rng, material, inner, em, int(rng.integers(1, 5)), rng.uniform(0.6, 2.0))
        if rng.random() < 0.5:
            page = page + _stamp(rng, material, size)
        if rng.random() < 0.4:  # the maker's name, repeated aslant
            page = page + _back_print(rng, material, size)
    else:  # form or table
        ink[block] = handwriting(rng, material, inner, em, int(rng.integers(2, 20)), rng.uniform(0.5, 1.5))
        page = page + _rules(rng, size)
    if rng.random() < 0.3 and style < 0.8:
        page = page + _rules(rng, size, lines_only=True)
    fading = 0.6 + 0.4 * np.clip(smooth(rng, size, max(size) / 5), -1, 1)
    weight = ndimage.gaussian_filter(np.clip(ink, 0, 1), rng.uniform(0.3, 0.8))
    return np.asarray(page + (weight * (fading if rng.random() < 0.4 else 1.0))[..., None] * colour, np.float32)


def _rules(rng: Generator, size: Size, *, lines_only: bool = False) -> Array:
    """Ruled lines, perhaps columns."""
    out = np.zeros(size, np.float32)
    pitch = int(rng.uniform(0.02, 0.07) * size[0])
    for y in range(int(rng.uniform(1, 4) * pitch), size[0], max(pitch, 6)):
        out[y : y + 1] = 1
    if not lines_only or rng.random() < 0.3:
        for x in rng.uniform(0, size[1] - 2, int(rng.integers(1, 5))).astype(int):
            out[:, x : x + int(rng.integers(1, 3))] = 1
    colour = triple(rng, (0.1, 0.05, 0.0), (0.5, 0.4, 0.3)) if rng.random() < 0.6 else np.full(3, rng.uniform(0.1, 0.8))
    return np.asarray(out[..., None] * colour, np.float32)


def _stamp(rng: Generator, material: Material, size: Size) -> Array:
    """A rubber stamp: a few lines in a frame, aslant, uneven, violet, blue, red or black."""
    h, w = int(rng.uniform(0.08, 0.2) * min(size)), int(rng.uniform(0.2, 0.45) * min(size))
    page = Image.new("L", (w, h), 0)
    pen = ImageDraw.Draw(page)
    if rng.random() < 0.6:
        shape = pen.rectangle if rng.random() < 0.6 else pen.ellipse
        shape((1, 1, w - 2, h - 2), outline=255, width=2)
    for line in range(int(rng.integers(1, 4))):
        pen.text(
            (w * 0.12, h * (0.12 + 0.26 * line)),
            " ".join(words(rng, 2)),
            fill=255,
            font=font(rng, material.fonts, h * 0.22),
        )
    page = page.rotate(rng.uniform(-25, 25), expand=True, resample=Image.Resampling.BILINEAR)
    out = np.zeros(size, np.float32)
    top, left = int(rng.uniform(0, max(1, size[0] - page.height))), int(rng.uniform(0, max(1, size[1] - page.width)))
    part = np.asarray(page, np.float32)[: size[0] - top, : size[1] - left] / 255
    out[top : top + part.shape[0], left : left + part.shape[1]] = part
    out *= np.clip(1 + 0.5 * smooth(rng, size, 20), 0.1, 1.5) * rng.uniform(0.3, 0.9)
    colours = ((0.6, 0.9, 0.4), (1.0, 0.7, 0.3), (0.1, 0.9, 0.8), (0.9, 0.9, 0.9))
    return np.asarray(out[..., None] * np.array(colours[int(rng.integers(4))], np.float32), np.float32)


def _back_print(rng: Generator, material: Material, size: Size) -> Array:
    """Faint words repeated over the whole back, as paper makers print them."""
    side = int(1.5 * max(size))
    page = Image.new("L", (side, side), 0)
    pen, face, word = ImageDraw.Draw(page), font(rng, material.fonts, 0.02 * max(size)), " ".join(words(rng, 2))
    step_y, step_x = int(rng.uniform(0.08, 0.2) * side), int(rng.uniform(0.15, 0.35) * side)
    for row, y in enumerate(range(0, side, step_y)):
        for x in range(-(row % 2) * step_x // 2, side, step_x):
            pen.text((x, y), word, fill=255, font=face)
    turned = np.asarray(page.rotate(rng.uniform(-50, 50), resample=Image.Resampling.BILINEAR), np.float32) / 255
    top, left = (side - size[0]) // 2, (side - size[1]) // 2
    part = turned[top : top + size[0], left : left + size[1]] * rng.uniform(0.03, 0.2)
    return np.asarray(part[..., None] * np.array([1.0, 1.0, 0.95], np.float32), np.float32)


def clipping(rng: Generator, material: Material, size: Size) -> Array:
    """Newsprint: columns, headlines, rules, halftone pictures, the other side showing through; cut by hand or whole."""
    page = aged_paper(rng, size, float(rng.uniform(0.3, 1.0)))
    page = page + rng.uniform(0.04, 0.14)  # newsprint is greyer than writing paper: L* 82, ISO 12647-3
    ink = _columns(rng, material, size)
    strength = rng.uniform(0.6, 1.0)
    body = ndimage.gaussian_filter(ink, rng.uniform(0.4, 0.9)) * strength * (1 + 0.06 * smooth(rng, size, 2))
    page = page + body[..., None] * triple(rng, (0.85, 0.85, 0.8), (1, 1, 1))
    if rng.random() < 0.6:
        other = ndimage.gaussian_filter(_columns(rng, material, size)[:, ::-1], rng.uniform(1.2, 3))
        page = page + (other * rng.uniform(0.01, 0.1))[..., None]
    if rng.random() < 0.5:
        page = on_ground(rng, np.asarray(page, np.float32), rough=rng.uniform(0, 0.02))
    return np.asarray(page, np.float32)


def _columns(rng: Generator, material: Material, size: Size) -> Array:
    """Ink of a piece of newspaper."""
    ink = np.zeros(size, np.float32)
    count = int(rng.choice([1, 1, 2, 2, 3, 4, 5]))
    margin, gap = int(rng.uniform(0.01, 0.06) * size[1]), int(rng.uniform(0.012, 0.03) * size[1])
    wide = (size[1] - 2 * margin - (count - 1) * gap) // count
    em = max(5.0, wide / rng.uniform(15, 30))  # a newspaper column holds about 30 to 40 letters
    top = margin
    if rng.random() < 0.7:
        tall = int(rng.uniform(0.05, 0.2) * size[0])
        big = rng.uniform(1.8, 5) * em
        title = text_block(rng, material.fonts, (tall, size[1] - 2 * margin), big, justified=False, lead=1.1)
        ink[top : top + tall, margin : margin + title.shape[1]] = title
        top += tall
    picture = rng.random() < 0.45
    for number in range(count):
        left, y = margin + number * (wide + gap), top
        if picture and number == 0:
            span = int(rng.integers(1, count + 1))
            width = span * wide + (span - 1) * gap
            tall = int(min(width * rng.uniform(0.6, 1.3), size[0] - top - 10))
            if tall > 20:
                ink[top : top + tall, left : left + width] = halftone(rng, material, (tall, width))
            picture_end, span_end = top + tall + 4, span
        if picture and number < span_end:
            y = picture_end
        height = size[0] - y - margin
        if height > 3 * em:
            ink[y : y + height, left : left + wide] = text_block(
                rng, material.fonts, (height, wide), em, justified=True, lead=rng.uniform(1.05, 1.3)
            )
        if rng.random() < 0.3 and number:
            ink[top : size[0] - margin, left - gap // 2 : left - gap // 2 + 1] = 1
    return np.clip(ink, 0, 1)


def halftone(rng: Generator, material: Material, size: Size) -> Array:
    """Ink of a screened picture; at this size the screen is often finer than the pixels."""
    tone = photograph(rng, material, size, grey=True)[..., 0]
    wanted = np.clip(1 - 10 ** (-tone * rng.uniform(0.4, 0.8)), 0.02, 0.96)
    period = rng.uniform(2.2, 7.0)
    if period < 3.0:
        return np.asarray(wanted + 0.03 * smooth(rng, size, 2), np.float32)
    y, x = np.mgrid[0 : size[0], 0 : size[1]].astype(np.float32) * (2 * np.pi / period)
    angle = rng.choice([np.pi / 4, rng.uniform(0, np.pi / 2)])
    screen = 0.5 + 0.25 * (
        np.cos(x * np.cos(angle) + y * np.sin(angle)) + np.cos(y * np.cos(angle) - x * np.sin(angle))
    )
    return np.asarray(np.clip((wanted - screen) * rng.uniform(3, 8) + 0.5, 0, 1), np.float32)


def on_ground(rng: Generator, sheet: Array, rough: float) -> Array:
    """The sheet with a hand-cut edge on a lid, a black card or a mount."""
    size = sheet.shape[:2]
    rows, columns = np.mgrid[0 : size[0], 0 : size[1]].astype(np.float32)
    mask = np.ones(size, np.float32)
    for inward, along, length in (
        (rows, columns, size[1]),
        (size[0] - 1 - rows, columns, size[1]),
        (columns, rows, size[0]),
        (size[1] - 1 - columns, rows, size[0]),
    ):
        knots = np.linspace(0, length, 6)
        line = rng.uniform(0, 0.05) * length + rng.uniform(-1, 1, 6) * rough * length
        edge = np.interp(along.ravel(), knots, line).reshape(size)
        mask *= np.clip(inward - edge + 0.5, 0, 1)
    grounds = ((0.05, 0.05, 0.06), (0.02, 0.02, 0.02), (1.3, 1.35, 1.4), (0.2, 0.25, 0.38), (0.6, 0.6, 0.6))
    ground = np.array(grounds[int(rng.integers(5))], np.float32) + 0.004 * smooth(rng, size, 3)[..., None]
    shadow = ndimage.gaussian_filter(mask, 2)[..., None] * 0.15
    return np.asarray(sheet * mask[..., None] + (ground + shadow) * (1 - mask[..., None]), np.float32)


# ---- film -----------------------------------------------------------------------------------------------------------


def negative(rng: Generator, material: Material, size: Size, *, colour: bool) -> Array:
    """Film scanned in transmission, not inverted; with rebate, holder or sprocket holes, or neither."""
    positive = photograph(rng, material, size, grey=not colour)
    exposure = rng.uniform(1.5, 2.6) - positive * rng.uniform(0.8, 1.15)
    toe = rng.uniform(0.1, 0.3)
    layers = rng.uniform(0.45, 0.85) * toe * np.logaddexp(0, exposure / toe)
    if colour:
        layers = layers * triple(rng, (0.85, 0.9, 0.95), (1.0, 1.1, 1.25)) * rng.uniform(0.6, 1.0)
        mask = triple(rng, (0.1, 0.4, 0.6), (0.35, 0.75, 1.1))
        if rng.random() < 0.2:  # the lamp or the scanner took part of the mask away
            mask = mask * rng.uniform(0.4, 0.9)
        leak = np.eye(3) + rng.uniform(0, 0.12, (3, 3))
        layers = layers @ (leak / leak.sum(1, keepdims=True)).T
    else:
        mask = rng.uniform(0.03, 0.35) + np.array([0, 0.005, 0.02]) + triple(rng, (-0.02, -0.02, 0), (0.02, 0.02, 0.08))
        layers = layers * rng.uniform(0.6, 1.0)
    image = layers + mask
    if rng.random() < 0.25:  # set to fill the range, as scanning programs do
        low, high = (
            np.percentile(image, (0.5, 99.5), axis=(0, 1)) if rng.random() < 0.3 else np.percentile(image, (0.5, 99.5))
        )
        image = 0.03 + (image - low) / (high - low) * rng.uniform(1.2, 2.0)
        mask = np.full(3, 0.03)
    if rng.random() < 0.55:
        image = _rebate(rng, np.asarray(image, np.float32), np.asarray(mask, np.float32))
    return np.asarray(image, np.float32)


def _rebate(rng: Generator, image: Array, base: Array) -> Array:
    """Clear edge of the film, sprocket holes, black of the holder."""
    out = bordered(rng, image, base, rng.uniform(0.01, 0.06))
    h, w = out.shape[:2]
    if rng.random() < 0.4:  # perforation above and below
        band, hole = int(0.12 * h), int(rng.uniform(0.03, 0.06) * w)
        inner = (h - 2 * band, w)
        out = np.concatenate(
            [
                np.zeros((band, w, 3)) + base,
                np.dstack([resized(out[..., c], inner) for c in range(3)]),
                np.zeros((band, w, 3)) + base,
            ]
        )
        light = rng.choice([0.0, 2.5])
        for x in range(int(rng.integers(0, hole)), w, 2 * hole):
            for y in (band // 4, h - band + band // 4):
                out[y : y + band // 2, x : x + hole] = light
    if rng.random() < 0.5:
        holder = [int(v) for v in rng.uniform(0, 0.06, 4) * w]
        dark = rng.choice([rng.uniform(1.6, 3.0), 0.0], p=[0.8, 0.2])
        out[: holder[0]] = dark
        out[h - holder[1] :] = dark
        out[:, : holder[2]] = dark
        out[:, w - holder[3] :] = dark
    return np.asarray(out, np.float32)


# ---- album pages, targets, other things -----------------------------------------------------------------------------


def album_page(rng: Generator, material: Material, size: Size) -> Array:
    """Two to nine prints, sometimes one, on a page; corners, words in white or ink."""
    grounds = (
        (1.25, 1.3, 1.36),
        (1.4, 1.4, 1.4),
        (0.2, 0.26, 0.4),
        (0.08, 0.09, 0.12),
        (0.55, 0.56, 0.6),
        (0.35, 0.4, 0.55),
    )
    page = np.array(grounds[int(rng.integers(6))], np.float32) * rng.uniform(0.8, 1.2)
    page = page + (0.01 * smooth(rng, size, 2) + 0.02 * smooth(rng, size, 80))[..., None] + np.zeros(3, np.float32)
    rows, columns = ((2, 1), (2, 2), (2, 2), (3, 2), (1, 2), (3, 3), (2, 3), (1, 1))[int(rng.integers(8))]
    make = colour_print if rng.random() < 0.5 else silver_print
    cell_h, cell_w = size[0] // rows, size[1] // columns
    for row in range(rows):
        for column in range(columns):
            if rng.random() < 0.1 and rows * columns > 2:
                continue
            h, w = int(cell_h * rng.uniform(0.5, 0.88)), int(cell_w * rng.uniform(0.5, 0.88))
            picture = make(rng, material, (h, w))
            if rng.random() < 0.5:
                picture = bordered(rng, picture, np.full(3, rng.uniform(0.04, 0.15), np.float32), 0.04)
            top = row * cell_h + int(rng.uniform(0, cell_h - h))
            left = column * cell_w + int(rng.uniform(0, cell_w - w))
            page[top : top + h, left : left + w] = picture
            if rng.random() < 0.4:
                _corners(rng, page, top, left, h, w)
    if rng.random() < 0.5:
        writing = handwriting(rng, material, size, 0.014 * max(size), 40, 1.2) * (smooth(rng, size, 90) > 0.8)
        dark = float(page[0, 0].mean()) > 0.8
        page = np.where(writing[..., None] > 0.3, 0.25, page) if dark else page + writing[..., None] * 0.8
    return np.asarray(page, np.float32)


def _corners(rng: Generator, page: Array, top: int, left: int, h: int, w: int) -> None:
    """Mounting corners at the four corners of one print."""
    side = int(rng.uniform(0.05, 0.1) * min(h, w)) + 2
    colour = rng.choice([0.1, 1.5])
    triangle = np.add.outer(np.arange(side), np.arange(side)) < side
    for flip_y, y in ((1, top), (-1, top + h - side)):
        for flip_x, x in ((1, left), (-1, left + w - side)):
            page[y : y + side, x : x + side][triangle[::flip_y, ::flip_x]] = colour


def target(rng: Generator, material: Material, size: Size) -> Array:
    """A chart of colour or grey patches, whole in the frame or lying on something."""
    del material
    style = rng.random()
    rows, columns = (
        (4, 6) if style < 0.5 else ((1, 20) if style < 0.65 else (int(rng.integers(2, 13)), int(rng.integers(5, 23))))
    )
    if rng.random() < 0.3:
        rows, columns = columns, rows
    card = np.full((*size, 3), rng.choice([0.1, 1.4, 0.7, 1.8]), np.float32)
    share = rng.uniform(0.0, 0.14)
    top, left = int(share * size[0] * rng.random()), int(share * size[1] * rng.random())
    h, w = size[0] - 2 * top, size[1] - 2 * left
    if rows == 1 or columns == 1:
        top, h = (int(size[0] * rng.uniform(0.1, 0.4)), int(size[0] * rng.uniform(0.2, 0.7))) if rows == 1 else (top, h)
        left, w = (
            (int(size[1] * rng.uniform(0.1, 0.4)), int(size[1] * rng.uniform(0.2, 0.7))) if columns == 1 else (left, w)
        )
        h, w = min(h, size[0] - top), min(w, size[1] - left)
    gap = rng.uniform(0, 0.2)
    grey = style > 0.5 and rng.random() < 0.5
    for row in range(rows):
        for column in range(columns):
            colour = rng.uniform(0.05, 1.6, 3)
            if grey or (style < 0.5 and row == rows - 1):
                colour = np.full(3, 0.05 + (column + row * columns) / max(1, columns * rows) * 1.9)
            y, x = top + h * row // rows, left + w * column // columns
            bottom, right = top + h * (row + 1) // rows, left + w * (column + 1) // columns
            dy, dx = int(gap * (bottom - y) / 2), int(gap * (right - x) / 2)
            card[y + dy : bottom - dy, x + dx : right - dx] = colour
    turned = rng.normal(0, 1.0)
    card = np.asarray(ndimage.rotate(card, turned, reshape=False, order=1, mode="nearest"), np.float32)
    return card + 0.006 * smooth(rng, size, 1.5)[..., None]


def unknown(rng: Generator, material: Material, size: Size) -> Array:
    """Blank sheets, empty glass, cloth, covers: nothing that the other kinds describe."""
    style = rng.random()
    if style < 0.4:
        return aged_paper(rng, size, float(rng.random())) + rng.uniform(0, 0.2)
    if style < 0.6:
        return np.asarray(rng.uniform(0.02, 1.8, 3) + 0.01 * smooth(rng, size, 2)[..., None], np.float32)
    if style < 0.8:  # cloth
        y, x = np.mgrid[0 : size[0], 0 : size[1]] * (2 * np.pi / rng.uniform(2.5, 9))
        weave = 0.1 * np.sin(x) + 0.1 * np.sin(y)
        return np.asarray(rng.uniform(0.2, 1.5, 3) + (weave + 0.1 * smooth(rng, size, 60))[..., None], np.float32)
    cover = np.asarray(rng.uniform(0.2, 1.6, 3) + 0.03 * smooth(rng, size, 3)[..., None], np.float32)
    title = text_block(rng, material.fonts, (size[0] // 6, size[1] // 2), 0.05 * size[0], justified=False, lead=1.3)
    cover[size[0] // 4 : size[0] // 4 + title.shape[0], size[1] // 4 : size[1] // 4 + title.shape[1]] -= (
        0.4 * title[..., None]
    )
    return cover


# ---- the scanner ----------------------------------------------------------------------------------------------------


def scanned(rng: Generator, density: Array) -> Array:
    """Flare, blur, cast, exposure, noise, 8 bits: the density that the program reads."""
    light = np.exp(np.float32(-np.log(10)) * np.clip(density, -0.1, 3.2, dtype=np.float32))
    size = light.shape[:2]
    flare = rng.uniform(0, 0.008)
    gain = np.asarray(np.exp(rng.normal(0, 0.05) + rng.normal(0, 0.015, 3)), np.float32)
    light = light * ((1 - flare) * gain) + (flare * light.mean((0, 1)) + rng.uniform(0, 0.003))
    if rng.random() < 0.1:
        light = np.maximum(light, 0) ** rng.uniform(0.85, 1.15)
    if rng.random() < 0.4:
        light = ndimage.gaussian_filter(light, (*(2 * (rng.uniform(0.3, 1.0),)), 0), truncate=3)
    noise = rng.uniform(0.0005, 0.006)
    own = rng.standard_normal(light.shape, np.float32) * noise
    shared = rng.standard_normal(size, np.float32)[..., None] * (noise * rng.uniform(0, 2))
    grain = rng.uniform(0, 0.03) * smooth(rng, size, 1.6)[..., None]
    light = light + (own + shared) * np.sqrt(np.abs(light) + np.float32(0.02)) - grain * light
    if rng.random() < 0.05:  # scanned in grey
        light = np.repeat((light @ LUMINANCE)[..., None], 3, axis=2)
    code = np.round(np.sqrt(np.clip(light, 0, 1)) * 255) / np.float32(255)
    return np.asarray(-2 * np.log10(np.maximum(code, np.float32(0.0316))), np.float32)


__all__ = [
    "album_page", "clipping", "document", "exposed", "negative", "on_ground", "scanned", "target", "unknown",
]  # fmt: skip

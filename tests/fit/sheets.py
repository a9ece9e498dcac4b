"""Clean originals of every kind for fitting, drawn at random: a family kept apart from the simulator that judges.

Only numpy, scipy and Pillow. Everything works in optical density, arrays (height, width, 3) float32.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont
from scipy import ndimage

Array = NDArray[np.float32]
Size = tuple[int, int]  # height, width

LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)
_CODES = np.arange(256) / 255.0
_LINEAR = np.where(_CODES <= 0.04045, _CODES / 12.92, ((_CODES + 0.055) / 1.055) ** 2.4)
CODE_DENSITY = (-np.log10(np.maximum(_LINEAR, 1e-3))).astype(np.float32)


class Material:
    """What the family draws from: photographs as 8-bit arrays, text faces, and faces drawn after handwriting."""

    def __init__(self, folder: Path) -> None:
        self.photographs: list[NDArray[np.uint8]] = []
        self.grey: list[bool] = []
        for path in sorted((folder / "photos").glob("*.jpg")):
            self.photographs.append(np.asarray(Image.open(path).convert("RGB")))
            self.grey.append(path.name.startswith("bw"))
        self.fonts = [str(path) for path in sorted((folder / "fonts").glob("*.?tf"))]
        self.hands = [str(path) for path in sorted((folder / "hands").glob("*.woff"))]


def resized(plane: Array, size: Size, how: Image.Resampling = Image.Resampling.BICUBIC) -> Array:
    """A float plane (h, w) at another size."""
    picture = Image.fromarray(np.ascontiguousarray(plane, np.float32), mode="F")
    return np.asarray(picture.resize((size[1], size[0]), how), np.float32)


def smooth(rng: Generator, size: Size, scale: float) -> Array:
    """Random field, mean 0, sd about 1, correlated over ``scale`` px."""
    rows, columns = (max(3, round(side / scale) + 2) for side in size)
    field = resized(rng.standard_normal((rows, columns), np.float32), size)
    return np.asarray((field - field.mean()) / (field.std() + 1e-6), np.float32)


def photograph(rng: Generator, material: Material, size: Size, *, grey: bool = False) -> Array:
    """Linear light of a random crop of a random photograph, mirrored at random, squeezed to ``size``."""
    index = int(rng.integers(len(material.photographs)))
    while material.grey[index] and not grey:
        index = int(rng.integers(len(material.photographs)))
    picture = material.photographs[index]
    height, width = picture.shape[:2]
    keep = rng.uniform(0.7, 1.0, 2)
    h, w = int(height * keep[0]), int(width * keep[1])
    top, left = int(rng.integers(height - h + 1)), int(rng.integers(width - w + 1))
    crop = Image.fromarray(picture[top : top + h, left : left + w])
    if rng.random() < 0.5:
        crop = crop.transpose(Image.Transpose.FLIP_LEFT_RIGHT)
    codes = np.asarray(crop.resize((size[1], size[0]), Image.Resampling.BICUBIC))
    density = CODE_DENSITY[codes]
    if grey:
        tone = -np.log10(np.maximum(np.power(10.0, -density) @ LUMINANCE, 1e-3))
        density = np.repeat(tone[..., None], 3, axis=2)
    return np.asarray(density, np.float32)


def triple(rng: Generator, low: tuple[float, float, float], high: tuple[float, float, float]) -> Array:
    """Three uniform draws."""
    return np.asarray(rng.uniform(low, high), np.float32)


def brown(rng: Generator) -> Array:
    """Colour of an organic stain: density per unit of blue."""
    green = rng.uniform(0.3, 0.72)
    return np.array([green * rng.uniform(0.2, 0.75), green, 1.0], np.float32)


def aged_paper(rng: Generator, size: Size, strength: float) -> Array:
    """Paper density with fibre, clouds, yellowing and browner edges; strength 0-1."""
    base = rng.uniform(0.03, 0.22) + np.array([0.0, 0.005, rng.uniform(0.0, 0.05)], np.float32)
    fibre = rng.uniform(0.002, 0.014)
    field = fibre * (smooth(rng, size, rng.uniform(1.5, 3)) + smooth(rng, size, rng.uniform(6, 20)))
    yellow = strength * rng.uniform(0.0, 0.5)
    rows = np.minimum(np.arange(size[0]), np.arange(size[0])[::-1])[:, None] / size[0]
    columns = np.minimum(np.arange(size[1]), np.arange(size[1])[::-1])[None, :] / size[1]
    reach = rng.uniform(0.03, 0.15)
    which = rng.random()
    distance = np.minimum(rows, columns)
    if which > 0.6:  # only two sides saw air
        distance = np.broadcast_to(rows if which < 0.8 else columns, size)
    edge = np.exp(-distance / reach) * rng.uniform(0, 1.2) * (1 + 0.3 * smooth(rng, size, max(size) / 4))
    yellow_map = yellow * (1.0 + 0.12 * smooth(rng, size, max(size) / 3) + edge)
    return np.asarray(base + field[..., None] + np.maximum(yellow_map, 0)[..., None] * brown(rng), np.float32)


# ---- lettering ------------------------------------------------------------------------------------------------------

_SYLLABLES = [
    "an",
    "ber",
    "co",
    "del",
    "es",
    "fur",
    "ga",
    "hol",
    "in",
    "jo",
    "ker",
    "lan",
    "mo",
    "ne",
    "or",
    "pel",
    "qua",
    "ri",
    "sen",
    "tor",
    "um",
    "ver",
    "wal",
    "ex",
    "yet",
    "zin",
    "the",
    "and",
    "of",
    "to",
]


def words(rng: Generator, count: int) -> list[str]:
    """Pronounceable nonsense."""
    return ["".join(rng.choice(_SYLLABLES, int(rng.integers(1, 4)))) for _ in range(count)]


def font(rng: Generator, faces: list[str], size_px: float) -> ImageFont.FreeTypeFont:
    """A random one of ``faces``."""
    return ImageFont.truetype(faces[int(rng.integers(len(faces)))], max(5, round(size_px)))


def text_block(rng: Generator, faces: list[str], size: Size, em: float, *, justified: bool, lead: float) -> Array:
    """Ink amount 0-1 (h, w) of one column of running text in a random one of ``faces``."""
    page = Image.new("L", (size[1], size[0]), 0)
    pen, face = ImageDraw.Draw(page), font(rng, faces, em)
    y, stock = 0.0, words(rng, 60)
    space = face.getlength(" ") + 1
    paragraph = int(rng.integers(3, 14))
    line = 0
    while y + em * 1.2 < size[0]:
        x, row = (em * 1.5 if line == 0 else 0.0), []
        width = x
        short = size[1] * (rng.uniform(0.2, 0.9) if line == paragraph else 1.0)
        while True:
            word = stock[int(rng.integers(len(stock)))]
            length = face.getlength(word)
            if width + length > short or len(row) > 60:
                break
            row.append((word, length))
            width += length + space
        extra = (size[1] - width + space) / max(1, len(row) - 1) if justified and line != paragraph else 0.0
        for word, length in row:
            pen.text((x, y), word, fill=255, font=face)
            x += length + space + extra
        y += em * lead
        line += 1
        if line > paragraph:
            line, paragraph = 0, int(rng.integers(3, 14))
            y += em * rng.choice([0.0, 0.6])
    return np.asarray(page, np.float32) / 255.0


def scribble(rng: Generator, size: Size, em: float, lines: int, width: float) -> Array:
    """Ink amount of invented handwriting: joined loops on lines that wander; four times oversampled strokes."""
    over = 2
    page = Image.new("L", (size[1] * over, size[0] * over), 0)
    pen = ImageDraw.Draw(page)
    slant, lead = rng.uniform(-0.2, 0.7), rng.uniform(1.8, 3.0)
    tilt = rng.normal(0, 0.02)
    for number in range(lines):
        y0 = em * (1.2 + number * lead)
        if y0 > size[0] - em:
            break
        x = rng.uniform(0, em * 2)
        end = size[1] * rng.uniform(0.5, 1.0)
        while x < end:
            letters = int(rng.integers(2, 10))
            steps = letters * 7
            phase = np.cumsum(rng.uniform(0.5, 1.3, steps))
            tall = np.repeat(rng.choice([1.0, 1.0, 1.0, 2.0, -1.1], letters), 7)
            dy = np.sin(phase) * 0.5 * em * np.abs(tall) * np.where(np.sin(phase) * np.sign(tall) > 0, 1.0, 0.5)
            xs = x + np.cumsum(rng.uniform(0.02, 0.16, steps)) * em + np.cos(phase) * 0.14 * em
            points = np.stack([(xs + slant * dy) * over, (y0 - dy + tilt * xs) * over], axis=1)
            pen.line([tuple(p) for p in points.tolist()], fill=255, width=max(1, round(width * over)), joint="curve")
            x = float(xs[-1]) + em * rng.uniform(0.4, 1.0)
    return np.asarray(page.resize((size[1], size[0]), Image.Resampling.BOX), np.float32) / 255.0


def handwriting(rng: Generator, material: Material, size: Size, em: float, lines: int, width: float) -> Array:
    """Ink amount of ``lines`` lines by hand: every other time loops, else words in a face drawn after a hand."""
    if rng.random() < 0.5:
        return scribble(rng, size, em, lines, width)
    body = em * rng.uniform(1.4, 2.2)  # of such faces the small letters are about a third high
    lead = rng.uniform(0.9, 1.6)
    tall = min(size[0], round((lines * lead + 0.6) * body))
    block = np.zeros(size, np.float32)
    block[:tall] = text_block(rng, material.hands, (tall, size[1]), body, justified=False, lead=lead)
    return block


def ink_colour(rng: Generator) -> Array:
    """Density of a full stroke of writing or typing: black, blue-black, blue, brown, red, violet, grey pencil."""
    choice = rng.random()
    if choice < 0.35:
        return np.full(3, rng.uniform(0.6, 1.4), np.float32)
    if choice < 0.6:
        return triple(rng, (0.7, 0.5, 0.2), (1.4, 0.9, 0.5))
    if choice < 0.75:
        return triple(rng, (0.3, 0.5, 0.7), (0.7, 0.9, 1.2))
    if choice < 0.82:
        return triple(rng, (0.05, 0.6, 0.5), (0.2, 1.2, 1.1))
    return np.full(3, rng.uniform(0.12, 0.5), np.float32)


# ---- photographs on paper -------------------------------------------------------------------------------------------


def exposed(rng: Generator, density: Array) -> Array:
    """Another camera and printer: exposure, contrast and a shoulder; density above base."""
    out = density * rng.uniform(0.75, 1.3) + rng.normal(0, 0.08)
    top = rng.uniform(1.5, 2.3)
    x = np.maximum(out, 0.0) / top
    square = x * x
    return np.asarray(top * x / np.sqrt(np.sqrt(1 + square * square)), np.float32)


def bordered(rng: Generator, image: Array, base: Array, width: float | None = None) -> Array:
    """White border of the print, sometimes uneven, sometimes only on some sides."""
    share = rng.uniform(0.01, 0.08) if width is None else width
    h, w = image.shape[:2]
    sides = np.maximum(0, (share * w * rng.uniform(0.85, 1.15, 4))).astype(int)
    if rng.random() < 0.15:
        sides[int(rng.integers(4))] *= int(rng.integers(2, 5))  # room for writing
    out = np.empty_like(image)
    out[:] = base
    top, right, bottom, left = (int(min(v, 0.3 * side)) for v, side in zip(sides, (h, w, h, w), strict=True))
    inner = (h - top - bottom, w - left - right)
    out[top : h - bottom, left : w - right] = np.dstack([resized(image[..., c], inner) for c in range(3)])
    if rng.random() < 0.15:
        cv_line = int(rng.integers(1, 3))
        out[top - cv_line : top, left : w - right] += rng.uniform(0.2, 1.0)
    return out


def colour_print(rng: Generator, material: Material, size: Size) -> Array:
    """Chromogenic print, unfaded to badly faded, with or without border."""
    image = exposed(rng, photograph(rng, material, size))
    severity = rng.choice([0.0, 0.3, 0.6, 1.0])
    share = 1 - severity * triple(rng, (0, 0, 0), (0.75, 0.55, 0.45))
    mix = np.eye(3, dtype=np.float32) + rng.uniform(0, 0.12, (3, 3)).astype(np.float32) * (
        1 - np.eye(3, dtype=np.float32)
    )
    mix /= mix.sum(1, keepdims=True)
    base = rng.uniform(0.04, 0.14) + severity * brown(rng) * rng.uniform(0, 0.3)
    image = (image @ np.linalg.inv(mix).T.astype(np.float32) * share) @ mix.T
    if rng.random() < 0.1:  # a saturated or dull maker
        grey = image.mean(2, keepdims=True)
        image = grey + (image - grey) * rng.uniform(0.5, 1.3)
    image = np.maximum(image, 0) + base
    if severity and rng.random() < 0.5:
        image = image + smooth(rng, size, max(size) / 2.5)[..., None] * brown(rng) * 0.03 * severity
    return bordered(rng, image, np.asarray(base, np.float32)) if rng.random() < 0.5 else np.asarray(image, np.float32)


def silver_print(rng: Generator, material: Material, size: Size, *, toned: bool | None = None) -> Array:
    """Silver print: neutral, warm, browned, mirrored, toned; with or without border."""
    subject = photograph(rng, material, size, grey=True)[..., 0]
    return _silver_print(rng, subject, np.zeros(3, np.float32), toned=toned)


def _silver_print(rng: Generator, subject: Array, washes: Array, *, toned: bool | None) -> Array:
    """The same of a subject (h, w) in density, with washes of colour (h, w, 3) over the picture and not the border."""
    size = (subject.shape[0], subject.shape[1])
    tone = exposed(rng, subject)
    faded = rng.choice([0.0, 0.3, 0.7, 1.0])
    deliberate = rng.random() < 0.12 if toned is None else toned
    if deliberate:
        colour = (
            triple(rng, (0.55, 0.95, 1.2), (0.85, 1.05, 1.7))
            if rng.random() < 0.7
            else triple(rng, (1.2, 0.8, 0.4), (1.6, 1.0, 0.6))
        )
    else:
        colour = np.array([1.0, 1 + rng.normal(0.01, 0.012), 1 + rng.normal(0.03, 0.04)], np.float32)
    loss = faded * rng.uniform(0, 0.7) * np.exp(-tone / rng.uniform(0.4, 1.5))
    rest = tone * (1 - loss)
    colloid = (tone * loss * rng.uniform(0, 0.7))[..., None] * np.array([0.5, 0.85, 1.4], np.float32)
    yellow = faded * rng.uniform(0, 0.35)
    rows = np.minimum(np.arange(size[0]), np.arange(size[0])[::-1])[:, None] / size[0]
    columns = np.minimum(np.arange(size[1]), np.arange(size[1])[::-1])[None, :] / size[1]
    at_edge = np.exp(-np.minimum(rows, columns) / rng.uniform(0.02, 0.15)) * rng.uniform(0, 1.5)
    field = np.maximum(yellow * (1 + at_edge + 0.15 * smooth(rng, size, max(size) / 3)), 0)[..., None] * brown(rng)
    base = rng.uniform(0.04, 0.12) + np.array([0, 0.0, rng.uniform(0, 0.03)], np.float32)
    image = np.asarray(rest[..., None] * colour + colloid + washes, np.float32)
    if rng.random() < 0.5:
        image = bordered(rng, image, np.zeros(3, np.float32))
    image = image + base + field
    if faded and rng.random() < 0.3:
        silvering = rng.uniform(0.02, 0.12) * at_edge * np.clip(tone / 1.5, 0, 1) ** 2
        image = image - silvering[..., None] * np.array([0.8, 1.0, 1.3], np.float32)
    return np.asarray(image, np.float32)


def hand_coloured(rng: Generator, material: Material, size: Size) -> Array:
    """A silver print with washes of colour: those of its subject, flat and not quite in place, or any, anywhere."""
    colours = photograph(rng, material, size)
    subject = -np.log10(np.maximum(np.power(10.0, -colours) @ LUMINANCE, 1e-3))
    washes = _any_washes(rng, size) if rng.random() < 0.3 else _washes_of(rng, colours)
    return _silver_print(rng, np.asarray(subject, np.float32), washes, toned=False)


def _any_washes(rng: Generator, size: Size) -> Array:
    washes = np.zeros((*size, 3), np.float32)
    for _ in range(int(rng.integers(2, 5))):
        where = (smooth(rng, size, rng.uniform(0.1, 0.4) * max(size)) > rng.uniform(0, 1.0)).astype(np.float32)
        one = ndimage.gaussian_filter(where, 4) * rng.uniform(0.05, 0.5)
        washes += one[..., None] * triple(rng, (0, 0, 0), (1, 1, 1))
    return washes


def _washes_of(rng: Generator, colours: Array) -> Array:
    """The subject's own colours (h, w, 3) in density, blurred, shifted, and most times one tint for each hue."""
    size = (colours.shape[0], colours.shape[1])
    blur = rng.uniform(0.002, 0.03) * max(size)
    soft = ndimage.gaussian_filter(colours, (blur, blur, 0))
    washes = soft - soft.min(axis=2, keepdims=True)
    if rng.random() < 0.6:
        washes = _flat(rng, washes, size)
    down, right = (int(step) for step in rng.integers(-8, 9, 2))
    return np.asarray(
        np.exp(rng.uniform(np.log(0.2), np.log(1.1))) * np.roll(washes, (down, right), (0, 1)), np.float32
    )


def _flat(rng: Generator, wash: Array, size: Size) -> Array:
    """One tint for all that has nearly the same hue; some of it left uncoloured."""
    around = np.arctan2(np.sqrt(3) * (wash[..., 1] - wash[..., 2]), 2 * wash[..., 0] - wash[..., 1] - wash[..., 2])
    count = int(rng.integers(3, 8))
    hue = np.floor((around / (2 * np.pi) + rng.random()) % 1.0 * count)
    worth = wash.max(axis=2) > rng.uniform(0.02, 0.12)
    out = np.zeros((*size, 3), np.float32)
    for number in range(count):
        where = worth & (hue == number)
        if where.sum() < 30 or rng.random() < 0.25:
            continue
        tint = wash[where].mean(axis=0) * triple(rng, (0.7, 0.7, 0.7), (1.4, 1.4, 1.4))
        out += ndimage.gaussian_filter(where.astype(np.float32), rng.uniform(1, 6))[..., None] * tint
    return out

"""The sample scans one by one: what lies on the glass and how it has fared."""

from dataclasses import replace

import numpy as np
from numpy.random import Generator

from . import colour_print, handwriting, lettering, negative, newsprint, scanner, silver_print, village
from .pictures import photo
from .sheet import Placing, black_card, corners, glass, lay, mount_board, pad
from .spectra import DYE_SETS, SENSORS
from .staging import Scan, Truth, cut_out, in_holder, on_glass, scanned, shape_of, whole
from .target import card
from .tone import Image, density, luminance, reflectance


def faded_print(rng: Generator) -> Scan:
    """Colour print with a white border, faded in the dark until more than half of the cyan is gone."""
    picture = pad(photo("market_stall", (800, 570), (0.5, 1.0)), 34, 34, 34, 34)
    how = replace(
        colour_print.sample(rng, "severe"), dyes=DYE_SETS[0], sensor=SENSORS[2], dark_share=(0.42, 0.72, 0.80),
        light_dose=(0.02, 0.08, 0.05), density_max=2.05, stain=0.15,
    )  # fmt: skip
    fresh, now = colour_print.print_of(picture, how)
    return on_glass(rng, (1000, 780), fresh, scanner.grain(now, rng, 0.028), 0.9)


def pencilled_back(rng: Generator) -> Scan:
    """The back of that print: resin-coated paper, yellowed a little, with a note in soft pencil."""
    shape = (638, 868)
    rows = [(120.0, 210.0 + 74.0 * n, text) for n, text in enumerate(village.PENCILLED)]
    strokes = lettering.hand(rng, shape, lettering.PENCIL, 58.0, rows)
    paper = handwriting.writing_paper(rng, shape, (0.055, 0.060, 0.075))
    graphite = handwriting.pencil(strokes, replace(handwriting.sample_pencil(rng, "mild"), pressure=0.42))
    fresh = reflectance(paper + graphite)
    now = reflectance(paper + graphite + np.array([0.01, 0.03, 0.08], np.float32))
    return on_glass(rng, (1000, 780), fresh, now, -1.2)


def badly_faded_print(rng: Generator) -> Scan:
    """Colour print that hung in the light: pale lights, magenta going, a yellow border. Scanned to its edge."""
    picture = pad(photo("lake_valley", (900, 660), (0.5, 0.4)), 36, 36, 36, 36)
    how = replace(
        colour_print.sample(rng, "severe"), dyes=DYE_SETS[1], sensor=SENSORS[1], dark_share=(0.42, 0.72, 0.74),
        light_dose=(0.15, 0.45, 0.30), density_max=1.9, stain=0.22,
    )  # fmt: skip
    fresh, now = colour_print.print_of(picture, how)
    return whole(rng, fresh, scanner.grain(now, rng, 0.018))


def unfaded_print(rng: Generator) -> Scan:
    """Colour print of a few years ago, without border, as good as new."""
    how = replace(colour_print.sample(rng, "unfaded"), dyes=DYE_SETS[2], sensor=SENSORS[1], density_max=2.2)
    fresh, now = colour_print.print_of(photo("cat", (900, 600)), how)
    return whole(rng, fresh, scanner.grain(now, rng, 0.006))


def turned_print(rng: Generator) -> Scan:
    """Slightly faded print, saved sideways with an orientation tag."""
    how = replace(colour_print.sample(rng, "mild"), dyes=DYE_SETS[3], density_max=2.1)
    fresh, now = colour_print.print_of(pad(photo("campfire", (860, 640)), 20, 20, 20, 20), how)
    return whole(rng, fresh, scanner.grain(now, rng, 0.010))


def wide_gamut_print(rng: Generator) -> Scan:
    """Deep blue flowers, some outside sRGB, kept at 16 bits in a wide space; scarcely aged."""
    how = replace(colour_print.sample(rng, "mild"), dyes=DYE_SETS[2], sensor=SENSORS[0], density_max=2.3)
    fresh, now = colour_print.print_of(photo("forget_me_nots", (600, 400)), how)
    scan = whole(rng, _deeper(fresh), now)
    return replace(scan, light=_deeper(scan.light))


def _deeper(light: Image) -> Image:
    """Colours 1.6 times as far from grey, so that the strongest leave sRGB (deliberately not clipped)."""
    return (luminance(light)[..., None] + 1.6 * (light - luminance(light)[..., None])).astype(np.float32)


def faded_silver_print(rng: Generator) -> Scan:
    """Silver print with a border, its lights gone brown and pale."""
    picture = pad(photo("chapel", (600, 800)), 30, 30, 30, 30)
    how = replace(silver_print.sample(rng, "medium"), loss=0.45, fineness=1.3, yellowing=0.17, edge=0.5, reach_px=60.0)
    fresh, now = silver_print.print_of(picture, how)
    return on_glass(rng, (760, 960), fresh, scanner.grain(now, rng, 0.015, chroma=0.0), -0.7)


def mounted_silver_print(rng: Generator) -> Scan:
    """Silver print yellowed from its edges, pasted on a cream mount with a line in ink."""
    how = replace(silver_print.sample(rng, "medium"), loss=0.35, fineness=1.0, yellowing=0.14, edge=2.2, reach_px=70.0)
    fresh, now = silver_print.print_of(photo("plank_house", (860, 640)), how)
    shape = (960, 1180)
    mount = mount_board(rng, shape)
    words = [(390.0, 880.0, village.ON_THE_MOUNT)]
    ink = handwriting.pen(lettering.hand(rng, shape, lettering.PEN, 46.0, words), handwriting.sample_pen(rng, "mild"))
    placing = Placing((590.0, 430.0), 0.4, shadow=0.35)
    scene = lay(mount * reflectance(ink), scanner.grain(now, rng, 0.012, chroma=0.0), placing)
    return scanned(rng, scene, (Truth("", fresh, corners(shape_of(now), placing)),))


def sepia_print(rng: Generator) -> Scan:
    """Portrait of a house, toned on purpose and in perfect order."""
    fresh = silver_print.sepia_toned(pad(photo("turret_house", (540, 700)), 24, 24, 24, 24))
    return whole(rng, fresh, scanner.grain(fresh, rng, 0.008, chroma=0.0))


def black_and_white_negative(rng: Generator) -> Scan:
    """Medium-format negative on the light table of the scanner, with its clear rebate, in the black holder."""
    picture = photo("flooded_house", (720, 720))
    film = replace(negative.sample_black_and_white(rng, "mild"), contrast=(0.68, 0.68, 0.68))
    return in_holder(rng, picture, film, 30, (820, 820))


def colour_negative(rng: Generator) -> Scan:
    """Masked colour negative, a little faded."""
    picture = photo("mountain_lake", (960, 640))
    return in_holder(rng, picture, negative.sample_colour(rng, "mild"), 34, (1080, 760))


def clipping(rng: Generator) -> Scan:
    """Two columns cut from a newspaper, browned, folded once, mended with tape."""
    shape = (1110, 900)
    ink = np.zeros(shape, np.float32)
    ink = lettering.rule(ink, 40, 30, 820, 4)
    for n, text in enumerate(village.CLIPPING_HEAD):
        ink = lettering.line(ink, text, lettering.SERIF_BOLD, 66.0, 450, 105 + 70 * n, "ms")
    ink = lettering.line(ink, village.CLIPPING_DECK, lettering.SERIF, 32.0, 450, 232, "ms")
    ink = lettering.rule(ink, 350, 256, 200, 2)
    ink, rest = lettering.column(ink, village.CLIPPING_BODY, lettering.SERIF, 27.0, (40, 285, 396, 775))
    ink, _ = lettering.column(ink, rest, lettering.SERIF, 27.0, (464, 285, 396, 775))
    other, _ = lettering.column(
        np.zeros(shape, np.float32),
        "\n".join([village.OTHER_SIDE] * 3),
        lettering.SERIF_BOLD,
        34.0,
        (30, 20, 820, 1060),
    )
    how = replace(
        newsprint.sample(rng, "severe", shape), lignin=0.40, edge=0.6, reach_px=80.0, show_through=0.07, foxing=10,
        tide_px=0.0, tape_boxes=((-10, 640, 920, 84),), folds=(0.44,),
    )  # fmt: skip
    fresh, now = newsprint.page_of(ink, other, how)
    return cut_out(rng, (1010, 1220), fresh, now, 0.6)


def halftone_picture(rng: Generator) -> Scan:
    """A newspaper picture printed in dots of 60 to the inch, with its caption."""
    shape = (920, 940)
    ink = np.zeros(shape, np.float32)
    ink = lettering.line(ink, village.SHOW_HEAD, lettering.SERIF_BOLD, 52.0, 470, 74, "ms")
    ink[105:601, 40:900] = newsprint.halftone(luminance(photo("pumpkins", (860, 496))), 5.0)
    ink = lettering.line(ink, village.SHOW_CAPTION, lettering.SERIF, 26.0, 470, 636, "ms")
    ink, rest = lettering.column(ink, village.SHOW_BODY, lettering.SERIF, 27.0, (40, 660, 416, 226))
    ink, _ = lettering.column(ink, rest, lettering.SERIF, 27.0, (484, 660, 416, 226))
    other, _ = lettering.column(
        np.zeros(shape, np.float32), "\n".join([village.OTHER_SIDE] * 2), lettering.SERIF, 30.0, (30, 20, 880, 880)
    )
    how = replace(newsprint.sample(rng, "medium", shape), lignin=0.2, tape_boxes=(), folds=(), tide_px=0.0, foxing=4)
    fresh, now = newsprint.page_of(ink, other, how)
    return cut_out(rng, (1020, 1000), fresh, now, -0.8)


def letter(rng: Generator) -> Scan:
    """A letter in blue-black ink that has paled and browned, on cream paper folded twice."""
    shape = (1260, 960)
    rows = [(430.0 if n < 2 else 90.0, 120.0 + 56.0 * n, text) for n, text in enumerate(village.LETTER)]
    strokes = lettering.hand(rng, shape, lettering.PEN, 44.0, [row for row in rows if row[2]])
    paper = handwriting.writing_paper(rng, shape, (0.07, 0.09, 0.14))
    pen = handwriting.sample_pen(rng, "medium")
    fresh = reflectance(paper + handwriting.pen(strokes, replace(pen, faded=0.0, browned=0.0)))
    aged = handwriting.pen(strokes, pen)
    sheet = replace(
        newsprint.sample(rng, "mild", shape),
        lignin=0.10,
        edge=1.2,
        fibre=0.003,
        show_through=0.0,
        folds=(0.34, 0.67),
        foxing=14,
    )
    _, stained = newsprint.page_of(
        np.zeros(shape, np.float32), np.zeros(shape, np.float32), sheet, paper=(0.0, 0.0, 0.0)
    )
    return on_glass(rng, (1060, 1360), fresh, reflectance(paper + aged + density(stained)), -0.5)


def album_page(rng: Generator) -> Scan:
    """Four small silver prints on black card, each a little turned, faded alike since they aged together."""
    scene = black_card(rng, (1000, 1340))
    names = ("pigs", "flooded_fields", "packhorses", "engine")
    centres = ((355.0, 265.0), (985.0, 255.0), (345.0, 735.0), (990.0, 740.0))
    turns = (-2.1, 1.4, 1.0, -1.6)
    base = silver_print.sample(rng, "medium")
    truths = []
    for index, (name, centre, degrees) in enumerate(zip(names, centres, turns, strict=True)):
        size = (430, 430) if name == "engine" else (510, 350)
        how = replace(base, loss=0.42, fineness=1.2, yellowing=0.12, edge=0.5, reach_px=35.0, seed=base.seed + index)
        fresh, now = silver_print.print_of(pad(photo(name, size), 16, 16, 16, 16), how)
        placing = Placing(centre, degrees, shadow=0.5)
        scene = lay(scene, scanner.grain(now, rng, 0.015, chroma=0.0), placing)
        truths.append(Truth("abcd"[index], fresh, corners(shape_of(now), placing)))
    return scanned(rng, scene, tuple(truths))


def colour_target(rng: Generator) -> Scan:
    """The 24-patch target, scanned like everything else."""
    picture = card(120, 22)
    device = replace(scanner.sample(rng), flare=0.003, gain=(0.975, 0.995, 0.945), gamma=1.015, shot_noise=0.004)
    placing = Placing((480.0, 330.0), 0.4)
    scene = lay(glass(rng, (660, 950)), np.clip(picture, 0.0, 1.0), placing)
    return Scan(scanner.scan(scene, device), (Truth("", picture, corners(shape_of(picture), placing)),))


def spoilt_print(rng: Generator) -> Scan:
    """A print whose file broke off while it was being copied."""
    how = colour_print.sample(rng, "mild")
    fresh, now = colour_print.print_of(photo("coffee", (720, 480)), how)
    return replace(whole(rng, fresh, now), truths=())

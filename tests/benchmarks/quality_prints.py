"""Figures of prints and labels, each against something outside the program.

    python tests/benchmarks/quality_prints.py

Sizes on paper are read back with pypdf and tifffile, codes with ZXing and OpenCV from PDFium's rendering, widths from
the ink that PDFium draws, tones against the recipe in float64.
"""

from __future__ import annotations

import random
import sys
import tempfile
from pathlib import Path

import cv2
import numpy as np
import pyvips
import tifffile
import zxingcpp
from PIL import Image, ImageDraw
from scipy.ndimage import gaussian_filter

sys.path.insert(0, str(Path(__file__).parents[1]))
from copies_collection import STEPS, add_original, an_original, scene, write_manifest, write_scan
from copies_words import WORDS, a_title, rendered
from test_copies_frame import placed, true_size
from test_copies_print_pixels import a_recipe, float64_steps

from surrogate.copies import print_sharpening
from surrogate.copies.collection_reading import Shown
from surrogate.copies.contact_sheet import contact_sheet_pdf
from surrogate.copies.frame import frame
from surrogate.copies.label_sheets import label_sheet
from surrogate.copies.labels import labels_pdf
from surrogate.copies.print_pixels import write_print
from surrogate.copies.sizes import parse_size
from surrogate.intake.returned import numbers_on
from surrogate.records import Location

FRAMES_IN = [(5, 7), (6, 8), (8, 10), (8, 12), (11, 14), (12, 16), (16, 20)]
FRAMES_MM = [(130, 180), (150, 200), (200, 250), (210, 297), (240, 300), (300, 400)]


def sizes(count: int = 50) -> None:
    """Random frames and originals: what the paper measures against what was promised."""
    numbers = random.Random(11)
    worst_tiff = worst_pdf = worst_overlap = 0.0
    whole = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for number in range(count):
            shape = numbers.choice([(720, 960), (960, 720), (800, 800), (700, 1050), (1500, 600)])
            ppi = numbers.choice([150, 200, 300])
            original = add_original(folder, "2026.001.0001", scene(*shape, number), ppi=ppi)
            write_manifest(folder, [original])
            unit, table = numbers.choice([("in", FRAMES_IN), ("mm", FRAMES_MM)])
            short, long = numbers.choice(table)
            opening = (
                f"{short * 0.7:.2f}x{long * 0.75:.2f}{unit}" if numbers.random() < 0.5 and shape[0] < 1500 else None
            )
            (made,) = frame(folder, ["2026.001.0001"], frame=f"{short}x{long}{unit}", opening=opening, ppi=200).frames
            tiff, pdf = true_size(folder / made.file), placed(folder / made.pdf, 0)
            worst_tiff = max(worst_tiff, *(abs(a - b) for a, b in zip(tiff, made.print_mm, strict=True)))
            worst_pdf = max(worst_pdf, *(abs(a - b) for a, b in zip(pdf, made.print_mm, strict=True)))
            beyond = [(a - b) / 2 - made.overlap_mm for a, b in zip(made.print_mm, made.opening_mm, strict=True)]
            worst_overlap = max(worst_overlap, *map(abs, beyond))
            pixels = tifffile.imread(folder / made.file)
            ink = ~(pixels == 255).all(axis=-1)
            height, width = np.flatnonzero(ink.any(axis=1)).size, np.flatnonzero(ink.any(axis=0)).size
            whole += abs(width / height * shape[1] / shape[0] - 1) < 0.02
    print(f"size on paper, {count} frames: TIFF off by {worst_tiff:.3f} mm at most, PDF by {worst_pdf:.4f} mm")
    print(
        f"overlap on every side off by {worst_overlap:.4f} mm at most; whole picture on the print: {whole} of {count}"
    )


def codes(count: int = 100) -> None:
    """Labels at 300 ppi in grey, tilted by 3 degrees and blurred, as a hand-held scan would see them."""
    numbers = random.Random(5)
    layout = label_sheet("5x13", parse_size("a4"))
    read = {"ZXing": 0, "OpenCV": 0}
    references = [f"{numbers.randint(1900, 2030)}.{numbers.randint(1, 999):03}.{number:04}" for number in range(count)]
    originals = [an_original(reference, title="Regatta on the lake", date="1954") for reference in references]
    pdf = labels_pdf([Shown(each) for each in originals], layout)
    places = list(layout.places())
    scale = 300 / 25.4
    for number, reference in enumerate(references):
        if number % len(places) == 0:
            page = rendered(pdf, number // len(places), 300)
        x, y = places[number % len(places)]
        label = page[round(y * scale) :, round(x * scale) :]
        label = label[: round(layout.height * scale), : round(layout.width * scale)]
        label = np.pad(label, 30, constant_values=255)
        tilted = Image.fromarray(label).rotate(3, resample=Image.Resampling.BICUBIC, fillcolor=255)
        seen = cv2.GaussianBlur(np.asarray(tilted), (0, 0), 1.2)
        read["ZXing"] += [code.text for code in zxingcpp.read_barcodes(seen)] == [reference]
        read["OpenCV"] += cv2.QRCodeDetector().detectAndDecode(seen)[0] == reference
    found = ", ".join(f"{name} {number}" for name, number in read.items())
    print(f"codes of 14 mm at 300 ppi, tilted 3 degrees, blurred 1.2 px, read of {count}: {found}")


def returned(count: int = 100) -> None:
    """Contact sheets as they come back: scanned at 150 to 300 ppi, up to 5 degrees askew, any way up, blurred, unevenly
    lit, saved as poor JPEG, with a line of writing near the code; then reduced as ``process`` does.
    """
    numbers = random.Random(8)
    noise = np.random.default_rng(8)
    read = 0
    for number in range(count):
        references = [f"{numbers.randint(1900, 2030)}.{numbers.randint(1, 999):03}.{each:04}" for each in range(6)]
        chosen = [Shown(an_original(reference)) for reference in references]
        pdf = contact_sheet_pdf(Path(), chosen, parse_size("a4"), "Lindqvist family")
        page = Image.fromarray(rendered(pdf, 0, numbers.choice([150, 200, 300])))
        ImageDraw.Draw(page).line(
            [(page.width * 0.2, page.height * 0.15), (page.width * 0.8, page.height * 0.13)], 60, 4
        )
        askew = page.rotate(numbers.uniform(-5, 5), Image.Resampling.BICUBIC, expand=True, fillcolor=225)
        seen = cv2.GaussianBlur(
            np.rot90(np.asarray(askew), number % 4).astype(np.float32), (0, 0), numbers.uniform(0.5, 1.5)
        )
        light = np.linspace(1.0, numbers.uniform(0.7, 1.0), seen.shape[1])
        lit = np.clip(seen * light + noise.normal(0, 3, seen.shape), 0, 255).astype(np.uint8)
        _, jpeg = cv2.imencode(".jpg", lit, [cv2.IMWRITE_JPEG_QUALITY, 50])
        scan = cv2.imdecode(jpeg, cv2.IMREAD_GRAYSCALE)
        factor = min(1.0, 2048 / max(scan.shape))
        read += numbers_on(cv2.resize(scan, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)) == tuple(
            references
        )
    print(f"contact sheets that came back, read of {count}: {read}")


def overflow(count: int = 500) -> None:
    """Random titles in every script: labels with ink in the outermost millimetre."""
    numbers = random.Random(9)
    scripts = sorted(WORDS)
    over = 0
    done = 0
    for name, paper in (("3x8", "a4"), ("5x13", "a4"), ("3x10", "letter"), ("2x4", "a4")):
        layout = label_sheet(name, parse_size(paper))
        wanted = count // 4
        originals = [
            an_original(
                f"2026.001.{number:04}",
                title=a_title(numbers, scripts[number % len(scripts)], numbers.randint(0, 60)),
                caption=a_title(numbers, numbers.choice(scripts), numbers.randint(0, 80)),
                date=numbers.choice(["1954", "1931~", "1940/1945", ""]),
                location=Location(box="3", folder="12", enclosure="polyester sleeve in an acid-free envelope"),
            )
            for number in range(wanted)
        ]
        pdf = labels_pdf([Shown(each) for each in originals], layout)
        places = list(layout.places())
        for number in range(wanted):
            if number % len(places) == 0:
                page = rendered(pdf, number // len(places), 150)
            x, y = places[number % len(places)]
            scale = 150 / 25.4
            label = page[round(y * scale) :, round(x * scale) :]
            label = label[: round(layout.height * scale), : round(layout.width * scale)] < 200
            edge = round(scale)
            over += bool(label.sum() != label[edge:-edge, edge:-edge].sum())
            done += 1
    print(f"labels with ink in their outermost millimetre, {done} titles in {len(scripts)} scripts: {over}")


def tones() -> None:
    """The whole way of a print against recipe and sharpening in float64, from scans of 8 and 16 bits."""
    for bits in (8, 16):
        pixels = scene(500, 700)
        if bits == 16:
            low = np.random.default_rng(6).integers(0, 256, pixels.shape, np.uint16)
            pixels = (pixels.astype(np.uint16) << 8) | low
        exact = 255 * float64_steps(STEPS, pixels / ((1 << bits) - 1))
        for radius in (None, 1.0):
            with tempfile.TemporaryDirectory() as name:
                folder = Path(name)
                write_scan(folder / "master.tif", pixels, 300)
                recipe = a_recipe((500, 700), steps=STEPS, sharpen_radius_px=radius)
                write_print(folder / "master.tif", recipe, folder / "print.tif")
                found = tifffile.imread(folder / "print.tif")
            error = np.abs(found - (exact if radius is None else float64_sharpened(exact, radius)))
            words = f"{bits}-bit scan, " + ("recipe and sharpening" if radius else "recipe")
            print(f"print against float64, {words}: {error.max():.2f} codes at most, {error.mean():.3f} on average")


def float64_sharpened(codes: np.ndarray, radius: float) -> np.ndarray:
    """Output sharpening by its definition: a share of BT.709 luma less its Gaussian mean is added to each channel."""
    luma = codes @ [0.2126, 0.7152, 0.0722]
    mean = gaussian_filter(luma, radius, mode="nearest", truncate=4)
    return np.clip(codes + print_sharpening.AMOUNT * (luma - mean)[..., None], 0, 255)


def contrast() -> None:
    """Contrast of lines on the print over that on the scan, reduced from 600 to 300 ppi."""
    slant = [(9.0, 2.0), (790.0, 7.0), (785.0, 795.0), (4.0, 790.0)]
    print("lines per mm on the print    0.15 of Nyquist   0.3   0.5   0.7")
    for name, outline in (
        ("straight", None),
        ("straightened", slant),
    ):
        for radius in (None, 1.0):
            row = []
            for share in (0.15, 0.3, 0.5, 0.7):
                x = np.arange(800) * np.pi * share / 2
                lines = np.broadcast_to(128 + 40 * np.sin(x)[None, :, None], (800, 800, 3)).astype(np.uint8)
                with tempfile.TemporaryDirectory() as folder:
                    write_scan(Path(folder) / "master.tif", np.ascontiguousarray(lines), 600)
                    recipe = a_recipe(
                        (400, 400) if outline is None else (391, 394), outline=outline, sharpen_radius_px=radius
                    )
                    write_print(Path(folder) / "master.tif", recipe, Path(folder) / "print.tif")
                    made = pyvips.Image.new_from_file(str(Path(folder) / "print.tif")).numpy()
                row.append(made[60:-60, 60:-60, 1].std() / (40 / np.sqrt(2)))
            words = f"{name}, {'sharpened' if radius else 'not sharpened'}"
            print(f"{words:<32}" + "".join(f"{value:>8.2f}" for value in row))


def main() -> None:
    """Print every figure."""
    print(f"sharpening: radius {print_sharpening.RADIUS_MM:.4f} mm, amount {print_sharpening.AMOUNT}")
    sizes()
    codes()
    returned()
    overflow()
    tones()
    contrast()


if __name__ == "__main__":
    main()

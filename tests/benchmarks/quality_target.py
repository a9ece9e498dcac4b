"""Figures of `target` on rendered scans with known errors, and on photographs taken for a target.

python -m tests.benchmarks.quality_target [count]     (SURROGATE_PHOTOGRAPHS adds the photographs)
"""

from __future__ import annotations

import csv
import os
import sys
import tempfile
from pathlib import Path

import cv2
import numpy as np
from skimage.color import deltaE_ciede2000

sys.path.insert(0, str(Path(__file__).parents[2]))

from surrogate.condition import scanner_profile
from surrogate.condition.chart_find import find_chart
from surrogate.condition.chart_values import EDITIONS, stars
from surrogate.condition.target import target, wedge
from surrogate.condition.wedge import find_wedge
from surrogate.errors import ScanSetAside
from surrogate.imaging.density import to_density
from surrogate.imaging.read import read_reduced
from tests.simulate.colorimetry import lab_to_linear_srgb, linear_srgb_to_lab
from tests.simulate.device import any_device
from tests.simulate.target_scans import render, render_wedge
from tests.simulate.tone import decode_srgb

#: Photographs that are looked at, and simulated scanners that a profile is made for.
PHOTOGRAPHS, DEVICES = 200, 60


def main() -> None:
    """Print one line a figure."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    truth = np.array(EDITIONS["after-2014"])
    rows, small = [], 0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "scan.tif"
        for seed in range(count):
            made = render(path, np.random.default_rng(1000 + seed), error=(0.3, 1.0, 2.0)[seed % 3])
            true = {
                "delta_e_2000_mean": float(deltaE_ciede2000(made.lab, truth).mean()),
                "oecf_delta_l": float(np.abs(made.lab - truth)[18:, 0].max()),
                "white_balance": float(np.hypot(*(made.lab - truth)[18:, 1:].T).max()),
                "noise_sd_l": made.noise_sd_l,
            }
            try:
                figures = target(path).figures
            except ScanSetAside:
                print(f"seed {1000 + seed}: not found")
                continue
            rows.append(
                [abs(figures.get(k, np.nan) - v) / (v if k == "noise_sd_l" else 1) for k, v in true.items()]
                + [float(stars(figures) == stars(true))]
            )
        for seed in range(count):
            render(path, np.random.default_rng(5000 + seed), share=0.05, noise=1.0)
            small += find_chart(read_reduced(path, 1600).pixels, truth) is not None
    errors = np.array(rows)
    print(f"found, 5-45 % of the frame, any rotation: {len(rows)} of {count};  at 5 %: {small} of {count}")
    for column, (name, limit) in enumerate(
        (("mean CIEDE2000", 0.1), ("lightness", 0.2), ("white balance", 0.2), ("noise (share)", 0.05))
    ):
        values = errors[:, column]
        print(
            f"{name}: largest error {np.nanmax(values):.3f}, within {limit}: {(values <= limit).sum()} of {len(rows)}"
        )
    print(f"FADGI level right: {int(errors[:, 4].sum())} of {len(rows)}")
    wedges, off = 0, []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "wedge.tif"
        for seed in range(count):
            generator = np.random.default_rng(9000 + seed)
            lift, upright = float(generator.normal(0, 2)), int(generator.integers(2))
            degrees = float(generator.uniform(-20, 20)) + 180 * upright
            render_wedge(path, degrees, lift, step=int(generator.integers(24, 52)))
            try:
                off.append(abs(wedge(path).figures["oecf_delta_l"] - abs(lift)))
                wedges += 1
            except ScanSetAside:
                continue
    print(f"grey wedge: found {wedges} of {count}, tone within 0.3: {sum(e <= 0.3 for e in off)} of {count}")
    profiles(truth)
    photographs = os.environ.get("SURROGATE_PHOTOGRAPHS")
    if photographs:
        false_finds(Path(photographs), truth)
    else:
        print("false finds: skipped, SURROGATE_PHOTOGRAPHS is not set")


def profiles(truth: np.ndarray) -> None:
    """How far 4,500 colours that are not the card's are off, as sRGB and through a profile made from the card."""
    generator = np.random.default_rng(7)
    light = generator.uniform(0, 1, (4000, 3)) ** 2.2
    light = np.r_[light, np.repeat(generator.uniform(0, 1, (500, 1)) ** 2.2, 3, axis=1)]
    wanted, card = np.asarray(linear_srgb_to_lab(light)), np.asarray(lab_to_linear_srgb(truth), np.float64)
    plain, through, greys, patches = [], [], [], []
    for _ in range(DEVICES):
        device = any_device(generator)
        codes = np.rint(device.codes(card) * 65535) / 65535 + generator.normal(0, 0.0005, card.shape)
        fitted = scanner_profile.fit(np.clip(codes, 0, 1), truth)
        assert fitted is not None
        seen = np.rint(device.codes(light) * 65535) / 65535
        off = deltaE_ciede2000(fitted.lab(seen), wanted)
        plain.append(deltaE_ciede2000(linear_srgb_to_lab(decode_srgb(seen)), wanted).mean())
        through.append(off.mean())
        greys.append(off[4000:].mean())
        patches.append(deltaE_ciede2000(fitted.lab(codes), truth).mean())
    print(
        f"profile, mean CIEDE2000 of {DEVICES} scanners: {np.mean(plain):.1f} without, {np.mean(through):.2f} with it "
        f"(worst scanner {np.max(through):.2f}), greys {np.mean(greys):.2f}; the card's patches {np.mean(patches):.2f}"
    )


def false_finds(photographs: Path, truth: np.ndarray) -> None:
    """Count the photographs taken for a target or a wedge, as they are and enlarged to the size of a search.

    Drawn from every second source: the others are for choosing limits on.
    """
    with (photographs / "index.tsv").open(encoding="utf-8") as table:
        rows = [(row["file"], row["source"].split("@")[0]) for row in csv.DictReader(table, delimiter="\t")]
    reported = set(sorted({source for _, source in rows})[::2])
    files = [file for file, source in rows if source in reported]
    chosen = [files[index] for index in np.random.default_rng(0).permutation(len(files))[:PHOTOGRAPHS]]
    for size in (None, 1600):
        charts, wedges = [], []
        for file in chosen:
            pixels = np.asarray(read_reduced(photographs / file, 1600).pixels)
            if size is not None:
                factor = size / max(pixels.shape[:2])
                pixels = cv2.resize(pixels, None, fx=factor, fy=factor, interpolation=cv2.INTER_CUBIC)
            charts += [file] if find_chart(pixels, truth) is not None else []
            wedges += [file] if find_wedge(to_density(pixels)) is not None else []
        name = f"enlarged to {size} px" if size else "as they are"
        print(f"photographs {name}: taken for a target {len(charts)}, for a wedge {len(wedges)} of {len(chosen)}")
        print(*charts, *wedges)


if __name__ == "__main__":
    main()

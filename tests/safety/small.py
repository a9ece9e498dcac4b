"""A handful of small scans with everything that a batch can hold, and what a collection of them holds byte for byte."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
from PIL import Image

#: What differs from run to run: the catalogue and its two tables that hold the time, and who held the collection.
HOLDS_THE_TIME = {"catalogue.sqlite", ".held", "catalogue/history.csv", "catalogue/measurements.csv"}

CAPTIONS = """file,title,caption,date,people,place
ferry_recto.jpg,The ferry,Leaving on its last day,1952~,Ada Holm; ?,Lower landing
ferry_verso.jpg,,,,,
orchard.tif,Orchard,,1940s,,
"""


def write_scans(folder: Path) -> None:
    """Write a print with its back, a 16-bit scan, a second scan of the same picture and a torn file."""
    folder.mkdir(parents=True)
    rng = np.random.default_rng(11)
    picture(rng, faded=0.6).save(folder / "ferry_recto.jpg", quality=92, dpi=(150, 150))
    picture(rng, faded=0.1).convert("L").convert("RGB").save(folder / "ferry_verso.jpg", quality=92, dpi=(150, 150))
    orchard = picture(rng, faded=0.4)
    orchard.save(folder / "orchard.tif", dpi=(150, 150))
    orchard.save(folder / "orchard again.jpg", quality=85, dpi=(150, 150))
    whole = (folder / "ferry_recto.jpg").read_bytes()
    (folder / "torn.jpg").write_bytes(whole[: len(whole) // 2])
    (folder / "captions.csv").write_text(CAPTIONS, encoding="utf-8")


def picture(rng: np.random.Generator, *, faded: float) -> Image.Image:
    """A small landscape of smooth shapes with grain; ``faded`` takes that share of its contrast."""
    y, x = np.mgrid[0:200, 0:280] / 200
    waves = sum(np.sin(rng.uniform(2, 30) * x + rng.uniform(2, 30) * y + rng.uniform(0, 6)) for _ in range(6))
    grey = 0.5 + 0.07 * waves + rng.normal(0, 0.01, x.shape)
    colour = np.stack([grey * 1.05, grey, grey * 0.85], axis=2) * (1 - faded) + faded * 0.8
    return Image.fromarray((np.clip(colour, 0, 1) * 255).astype(np.uint8))


def contents(folder: Path) -> dict[str, str]:
    """Checksum of every file of a collection, but of those that hold the time."""
    return {
        name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and (name := path.relative_to(folder).as_posix()) not in HOLDS_THE_TIME
    }


def differences(one: dict[str, str], other: dict[str, str]) -> list[str]:
    """Names of the files that two collections do not share byte for byte."""
    return sorted(name for name in one.keys() | other.keys() if one.get(name) != other.get(name))

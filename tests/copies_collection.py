"""A small collection of invented originals on disk, for the tests of prints and labels."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pyvips

from surrogate.collection import paths
from surrogate.records import (
    CollectionInfo,
    Copy,
    Kind,
    Location,
    Manifest,
    Master,
    Original,
    Side,
    Software,
    Use,
)
from surrogate.recovery.recipe import Curves, Grid, Matrix, Recipe, Step

#: A recipe with every kind of step, of the strength that a faded print gets.
STEPS: list[Step] = [
    Curves(
        why="fade",
        red=[(0.0, 0.0), (0.6, 0.75), (2.0, 2.6)],
        green=[(0.0, 0.0), (0.5, 0.6), (2.0, 2.3)],
        blue=[(0.05, 0.0), (1.0, 1.2), (2.0, 2.4)],
    ),
    Matrix(why="dyes", matrix=((1.1, -0.06, -0.04), (-0.05, 1.12, -0.07), (-0.02, -0.08, 1.1))),
    Grid(why="stain", values=[[(0.02, 0.03, 0.05), (0.0, 0.0, 0.01)], [(0.0, 0.01, 0.02), (0.03, 0.05, 0.08)]]),
]


def scene(width: int, height: int, seed: int = 7) -> np.ndarray:
    """An invented picture with soft tones, edges and fine lines, (height, width, 3) uint8."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    base = np.stack(
        [120 + 70 * np.sin(x / 210 + k) + 45 * np.cos(y / (160 + 30 * k)) for k in range(3)],
        axis=-1,
    )
    base[(np.hypot(x - width / 2, y - height / 2) < min(width, height) / 5)] *= 0.5
    base[:, :, :] += (10 * np.sin(x * 0.9) * (y > height / 2))[..., None]
    base += rng.normal(0, 2, base.shape)
    return np.clip(base, 4, 250).astype(np.uint8)


def write_scan(path: Path, pixels: np.ndarray, ppi: float) -> None:
    """Write a scan as TIFF with its resolution."""
    path.parent.mkdir(parents=True, exist_ok=True)
    image = pyvips.Image.new_from_array(pixels, interpretation="srgb" if pixels.dtype == np.uint8 else "rgb16")
    image.copy(xres=ppi / 25.4, yres=ppi / 25.4).tiffsave(str(path), resunit="inch", compression="none")


def an_original(reference: str, **words: object) -> Original:
    """An original without files, for sheets of words."""
    return Original(reference=reference, kind=Kind.COLOUR_PRINT, kind_confidence=None, **words)


def add_original(
    folder: Path,
    reference: str,
    pixels: np.ndarray,
    *,
    ppi: float = 300.0,
    steps: Sequence[Step] = (),
    outline: list[tuple[float, float]] | None = None,
    turn: int = 0,
    box: str = "",
    kind: Kind = Kind.COLOUR_PRINT,
    **words: object,
) -> Original:
    """Write master, viewing copy and recipe of one original."""
    file = paths.master(reference, Side.RECTO, "tif")
    write_scan(folder / file, pixels, ppi)
    content = (folder / file).read_bytes()
    master = Master(
        side=Side.RECTO,
        file=file,
        sha256=hashlib.sha256(content).hexdigest(),
        bytes=len(content),
        width=pixels.shape[1],
        height=pixels.shape[0],
        bits=8 * pixels.dtype.itemsize,
        ppi=ppi or None,
        profile=None,
        scanned_as="scan.tif",
    )
    recipe = Recipe(
        software="surrogate test",
        kind=kind.value,
        use="viewing",
        side="recto",
        master=file,
        master_sha256=master.sha256,
        input_profile="sRGB assumed",
        turn=turn,
        outline=outline,
        long_edge_px=2048,
        quality=88,
        strength="standard",
        tone="as found",
        steps=list(steps),
        words=["Fading undone."] if steps else [],
    )
    recipe_file = folder / paths.recipe(reference, Side.RECTO, None, Use.VIEWING)
    recipe_file.parent.mkdir(parents=True, exist_ok=True)
    recipe_file.write_text(recipe.model_dump_json(by_alias=True), encoding="utf-8")
    copies = []
    for use, edge in ((Use.VIEWING, 800), (Use.THUMBNAIL, 160)):
        copy_file = paths.copy(reference, Side.RECTO, None, use)
        (folder / copy_file).parent.mkdir(parents=True, exist_ok=True)
        image = pyvips.Image.thumbnail(str(folder / file), edge, height=edge)
        image.jpegsave(str(folder / copy_file), Q=88)
        copies.append(
            Copy(
                use=use,
                side=Side.RECTO,
                part=None,
                file=copy_file,
                sha256="0" * 64,
                width=image.width,
                height=image.height,
                recipe=str(recipe_file.relative_to(folder).as_posix()),
                master_sha256=master.sha256,
                fidelity=None,
            )
        )
    return Original(
        reference=reference,
        kind=kind,
        kind_confidence=None,
        masters=[master],
        copies=copies,
        location=Location(box=box),
        **words,
    )


def write_manifest(folder: Path, originals: Sequence[Original]) -> None:
    """Write the collection's manifest."""
    manifest = Manifest(
        collection=CollectionInfo(name="Lindqvist family", credit="Lindqvist family", rights=""),
        software=Software(name="surrogate", version="test"),
        originals=list(originals),
        set_aside=[],
    )
    folder.mkdir(parents=True, exist_ok=True)
    (folder / paths.MANIFEST).write_text(manifest.model_dump_json(by_alias=True, indent=1), encoding="utf-8")

"""Seeded damage to sound files: cut off, bits flipped, headers edited, blocks overwritten, bytes put in or out."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path

import format_zoo
import numpy as np

#: Small files of every format and of the varieties whose decoders differ.
BASES = (
    "rgb8.tif", "rgb8 lzw.tif", "rgb8 deflate.tif", "rgb8 packbits.tif", "rgb8 jpeg inside.tif", "rgb8 tiled.tif",
    "rgb8 planar.tif", "rgb8 bigtiff.tif", "rgb16.tif", "bits group 4.tif", "bits group 3.tif", "palette.tif",
    "cmyk.tif", "lab8.tif", "rgb8 zstd.tif", "rgb8 pages.tif", "float rgb.tif", "rgb8 with profile.tif",
    "plain.jpg", "progressive.jpg", "cmyk.jpg", "turned.jpg", "with profile.jpg",
    "rgb8.png", "rgb16.png", "palette.png", "interlaced.png", "rgba.png",
    "lossless.webp", "lossy.webp", "rgba.webp",
    "lossless.jp2", "lossy.jp2", "grey16.jp2", "codestream.j2k",
)  # fmt: skip

KINDS = ("cut off", "flipped bits", "edited header", "block overwritten", "bytes in or out")

#: Numbers that break arithmetic.
_AWKWARD = (
    0,
    1,
    2,
    0x7F,
    0x80,
    0xFF,
    0x7FFF,
    0x8000,
    0xFFFF,
    0x10000,
    0x7FFFFFFF,
    0x80000000,
    0xFFFFFFFF,
    65_500,
    30_000,
)


def mutated(content: bytes, kind: str, rng: np.random.Generator) -> bytes:
    """The file with one kind of damage."""
    data = bytearray(content)
    size = len(data)
    if kind == "cut off":
        return bytes(data[: int(rng.integers(1, size))])
    if kind == "flipped bits":
        for _ in range(int(rng.integers(1, 24))):
            data[int(rng.integers(size))] ^= 1 << int(rng.integers(8))
    elif kind == "edited header":
        _edit_header(data, rng)
    elif kind == "block overwritten":
        start = int(rng.integers(size))
        length = int(rng.integers(1, max(2, size // 4)))
        fill = rng.integers(0, 256, length, dtype=np.uint8).tobytes() if rng.random() < 0.5 else bytes(length)
        data[start : start + length] = fill[: size - start]
    else:
        start, length = int(rng.integers(size)), int(rng.integers(1, 64))
        if rng.random() < 0.5:
            del data[start : start + length]
        else:
            data[start:start] = rng.integers(0, 256, length, dtype=np.uint8).tobytes()
    return bytes(data)


def _edit_header(data: bytearray, rng: np.random.Generator) -> None:
    """Put awkward numbers where the format keeps its own: a TIFF's directory, else the first 200 bytes."""
    if bytes(data[:4]) in {b"II*\0", b"MM\0*"}:
        order = "<" if data[:2] == b"II" else ">"
        start = struct.unpack(order + "I", data[4:8])[0]
        count = struct.unpack(order + "H", data[start : start + 2])[0]
        for _ in range(int(rng.integers(1, 4))):
            entry = start + 2 + 12 * int(rng.integers(count))
            field = int(rng.integers(3))
            value = int(rng.choice(_AWKWARD))
            if field == 0:
                data[entry + 2 : entry + 4] = struct.pack(order + "H", int(rng.integers(0, 20)))
            else:
                at = entry + (4 if field == 1 else 8)
                data[at : at + 4] = struct.pack(order + "I", value)
        return
    for _ in range(int(rng.integers(1, 4))):
        at = int(rng.integers(4, min(200, len(data) - 4)))
        width = int(rng.choice([1, 2, 4]))
        data[at : at + width] = struct.pack(">I", int(rng.choice(_AWKWARD)))[-width:]


def bases(folder: Path) -> list[tuple[str, bytes]]:
    """(name, content) of the sound files, each about 10 to 200 kB."""
    entries = {entry.name: entry for entry in format_zoo.entries()}
    for name in BASES:
        entries[name].write(folder / name)
    return [(name, (folder / name).read_bytes()) for name in BASES]


def damaged(folder: Path, count: int, seed: int = 300_000) -> Iterator[tuple[Path, str]]:
    """Write ``count`` damaged files one by one: (path, kind of damage). Formats and kinds take turns."""
    sound = bases(folder)
    for place in range(count):
        name, content = sound[place % len(sound)]
        kind = KINDS[(place + place // len(sound)) % len(KINDS)]
        path = folder / f"{place:05} {name}"
        path.write_bytes(mutated(content, kind, np.random.default_rng(seed + place)))
        yield path, kind

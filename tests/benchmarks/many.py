"""A large collection made from a small one: rows of its catalogue under new numbers, its files as hard links.

Masters keep their bytes and get an invented checksum each, so that the house takes them for different ones; pictures
get invented hashes, so that no two look alike. Everything that `process` looks at in a finished collection is there.
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import sqlite3
from dataclasses import replace
from pathlib import Path

from PIL import Image

from surrogate import wording
from surrogate.collection import settings
from surrogate.collection.catalogue import open_catalogue

#: Areas of a collection that hold files of single originals.
AREAS = ("masters", "copies", "recipes", "condition")


def small_scans(folder: Path, sources: Path, count: int, first: int = 0) -> None:
    """Small scans, no two alike: pieces of the open photographs behind the sample scans, 600 x 450 px, JPEG."""
    folder.mkdir(parents=True, exist_ok=True)
    pictures = sorted(sources.glob("*.jpg"))
    for number in range(first, first + count):
        rng = random.Random(number)
        with Image.open(pictures[number % len(pictures)]) as small:
            whole = small.convert("RGB").resize((900, 700), Image.Resampling.BICUBIC)
        left, top = rng.randrange(300), rng.randrange(250)
        name = f"{number:06} at the quay.jpg"
        whole.crop((left, top, left + 600, top + 450)).save(folder / name, quality=90)


def multiplied(collection: Path, scans: Path, wanted: int) -> None:
    """Bring a finished collection of a few originals, taken from ``scans``, to ``wanted`` of them."""
    with sqlite3.connect(collection / "catalogue.sqlite") as db:
        templates = [row[0] for row in db.execute("SELECT reference FROM originals ORDER BY reference")]
        tables = {
            name: [column[1] for column in db.execute(f"PRAGMA table_info({name})")]
            for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()
        }
        rows = {
            (name, reference): db.execute(f"SELECT * FROM {name} WHERE reference = ?", (reference,)).fetchall()  # noqa: S608
            for name, columns in tables.items()
            if "reference" in columns
            for reference in templates
        }
        files = {reference: _files_of(collection, reference) for reference in templates}
        for item in range(len(templates) + 1, wanted + 1):
            template = templates[item % len(templates)]
            reference = f"{template.rsplit('.', 1)[0]}.{item:04}"
            for (name, of), found in rows.items():
                if of == template:
                    made = [_renamed(tables[name], row, template, reference, item) for row in found]
                    db.executemany(f"INSERT INTO {name} VALUES ({', '.join('?' * len(tables[name]))})", made)  # noqa: S608
            for file in files[template]:
                target = collection / _swapped(str(file.relative_to(collection)), template, reference)
                os.link(file, target)
            (source,) = db.execute("SELECT path FROM sources WHERE reference = ?", (template,)).fetchone()
            os.link(source, _scan_of(scans, item))
    db.close()
    _say_what_copies_say(collection)


def _say_what_copies_say(collection: Path) -> None:
    """The words of a copy hold its number, so each copy has a fingerprint of words of its own."""
    found = settings.read(collection)
    with open_catalogue(collection) as catalogue, catalogue.transaction():
        for row in catalogue.originals():
            words = wording.digest(wording.description(catalogue, found, row.reference))
            for copy in catalogue.copies(row.reference):
                catalogue.put_copy(replace(copy, described_as=words))


def _files_of(collection: Path, reference: str) -> list[Path]:
    stem = reference.replace(".", "-")
    return [path for area in AREAS for path in (collection / area).rglob(f"{stem}_*")]


def _scan_of(scans: Path, item: int) -> Path:
    return scans / f"made {item:06} by the bridge.jpg"


def _swapped(text: str, template: str, reference: str) -> str:
    return text.replace(template, reference).replace(template.replace(".", "-"), reference.replace(".", "-"))


def _renamed(columns: list[str], row: tuple[object, ...], template: str, reference: str, item: int) -> list[object]:
    made: list[object] = []
    for column, cell in zip(columns, row, strict=True):
        if column in {"sha256", "master_sha256"}:
            made.append(hashlib.sha256(f"{cell} {item}".encode()).hexdigest())
        elif column == "item":
            made.append(item)
        elif column == "hashes" and isinstance(cell, str):
            rng = random.Random(item)
            made.append(json.dumps([[rng.getrandbits(64) for _ in group] for group in json.loads(cell)]))
        elif column == "path" and isinstance(cell, str):
            made.append(str(_scan_of(Path(cell).parent, item)))
        else:
            made.append(_swapped(cell, template, reference) if isinstance(cell, str) else cell)
    return made

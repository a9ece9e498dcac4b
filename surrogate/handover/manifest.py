"""``manifest.json`` with its schema, ``manifest.csv`` and ``set_aside.csv``: which file is what, and of what.

Originals are taken one at a time and written at once, so that a collection of any size needs constant memory.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import TextIO

from pydantic import BaseModel

from surrogate.collection import paths
from surrogate.collection.cells import safe_cell
from surrogate.collection.files import replace_if_changed, replacing
from surrogate.records import CollectionInfo, Manifest, Original, SetAside, Software

#: Columns of ``manifest.csv``, one row per copy.
COLUMNS = (
    "reference", "side", "part", "kind", "title", "caption", "date", "box", "folder", "master",
    "master_sha256", "copy", "use", "copy_sha256", "width", "height", "recipe",
)  # fmt: skip


def schema() -> str:
    """The JSON Schema (2020-12) of ``manifest.json``, generated from the records."""
    body = {"$schema": "https://json-schema.org/draft/2020-12/schema"} | Manifest.model_json_schema(
        by_alias=True, mode="serialization"
    )
    return json.dumps(body, indent=2, ensure_ascii=False) + "\n"


def copy_rows(original: Original) -> Iterable[list[str]]:
    """The rows of ``manifest.csv`` for one original, every cell as text and safe in a spreadsheet."""
    masters = {(master.side, master.sha256): master.file for master in original.masters}
    for copy in original.copies:
        row = (
            original.reference, copy.side.value, "" if copy.part is None else copy.part, original.kind.value,
            original.title, original.caption, original.date, original.location.box, original.location.folder,
            masters.get((copy.side, copy.master_sha256), ""), copy.master_sha256, copy.file, copy.use.value,
            copy.sha256, copy.width, copy.height, copy.recipe or "",
        )  # fmt: skip
        yield [safe_cell(str(cell)) for cell in row]


def _json(record: BaseModel, depth: int) -> str:
    """A record as JSON, two spaces a level, to stand ``depth`` levels deep.

    Line breaks inside strings are escaped in JSON, so a bare line break is always one of the layout.
    """
    return record.model_dump_json(indent=2, by_alias=True).replace("\n", "\n" + "  " * depth)


def _write_list(stream: TextIO, name: str, records: Iterable[BaseModel], *, last: bool) -> None:
    stream.write(f'  "{name}": [')
    between = "\n    "
    empty = True
    for record in records:
        stream.write(between + _json(record, 2))
        between = ",\n    "
        empty = False
    stream.write(("]" if empty else "\n  ]") + ("\n" if last else ",\n"))


def write(
    folder: Path,
    collection: CollectionInfo,
    software: Software,
    originals: Iterable[Original],
    set_aside: Sequence[SetAside],
) -> None:
    """Write the four files into ``folder``; a file whose bytes would not change is left untouched.

    ``originals`` are read once, in the order given: sorted by reference. Each file appears whole or not at
    all, and the manifest last, so that it never speaks of a table that is not there.
    Raises :class:`surrogate.errors.CollectionUnusable` and :class:`surrogate.errors.DiskFull`.
    """
    replace_if_changed(folder / "manifest.schema.json", schema().encode())
    with replacing(folder / "set_aside.csv") as stream:
        rows = csv.writer(stream)
        rows.writerow(SetAside.model_fields)
        rows.writerows([safe_cell(s.file), safe_cell(s.reason), safe_cell(s.advice)] for s in set_aside)
    with ExitStack() as both:
        document = both.enter_context(replacing(folder / paths.MANIFEST))
        table = csv.writer(both.enter_context(replacing(folder / "manifest.csv")))
        table.writerow(COLUMNS)

        def tabled() -> Iterable[Original]:
            for original in originals:
                table.writerows(copy_rows(original))
                yield original

        document.write('{\n  "schema": "surrogate-manifest/1",\n')
        document.write(f'  "collection": {_json(collection, 1)},\n  "software": {_json(software, 1)},\n')
        _write_list(document, "originals", tabled(), last=False)
        _write_list(document, "set_aside", set_aside, last=True)
        document.write("}\n")

"""The letter that lies on top of a bag: what this is and how to use it, for somebody in fifty years."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import PurePath
from textwrap import fill

from surrogate.handover.formats import format_of
from surrogate.records import Manifest

_WIDTH = 78


def _paragraphs(*texts: str) -> list[str]:
    return [part for text in texts for part in (fill(text, _WIDTH), "")]


def _formats(files: Sequence[str]) -> list[str]:
    counts = Counter(PurePath(file).suffix.lower().removeprefix(".") for file in files)
    lines = []
    for extension, count in sorted(counts.items()):
        form = format_of(f"x.{extension}")
        named = " ".join(part for part in (form.name, form.version) if part)
        registry = f", PRONOM {form.pronom}" if form.pronom else ""
        lines.append(f"  .{extension:7} {count:>8}  {named} ({form.media_type}{registry}): {form.what_for}")
    return lines


def letter(whole: Manifest, references: Sequence[str], files: Sequence[str], order: tuple[int, int]) -> bytes:
    """The text of ``README.txt``, plain UTF-8. ``order`` is the bag's number and how many there are."""
    number, count = order
    name = " ".join(whole.collection.name.split()) or "a collection"
    split = ""
    if count > 1:
        first, last = references[0], references[-1]
        split = (
            f"The collection was too large for one bag. This is bag {number} of {count}; it holds the originals "
            f"{first} to {last} whole. The lists of the whole collection lie in every bag."
        )
    lines = [
        f"READ THIS FIRST: {name}",
        "",
        *_paragraphs(
            "This folder holds scans of old photographs and papers, copies made from the scans, and what is known "
            "about each original. You need no particular program: everything is pictures, text and tables in an "
            "ordinary folder.",
            f"There are {len(references)} originals here. Each has a reference number, the same that was written on "
            "its envelope. In file names the dots of the number are hyphens; _r is the front of the original, "
            "_v its back.",
            *([split] if split else []),
        ),
        "WHERE THINGS ARE",
        "",
        "  data/masters/      the scans, byte for byte as the scanner made them. Keep these.",
        "  data/copies/       pictures for looking at, reading and printing, made from the scans.",
        "                     They can be thrown away and made again.",
        "  data/recipes/      exactly what was done to make each copy: curves on optical density.",
        "  data/condition/    how faded and stained each original was when it was scanned.",
        "  data/manifest.json every original with its files, checksums and words; manifest.csv",
        "                     is the same as a table, manifest.schema.json explains the fields.",
        "  data/texts/        the words that were read on clippings and letters (ALTO XML), where there are any;",
        "                     a .txt beside them was written by people and is right where the two differ.",
        "  data/outlines.csv  where each picture lies on its scan, where there are any outlines.",
        "  data/captions.csv  what people wrote about each original.",
        "  data/report.html   all of it to look at, in any web browser.",
        "  data/metadata/     premis.xml   the history of every file (PREMIS 3.0)",
        "                     finding_aid.xml  the finding aid (EAD3); finding_aid.csv the same",
        "                     as a table by the elements of ISAD(G)",
        "",
        *_paragraphs(
            "Nothing was painted in or made up in any copy: only tone and colour were changed, and the recipe says "
            "how. A copy's own metadata names its master and the master's checksum.",
        ),
        "IS EVERYTHING STILL THERE AND UNCHANGED?",
        "",
        *_paragraphs(
            "This is a bag by RFC 8493 (BagIt). manifest-sha256.txt lists every file under data/ with its SHA-256 "
            "checksum. On most systems this checks them all, run in this folder:",
        ),
        "    sha256sum -c manifest-sha256.txt",
        "",
        "THE FORMATS",
        "",
        *_formats(files),
        "",
        "RIGHTS",
        "",
        *_paragraphs(" ".join(whole.collection.rights.split()) or "Nothing was stated for the collection as a whole."),
        *_paragraphs("Originals may have rights of their own: see manifest.json and the finding aid."),
        f"Written by {whole.software.name} {whole.software.version}.",
        "",
    ]
    return "\n".join(lines).encode()

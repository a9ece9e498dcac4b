"""Which photographs are fitted on, which set the width of intervals, which are only reported on: split by source."""

import hashlib
from pathlib import Path

#: One collection in several repositories: kept together so that no picture has a sibling in another part.
COLLECTIONS = ("coco", "openimages")
#: The reporting and interval parts are made of many small sources; larger ones are fitted on.
LARGEST_HELD_OUT = 60


def source_of(line: str) -> str:
    repository = line.split("\t")[1].split("@", maxsplit=1)[0]
    return next((c for c in COLLECTIONS if c in repository.lower()), repository)


def split(index: Path) -> dict[str, list[str]]:
    """File names of the colour pictures by part: fit, interval, report."""
    lines = [x for x in index.read_text().splitlines()[1:] if "/" not in x.split("\t")[0]]
    by_source: dict[str, list[str]] = {}
    for line in lines:
        by_source.setdefault(source_of(line), []).append(line.split("\t")[0])
    parts: dict[str, list[str]] = {"report": [], "interval": [], "fit": []}
    wanted = {"report": 150, "interval": 110, "fit": len(lines)}
    for source in sorted(by_source, key=lambda s: hashlib.sha256(s.encode()).hexdigest()):
        files = by_source[source]
        small = len(files) <= LARGEST_HELD_OUT
        part = next(p for p in parts if p == "fit" or (small and len(parts[p]) + len(files) <= wanted[p] + 10))
        parts[part] += files
    return parts

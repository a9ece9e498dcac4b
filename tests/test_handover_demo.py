"""The demo's collection leaves the house and comes back: site, bags, and a collection again, with everything in it."""

from __future__ import annotations

import hashlib
import sqlite3
from pathlib import Path

import bagit
from desk_collection import Client

from surrogate.collection.catalogue import open_catalogue
from surrogate.collection.listing import read
from surrogate.demonstrating import SAMPLES, pass_on
from surrogate.handover import archive, groups, takeover
from surrogate.handover.site import publish
from surrogate.processing import process

FIELD = {"x-desk": "field"}


def checksums(folder: Path) -> dict[str, str]:
    return {
        file.relative_to(folder).as_posix(): hashlib.sha256(file.read_bytes()).hexdigest()
        for file in folder.rglob("*")
        if file.is_file() and not file.name.startswith(".")
    }


def everything_in(catalogue: Path) -> list[str]:
    with sqlite3.connect(catalogue) as db:
        said = list(db.iterdump())
    db.close()
    return said


def test_the_demo_is_shown_and_handed_over(own_demo: Path) -> None:
    letter = next(o for o in read(own_demo).originals if o.access == "private")
    passed = pass_on(own_demo)
    assert passed.site.hidden == 2  # a private letter and the scanner target
    assert not list((own_demo / "site").rglob(f"{letter.reference.replace('.', '-')}*"))
    bagit.Bag(str(own_demo / "bag")).validate()
    assert not (own_demo / "bag/data/site").exists()
    again = pass_on(own_demo)
    assert (again.site.written, again.site.removed) == (0, 0)
    assert again.bag.files == passed.bag.files


def test_split_and_taken_back_with_desk_edits_and_history(own_demo: Path, tmp_path: Path) -> None:
    reference = read(own_demo).originals[0].reference
    Client(own_demo).enter().save(reference, FIELD, notes="Zigzag cupboard", before_notes="")
    Client(own_demo).enter().save(reference, FIELD, notes="The tin", before_notes="Zigzag cupboard")
    text = own_demo / "texts/2026-001/2026-001-0003_r.txt"
    text.write_text("A correction by a person.\n", "utf-8")
    process([SAMPLES], own_demo, captions=None, workers=1)
    before = checksums(own_demo)
    report = archive.handover(own_demo, tmp_path / "out", limit=groups.limit_of("6"))
    assert len(report.bags) > 1
    for made in report.bags:
        bagit.Bag(str(made)).validate()
    takeover.take_over([tmp_path / "out"], tmp_path / "again")
    assert checksums(tmp_path / "again") == before
    assert everything_in(tmp_path / "again/catalogue.sqlite") == everything_in(own_demo / "catalogue.sqlite")
    with open_catalogue(tmp_path / "again") as catalogue:
        assert "Zigzag cupboard" in " ".join(detail for _, _, _, detail in catalogue.events(reference))
    went_on = process([SAMPLES], tmp_path / "again", captions=None, workers=1)
    assert (went_on.taken_in, went_on.updated) == ([], [])
    # the bag is the whole archive: words that somebody replaced are in its history; on a site they never are
    history = b"".join((made / "data/metadata/premis.xml").read_bytes() for made in report.bags)
    assert b"Zigzag cupboard" in history
    publish(own_demo, tmp_path / "site")
    assert b"Zigzag" not in b"".join(file.read_bytes() for file in (tmp_path / "site").rglob("*") if file.is_file())

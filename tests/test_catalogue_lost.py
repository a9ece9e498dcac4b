"""The catalogue can burn: it is written again from the plain files, and everything goes on as if nothing had been."""

from __future__ import annotations

import csv
import random
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest

from surrogate import exporting
from surrogate.auditing import audit
from surrogate.cli import main
from surrogate.collection import plain, settings
from surrogate.collection.catalogue import open_catalogue
from surrogate.collection.files import sha256_of
from surrogate.errors import CatalogueLost, CollectionUnusable
from surrogate.processing import process
from surrogate.reviving import REVIVED, revive

SAMPLES = Path(__file__).parent.parent / "sample_scans"
#: Tables of which every row must come back; those that lie in a side's rows of JSON too.
ALL = ("numbers", "originals", "masters", "conditions", "copies", "captions", "sources", "set_aside", "notes",
       "outlines", "signatures", "same_pictures", "facts", "files")  # fmt: skip


def everything(folder: Path) -> dict[str, list[tuple[object, ...]]]:
    """All rows of the catalogue, sorted, as SQLite itself says."""
    connection = sqlite3.connect(folder / "catalogue.sqlite")
    assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    found = {name: sorted(connection.execute(f"SELECT * FROM {name}"), key=repr) for name in ALL}  # noqa: S608
    found["events"] = list(connection.execute("SELECT * FROM events ORDER BY rowid"))
    connection.close()
    return found


def export(folder: Path) -> None:
    """Write every list from the catalogue, over nothing."""
    for name in ("manifest.json", "manifest.csv", "captions.csv", "set_aside.csv"):
        (folder / name).unlink()
    with open_catalogue(folder) as catalogue:
        exporting.export(folder, settings.read(folder), catalogue, [])


def gone(path: Path) -> None:
    path.unlink()


def emptied(path: Path) -> None:
    path.write_bytes(b"")


def overwritten(path: Path) -> None:
    path.write_bytes(random.Random(2).randbytes(path.stat().st_size))


def torn(path: Path) -> None:
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])


def bad_page(path: Path) -> None:
    content = bytearray(path.read_bytes())
    for start in range(4096 * 3, len(content), 4096 * 4):
        content[start : start + 4096] = bytes(4096)
    path.write_bytes(content)


@pytest.mark.parametrize("harm", [gone, emptied, overwritten, torn, bad_page])
def test_everything_comes_back_and_the_damaged_file_is_kept(own_demo: Path, harm: Callable[[Path], None]) -> None:
    before = everything(own_demo)
    catalogue = own_demo / "catalogue.sqlite"
    lists = {name: (own_demo / name).read_bytes() for name in ("manifest.json", "manifest.csv", "captions.csv")}
    harm(catalogue)
    damaged = catalogue.read_bytes() if catalogue.exists() else None
    with pytest.raises(CatalogueLost, match="rebuild --catalogue"):
        audit(own_demo)
    revived = revive(own_demo)
    assert revived.notes == []
    after = everything(own_demo)
    assert after["events"][-1][2] == REVIVED
    assert {**after, "events": after["events"][:-1]} == before
    if damaged is not None:
        assert (own_demo / "damaged" / "catalogue.sqlite").read_bytes() == damaged
    export(own_demo)
    assert {name: (own_demo / name).read_bytes() for name in lists} == lists
    assert audit(own_demo).findings == []


def test_a_command_that_finds_it_lost_writes_it_again_and_goes_on(
    own_demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    manifest = sha256_of(own_demo / "manifest.json")
    (own_demo / "catalogue.sqlite").unlink()
    assert main(["process", str(SAMPLES), "--collection", str(own_demo), "--workers", "1"]) == 1
    told = capsys.readouterr()
    assert "0 new" in told.out
    assert "written again from its files" in told.err
    assert sha256_of(own_demo / "manifest.json") == manifest


def test_a_rehearsal_changes_nothing(own_demo: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (own_demo / "catalogue.sqlite").unlink()
    before = sorted(own_demo.rglob("*"))
    assert main(["process", str(SAMPLES), "--collection", str(own_demo), "--dry-run"]) == 2
    told = capsys.readouterr().err
    assert "rebuild --catalogue" in told
    assert told.count("\n") == 1
    assert sorted(own_demo.rglob("*")) == before


def test_without_manifest_and_tables_masters_and_descriptions_are_enough(own_demo: Path) -> None:
    manifest = (own_demo / "manifest.json").read_bytes()
    shutil.rmtree(own_demo / "catalogue")
    for name in ("manifest.json", "manifest.csv", "catalogue.sqlite"):
        (own_demo / name).unlink()
    revived = revive(own_demo)
    assert revived.originals == manifest.count(b'"reference":')
    process([SAMPLES], own_demo, captions=SAMPLES / "captions.csv", workers=1)
    assert (own_demo / "manifest.json").read_bytes() == manifest
    assert audit(own_demo).findings == []


def test_desk_edits_and_numbers_never_given_again_come_back(own_demo: Path) -> None:
    from surrogate.desk.words import save

    with open_catalogue(own_demo) as catalogue, catalogue.transaction():
        first = catalogue.originals()[0].reference
        catalogue.keep_number("2099.9.9", None)
    save(own_demo, first, "title", shown(own_demo, first), "=cmd|' /C calc'!A0 \u201cquoted\u201d, and so on")
    with open_catalogue(own_demo) as catalogue:
        exporting.export(own_demo, settings.read(own_demo), catalogue, [])
        events = catalogue.events()
    (own_demo / "catalogue.sqlite").unlink()
    revive(own_demo)
    with open_catalogue(own_demo) as catalogue:
        assert catalogue.is_used("2099.9.9")
        assert catalogue.events()[:-1] == events
    assert shown(own_demo, first).startswith("=cmd")


def shown(folder: Path, reference: str) -> str:
    from surrogate.records import Side

    with open_catalogue(folder) as catalogue:
        return catalogue.caption(reference, Side.RECTO).title or catalogue.caption(reference, Side.VERSO).title


def test_a_damaged_table_is_named_and_the_rest_comes_back(own_demo: Path) -> None:
    table = own_demo / plain.NOTES.file
    table.write_bytes(table.read_bytes() + b"\xff\xfe one cell")
    (own_demo / "catalogue.sqlite").unlink()
    revived = revive(own_demo)
    assert any(plain.NOTES.file in note for note in revived.notes)
    assert audit(own_demo).findings == []


def test_tables_give_back_every_text(tmp_path: Path) -> None:
    hostile = ["", "'", "=1", "'=1", 'a,b\n"c"', "+", "\r\n", "\u00fc\uff1d", "''", "-5"]
    with open_catalogue(tmp_path) as catalogue, catalogue.transaction():
        for text in hostile:
            catalogue.add_event(text or None, text, text)
    with open_catalogue(tmp_path) as catalogue:
        plain.write(tmp_path, catalogue)
        assert list(plain.read(tmp_path, plain.HISTORY)) == list(catalogue.rows(plain.HISTORY.query))
    with (tmp_path / plain.HISTORY.file).open(encoding="utf-8", newline="") as stream:
        assert not any(cell.startswith(("=", "+", "-", "\r")) for row in csv.reader(stream) for cell in row)


def test_a_folder_that_is_no_collection_is_not_revived(tmp_path: Path) -> None:
    with pytest.raises(CollectionUnusable, match="not a collection"):
        revive(tmp_path)

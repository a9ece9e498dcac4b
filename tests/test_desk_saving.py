"""What is saved at the desk is in the catalogue at once, in the caption sheet, and never over somebody else's words."""

from __future__ import annotations

import csv
import json
import sqlite3
from pathlib import Path

import pytest
from desk_collection import FIRST, SECOND, Client, build

from surrogate.collection.catalogue import open_catalogue
from surrogate.desk.shelf import Shelf, View
from surrogate.desk.texts import ENGLISH, GERMAN
from surrogate.records import Side

FIELD = {"x-desk": "field"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return build(tmp_path / "öffentlich")


@pytest.fixture
def client(folder: Path) -> Client:
    return Client(folder).enter()


def in_sqlite(folder: Path, reference: str, side: str) -> tuple[dict[str, str], dict[str, object]]:
    with sqlite3.connect(folder / "catalogue.sqlite") as db:
        cells, record = db.execute(
            "SELECT cells, record FROM captions WHERE reference = ? AND side = ?", (reference, side)
        ).fetchone()
    db.close()
    return json.loads(cells), json.loads(record)


def in_sheet(folder: Path, reference: str, side: str = "recto") -> dict[str, str]:
    with (folder / "captions.csv").open(encoding="utf-8-sig", newline="") as lines:
        return next(row for row in csv.DictReader(lines) if (row["reference"], row["side"]) == (reference, side))


def test_a_field_is_in_catalogue_history_and_sheet(folder: Path, client: Client) -> None:
    answer = client.save(caption="The regatta.\r\nWe won.", before_caption="", headers=FIELD)
    assert answer.json() == [
        {"field": "caption", "value": "The regatta.\nWe won.", "done": True, "told": "Caption: saved", "said": ""}
    ]
    cells, record = in_sqlite(folder, FIRST, "recto")
    assert cells["caption"] == record["caption"] == "The regatta.\nWe won."
    assert cells["own column"] == "kept"
    assert in_sheet(folder, FIRST)["caption"] == "The regatta.\nWe won."
    with open_catalogue(folder) as catalogue:
        assert catalogue.sheet_is_current()
        _, _, what, detail = catalogue.events(FIRST)[-1]
    assert what == "changed at the desk"
    assert json.loads(detail) == {"field": "caption", "before": "", "after": "The regatta.\nWe won."}


def test_a_date_is_understood_and_kept_as_edtf(folder: Path, client: Client) -> None:
    # EDTF (Library of Congress, 2019), level 1: a trailing ~ means approximate.
    said = client.save(date="about 1952", before_date="", headers=FIELD).json()[0]
    assert (said["value"], said["said"]) == ("1952~", "Understood as about 1952; kept as 1952~.")
    assert in_sqlite(folder, FIRST, "recto")[0]["date"] == "1952~"
    assert client.get("/date", params={"text": "when Dad was four"}).json() == {"said": ENGLISH["as_written"]}
    assert "12 May" in client.get("/date", params={"text": "12/5/1961"}).json()["said"]


def test_works_without_script_and_says_saved(folder: Path, client: Client) -> None:
    answer = client.save(SECOND, title="Boat two", before_title="Boat 2", notes="", before_notes="", approved="yes")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/original/2026-001-0002?saved=1"
    assert ">Saved</span>" in client.get(answer.headers["location"]).text
    assert in_sheet(folder, SECOND)["title"] == "Boat two"
    assert in_sheet(folder, SECOND)["approved"] == "yes"
    assert in_sqlite(folder, SECOND, "recto")[1]["approved"] is True
    client.save(SECOND, approved="", before_approved="yes")
    assert in_sheet(folder, SECOND)["approved"] == ""


def test_a_conflict_saves_nothing_and_shows_both(folder: Path, client: Client) -> None:
    client.save(title="Hers", before_title="Boat 1", headers=FIELD)
    told = client.save(title="His", before_title="Boat 1", headers=FIELD).json()[0]
    assert (told["done"], told["value"]) == (False, "Hers")
    page = client.save(title="His", before_title="Boat 1")
    assert page.status_code == 409
    assert 'value="His"' in page.text
    assert 'name="before_title" value="Hers"' in page.text
    assert "changed meanwhile to “Hers”" in page.text
    assert in_sqlite(folder, FIRST, "recto")[0]["title"] == "Hers"


def test_words_of_the_other_side_are_never_lost(folder: Path, client: Client) -> None:
    assert client.save(inscription="For Ada, 1952", before_inscription="For Ada", headers=FIELD).json()[0]["done"]
    assert in_sqlite(folder, FIRST, "verso")[0]["inscription"] == "For Ada, 1952"
    assert "inscription" not in in_sqlite(folder, FIRST, "recto")[0]
    shown = client.save(title="", before_title="Boat 1", headers=FIELD).json()[0]["value"]
    assert shown == "Back of the boat"  # the back's title stands where the front has none


def test_a_sheet_that_a_person_wrote_in_or_has_open_is_left_alone(folder: Path, client: Client) -> None:
    sheet = folder / "captions.csv"
    lock = folder / ".~lock.captions.csv#"
    lock.touch()
    before = sheet.read_bytes()
    client.save(place="Orre", before_place="Hollinmere")
    assert sheet.read_bytes() == before
    lock.unlink()
    sheet.write_bytes(before.replace(b"Boat 3", b"Boat three"))
    client.save(place="Orre harbour", before_place="Orre")
    assert b"Boat three" in sheet.read_bytes()
    with open_catalogue(folder) as catalogue:
        assert catalogue.caption(FIRST, Side.RECTO).place == "Orre harbour"
        assert not catalogue.sheet_is_current()


def test_search_filter_neighbours_and_completion(folder: Path, client: Client) -> None:
    client.save(SECOND, caption="Steamer", before_caption="", people="Zoë Fenn", before_people="Ada Quill; Zoë Fenn")
    contents = Shelf(folder).contents()
    assert contents.people == ("Zoë Fenn", "Ada Quill")
    assert [card.reference for card in contents.seen_in(View("zoe STEAMER"))] == [SECOND]
    assert [card.reference for card in contents.seen_in(View("", lacking=True))] == [FIRST, "2026.001.0003"]
    before, after = contents.beside(View("", lacking=True), SECOND)
    assert before is not None
    assert after is not None
    assert (before.reference, after.reference) == (FIRST, "2026.001.0003")
    page = client.get("/", params={"q": "0002"}).text
    assert "1 original<" in page
    assert 'href="/original/2026-001-0002?q=0002"' in page
    assert client.get("/", params={"page": "-7", "q": "\x00"}).status_code == 200


def test_two_languages_say_the_same_things(client: Client) -> None:
    assert set(ENGLISH) == set(GERMAN)
    page = client.get("/original/2026-001-0001", headers={"accept-language": "de-CH"}).text
    assert '<html lang="de">' in page
    assert ">Aufschrift</label>" in page
    assert client.get("/?lang=de").text.startswith('<!doctype html>\n<html lang="de">')
    assert '<html lang="de">' in client.get("/").text  # remembered

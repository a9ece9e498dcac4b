"""What is saved at the desk is in the catalogue at once, in the caption sheet, and never over somebody else's words."""

from __future__ import annotations

import csv
import json
import re
import sqlite3
from pathlib import Path

import pytest
from desk_collection import FIRST, SECOND, THIRD, Client, build

from surrogate import desk
from surrogate.care import findings
from surrogate.care.inspection import COLUMNS
from surrogate.collection.catalogue import OutlineRow, four_corners, open_catalogue
from surrogate.desk import words
from surrogate.desk.decisions import INSPECTION
from surrogate.desk.texts import LANGUAGES
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
    assert client.get("/date", params={"text": "when Dad was four"}).json() == {"said": LANGUAGES["en"]["as_written"]}
    assert "12 May" in client.get("/date", params={"text": "12/5/1961"}).json()["said"]


def test_works_without_script_and_says_saved(folder: Path, client: Client) -> None:
    answer = client.save(SECOND, title="Boat two", before_title="Boat 2", notes="", before_notes="", approved="yes")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/original/2026-001-0002?told=told_saved"
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
    index = client.app.state.room.index
    index.catch_up()
    assert index.used("people", "", 9) == ["Zoë Fenn", "Ada Quill"]  # by frequency
    assert index.used("people", "qui", 9) == ["Ada Quill"]
    assert client.get("/known", params={"field": "people", "text": "%"}).json() == {"words": []}
    assert found(client, q="zoe STEAM") == [SECOND]
    assert found(client, lacks="1") == [FIRST, THIRD]
    assert found(client, person="quill") == [FIRST, THIRD]
    assert found(client, place="hollin", q="steamer") == [SECOND]
    assert found(client, kind="negative") == []
    page = client.get("/original/2026-001-0002", params={"lacks": "1"}).text
    assert 'rel="prev" href="/original/2026-001-0001?lacks=1"' in page
    assert 'rel="next" href="/original/2026-001-0003?lacks=1"' in page
    page = client.get("/", params={"q": "0002"}).text
    assert "1 original<" in page
    assert 'href="/original/2026-001-0002?q=0002"' in page
    assert client.get("/", params={"page": "-7", "q": "\x00"}).status_code == 200


def found(client: Client, **asked: str) -> list[str]:
    page = client.get("/", params=asked).text
    return re.findall(r'number">([\d.]+)<', page)


def test_a_range_of_years_finds_what_a_date_may_mean(folder: Path, client: Client) -> None:
    for reference, date in ((FIRST, "1940s"), (SECOND, "about 1952"), (THIRD, "1960 to 1965")):
        client.save(reference, date=date, before_date="")
    assert found(client, since="1949") == [FIRST, SECOND, THIRD]
    assert found(client, since="1950", until="1959") == [SECOND]
    assert found(client, until="1945") == [FIRST]
    assert found(client, since="1963", until="1970") == [THIRD]
    assert found(client, since="nonsense") == [FIRST, SECOND, THIRD]


def test_two_languages_say_the_same_things(client: Client) -> None:
    english, german = LANGUAGES["en"], LANGUAGES["de"]
    assert set(english) == set(german)
    for key, text in english.items():
        assert german[key].strip()
        if key != "understood":  # German says a date in EDTF alone
            assert set(re.findall(r"{\w*}", text)) == set(re.findall(r"{\w*}", german[key])), key
    page = client.get("/original/2026-001-0001", headers={"accept-language": "de-CH"}).text
    assert '<html lang="de">' in page
    assert ">Aufschrift</label>" in page
    assert client.get("/?lang=de").text.startswith('<!doctype html>\n<html lang="de">')
    assert '<html lang="de">' in client.get("/").text  # remembered


def test_every_text_is_used_and_every_text_used_is_there() -> None:
    room = Path(desk.__file__).parent
    sources = "\n".join(file.read_text("utf-8") for kind in ("*.py", "templates/*.html") for file in room.glob(kind))
    groups = "strength|tone|kind|grade|access|told|decided|pair|worst|first"
    chosen = re.compile(rf"({groups})_|(faces|language|date)$|\w+_help$")
    unused = [
        key for key in LANGUAGES["en"] if not chosen.match(key) and not re.search(rf"\b{re.escape(key)}\b", sources)
    ]
    assert unused == []


def test_undo_for_the_session_takes_back_one_change_after_the_other(folder: Path, client: Client) -> None:
    client.save(title="Ferry", before_title="Boat 1")
    client.save(SECOND, caption="Steamer", before_caption="")
    answer = client.post("/undo")
    assert answer.headers["location"].startswith("/original/2026-001-0002?")
    assert "caption" not in in_sqlite(folder, SECOND, "recto")[0]
    client.post("/undo")
    assert in_sqlite(folder, FIRST, "recto")[0]["title"] == "Boat 1"
    assert client.post("/undo").headers["location"] == "/"  # nothing left
    client.save(title="Ferry", before_title="Boat 1")
    other = Client(folder).enter()  # somebody else, in a second desk
    other.save(title="Barge", before_title="Ferry")
    assert "told_not_undone" in client.post("/undo").headers["location"]
    assert in_sqlite(folder, FIRST, "recto")[0]["title"] == "Barge"


def test_the_same_as_the_last_one_fills_only_what_is_empty(folder: Path, client: Client) -> None:
    client.save(date="1952", before_date="", box="7", before_box="", place="Orre", before_place="Hollinmere")
    page = client.get("/original/2026-001-0002").text
    assert 'data-alike="1952"' in page
    assert "count=2" in client.post("/original/2026-001-0002/alike").headers["location"]
    cells = in_sqlite(folder, SECOND, "recto")[0]
    assert (cells["date"], cells["box"], cells["place"]) == ("1952", "7", "Hollinmere")


def test_words_are_passed_on_to_a_set_and_nothing_written_is_changed(folder: Path, client: Client) -> None:
    card = ("2026-001-0002", "2026-001-0003", "nonsense")
    assert client.post("/sets", name="Regatta", act="in", card=card).status_code == 303
    assert (folder / "sets/Regatta.txt").read_text().splitlines()[1:] == [SECOND, THIRD]
    assert found(client, set="Regatta") == [SECOND, THIRD]
    client.save(date="1952", before_date="")
    client.save(THIRD, date="1960", before_date="")
    answer = client.post("/original/2026-001-0001/pass-on", set="Regatta", field=("date", "nonsense"))
    assert "count=1&left=1" in answer.headers["location"]
    assert in_sqlite(folder, SECOND, "recto")[0]["date"] == "1952"
    assert in_sqlite(folder, THIRD, "recto")[0]["date"] == "1960"
    assert "1 fields" not in client.get(answer.headers["location"]).text
    assert client.post("/sets?set=Regatta", name="Regatta", act="out", card=("2026-001-0003",)).status_code == 303
    assert found(client, set="Regatta") == [SECOND]
    assert client.post("/sets?q=boat", name="All boats", act="all").status_code == 303
    assert found(client, set="All boats") == [FIRST, SECOND, THIRD]
    assert client.post("/sets", name="../escape", act="in", card=card).status_code == 400
    assert sorted(file.name for file in (folder / "sets").iterdir()) == ["All boats.txt", "Regatta.txt"]


def test_choices_access_and_place_go_into_the_sheet(folder: Path, client: Client) -> None:
    client.save(
        strength="gentle", before_strength="", tone="warm", before_tone="", kind="clipping", before_kind="",
        access="until", until="2031-01-01", before_access="", box="12", before_box="", folder="3", before_folder="",
    )  # fmt: skip
    row = in_sheet(folder, FIRST)
    assert [row[c] for c in ("strength", "tone", "kind", "access", "box", "folder")] == [
        *("gentle", "warm", "clipping", "2031-01-01", "12", "3"),
    ]
    with open_catalogue(folder) as catalogue:
        caption = catalogue.caption(FIRST, Side.RECTO)
    assert (caption.strength, caption.tone, caption.access) == ("gentle", "warm", "2031-01-01")
    for nonsense in ({"access": "nobody"}, {"access": "2031-13-01"}, {"access": "until"}, {"strength": "extreme"}):
        assert client.save(**nonsense, before_access="2031-01-01", before_strength="gentle").status_code == 400
    assert (in_sheet(folder, FIRST)["access"], in_sheet(folder, FIRST)["strength"]) == ("2031-01-01", "gentle")


def test_the_strictest_access_can_be_opened_again(folder: Path, client: Client) -> None:
    with open_catalogue(folder) as catalogue, catalogue.transaction():
        for side in Side:
            words.put_cell(catalogue, FIRST, side, "access", "private")
    client.save(access="", before_access="private")
    assert (in_sheet(folder, FIRST)["access"], in_sheet(folder, FIRST, "verso")["access"]) == ("", "")


def test_inspections_are_added_below_what_people_wrote(folder: Path, client: Client) -> None:
    file = folder / "care/inspections.csv"
    client.post("/original/2026-001-0001/inspection", finding="=damp; edge", by="Ada", action="moved")
    rows = list(csv.DictReader(file.read_text(encoding="utf-8").splitlines()))
    assert [rows[0][c] for c in ("by", "reference", "finding", "action")] == ["Ada", FIRST, "'=damp; edge", "moved"]
    theirs = "date;by;box;folder;reference;finding;action;mine\r\n2026-01-05;Zoë;1;;2026.001.0002;ok;;x"
    file.write_bytes(b"\xef\xbb\xbf" + theirs.encode())
    client.post("/original/2026-001-0002/inspection", finding="mould?", by="", action="")
    assert file.read_bytes().startswith(b"\xef\xbb\xbf" + theirs.encode() + b"\r\n")
    assert INSPECTION == COLUMNS
    assert [(found.reference, found.words) for found in findings.read(file)] == [(SECOND, "mould?")]
    page = client.get("/original/2026-001-0002").text
    assert "2026-01-05, Zoë: ok" in page
    assert ": mould?" in page
    assert client.post("/original/2026-001-0001/inspection", finding=" ").status_code == 400


def test_faces_are_kept_on_the_scan_and_shown_on_the_copy(folder: Path, client: Client) -> None:
    with open_catalogue(folder) as catalogue, catalogue.transaction():
        outline = four_corners([(6, 4), (54, 4), (54, 36), (6, 36)])  # of a scan of 60 by 40
        catalogue.put_outlines(FIRST, Side.RECTO, [OutlineRow(FIRST, Side.RECTO, 1, outline, None, "")])
    told = client.save(faces="Ada Quill @ 0.5 0.25 0.05", before_faces="", headers=FIELD).json()[0]
    assert told["value"] == "Ada Quill @ 0.5000 0.3000 0.0400"
    assert in_sheet(folder, FIRST)["faces"] == told["value"]
    page = client.get("/original/2026-001-0001").text
    assert '<span data-name="Ada Quill" data-x="0.5" data-y="0.25"' in page
    assert '<span data-name="Zoë Fenn"></span>' in page


def test_somebody_unknown_is_a_question_for_the_family(folder: Path, client: Client) -> None:
    assert "2026.001.0001" not in client.get("/questions").text
    client.save(people="Ada Quill; ?; ?", before_people="Ada Quill; Zoë Fenn")
    client.save(faces="? @ 0.5 0.5 0.05", before_faces="")
    page = client.get("/questions").text
    assert "2 people are unknown" in page
    assert "Also in the picture: Ada Quill" in page
    assert "marked 2 in the picture" in page
    assert "Person 3 from the left" in page
    assert found(client, unknown="1") == [FIRST]

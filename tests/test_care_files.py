"""The files of `care`: complete, readable by other programs, and what people filled in is left alone."""

import csv
import re
from datetime import date
from pathlib import Path
from unicodedata import normalize

import pytest
import vobject
from icalendar import Calendar
from pypdf import PdfReader

from surrogate.care import Plan, care
from surrogate.care.sources import SOURCES
from surrogate.errors import CollectionUnusable, WrongUse
from surrogate.handover.manifest import write
from surrogate.records import CollectionInfo, Kind, Location, Master, Original, Side, Software

START = date(2026, 11, 25)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    master = Master(side=Side.RECTO, file="masters/a_r.tif", sha256="0" * 64, bytes=1, width=600, height=900, bits=8,
                    ppi=150.0, profile=None, scanned_as="a.tif")  # fmt: skip
    originals = [
        Original(reference="1", kind=Kind.COLOUR_PRINT, kind_confidence=1.0, title="=Ferry", masters=[master],
                 location=Location(box="1")),
        Original(reference="2", kind=Kind.NEGATIVE, kind_confidence=1.0, date="1936", location=Location(box="1")),
        Original(reference="3", kind=Kind.CLIPPING, kind_confidence=1.0),
        Original(reference="4", kind=Kind.TARGET, kind_confidence=1.0),
    ]  # fmt: skip
    write(tmp_path, CollectionInfo(name="Örne", credit="", rights=""), Software(name="s", version="1"), originals, [])
    return tmp_path


def _rows(file: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(file.read_text(encoding="utf-8").splitlines()))


def test_tables(folder: Path) -> None:
    report = care(folder, Plan(lux=50, hours=8), start=START)
    assert report.maybe_nitrate == ["2"]
    assert [row["reference"] for row in _rows(folder / "care/enclosures.csv")] == ["1", "2", "3"]
    first = _rows(folder / "care/enclosures.csv")[0]
    assert first["side_mm"] == "102 x 152"
    assert "PVC" not in first["enclosure"]
    assert "[C2]" in first["storage"]
    row = _rows(folder / "care/light.csv")[0]
    assert (row["sensitivity"], row["dose_lxh_per_year"]) == ("high", "146000")
    assert float(row["years_to_noticeable_fade"]) == pytest.approx(6.85, rel=0.01)  # blue wool 2 at 50 lx, 8 h


def test_sheet_says_what_matters(folder: Path) -> None:
    care(folder, start=START)
    words = normalize(
        "NFKC", " ".join(page.extract_text() for page in PdfReader(folder / "care/care_sheet.pdf").pages)
    )  # fi is one glyph
    html = (folder / "care/care_sheet.html").read_text(encoding="utf-8")
    # every mark leads to its source
    assert set(re.findall(r'href="#([A-Z]\d)"', html)) <= set(re.findall(r'<tr id="([A-Z]\d)">', html)) == set(SOURCES)
    for needed in ("Box 1", "nitrate", "fire brigade", "People first", "48 hours"):
        assert needed in " ".join(words.split())
        assert needed in html


def test_calendar_is_stable_and_valid(folder: Path) -> None:
    care(folder, start=START)
    book = folder / "care/inspections.ics"
    first = book.read_bytes()
    events = list(Calendar.from_ical(first).walk("VEVENT"))
    assert len(events) == len({str(event["UID"]) for event in events}) == 10
    assert events[0].decoded("DTSTART") == date(2027, 4, 1)
    # RFC 5545, 3.1: lines of at most 75 octets ended by CRLF; 3.6: what a calendar and an event must hold
    lines = first.split(b"\r\n")
    assert all(len(line) <= 75 and b"\n" not in line for line in lines)
    assert [lines.count(f"{word}:VEVENT".encode()) for word in ("BEGIN", "END")] == [10, 10]
    assert sum(line.startswith(b"DTSTAMP:") for line in lines) == 10
    # a second parser of another make reads the same days and UIDs
    others = vobject.readOne(first.decode()).vevent_list
    assert [(e.uid.value, e.dtstart.value) for e in others] == [(str(e["UID"]), e.decoded("DTSTART")) for e in events]
    care(folder)  # without a start, another day: nothing changes
    assert book.read_bytes() == first


def test_filled_in_inspections_stay_and_warn(folder: Path) -> None:
    care(folder, start=START)
    sheet = folder / "care/inspections.csv"
    filled = "date,by,box,folder,reference,finding,action\n2027-04-01,Ada,1,,1,curling,\n2027-04-01,Ada,1,,2,curling,\n"
    sheet.write_text(filled + "2027-04-01,Ada,2,,3,damp corner,moved\n")
    before = sheet.read_bytes()
    report = care(folder, start=START)
    assert sheet.read_bytes() == before
    assert any("damp corner" in line for line in report.warnings)
    assert any("2 times" in line for line in report.warnings)
    html = (folder / "care/care_sheet.html").read_text(encoding="utf-8")
    assert "2027 spring" in html
    assert "damp corner" in html


def test_what_was_shown_is_counted(folder: Path) -> None:
    care(folder, start=START, today=START)
    record = folder / "care/exhibitions.csv"
    assert record.read_text(encoding="utf-8").startswith("reference,what,from,to,lux,hours_per_day")
    # by hand: 30 days x 50 lx x 10 h = 15,000 lx h, the whole yearly dose of CIE 157 for the most sensitive; of the
    # 1 Mlx h of blue wool 2 it is 1.5 %; then three years of rest (Wagner and others 2000)
    row = "1;3,spring show,2026-10-01,2026-10-30,50,10,\n1,window,2026-11-01,2026-11-10,100,10,yes\n"
    record.write_text("reference,what,from,to,lux,hours_per_day,ultraviolet\n" + row)
    before = record.read_bytes()
    report = care(folder, Plan(places=2, lux=50, hours=10), start=START, today=START)
    used = {row["reference"]: row for row in _rows(folder / "care/light_used.csv")}
    assert (used["3"]["dose_lxh"], used["3"]["share_of_noticeable"]) == ("15000", "0.015")
    # the window: 10 days x 100 lx x 10 h = 10,000 lx h, of 0.6 Mlx h with ultraviolet 1.7 %
    assert (used["1"]["dose_lxh"], used["1"]["share_of_noticeable"]) == ("25000", "0.032")
    assert used["1"]["may_hang_from"] == "2029-11-10"
    assert any("1 had 25,000 lux hours" in line for line in report.warnings)
    assert record.read_bytes() == before
    # both that may hang rest, and film is never hung
    html = (folder / "care/care_sheet.html").read_text(encoding="utf-8")
    assert "<td>1</td><td>the copy</td><td></td><td>25 November 2026</td><td>24 November 2027</td>" in html
    record.write_text("reference,what,from,to,lux,hours_per_day\n1,show,May,June,50,10\n")
    with pytest.raises(WrongUse, match="line 2"):
        care(folder, start=START)


def test_loggers_are_judged(folder: Path) -> None:
    place = folder / "care/climate"
    place.mkdir(parents=True)
    (place / "cellar.csv").write_text("time,temperature,humidity\n2026-03-01 00:00,15,70\n2026-03-01 01:00,15,70\n")
    report = care(folder, start=START)
    assert any("cellar" in line and "Mould" in line for line in report.warnings)
    assert "cellar" in (folder / "care/care_sheet.html").read_text(encoding="utf-8")


def test_the_round_has_its_sheet(folder: Path) -> None:
    care(folder, start=START)
    words = " ".join(page.extract_text() for page in PdfReader(folder / "care/inspection_round.pdf").pages)
    # the film in it is asked what no scan shows, and its date clears nothing
    for needed in (
        "1 April 2027",
        "mould",
        "insects",
        "all right",
        "vinegar",
        "Treat as nitrate until judged: 2",
        "Local rules",
    ):
        assert needed in normalize("NFKC", words)


def test_wrong_use_is_said(folder: Path, tmp_path: Path) -> None:
    with pytest.raises(WrongUse, match="24 hours"):
        care(folder, Plan(hours=25))
    with pytest.raises(WrongUse, match="lux"):
        care(folder, Plan(lux=-1))
    with pytest.raises(CollectionUnusable, match="manifest"):
        care(tmp_path / "nothing")

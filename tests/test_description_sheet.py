"""The caption sheet in any shape: RFC 4180 cases, encodings by Python's own codecs, workbooks written by openpyxl."""

from __future__ import annotations

import contextlib
import csv
import datetime as dt
import io
import random
import re
import zipfile
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surrogate.collection.cells import plain_cell, safe_cell
from surrogate.description.columns import COLUMNS, column_for
from surrogate.description.encodings import decode
from surrogate.description.matching import matching
from surrogate.description.sheet import Sheet, caption_from, read_sheet, write_sheet
from surrogate.errors import WrongUse
from surrogate.records import Kind, Side, Strength, Tone


def saved(tmp_path: Path, text: str, encoding: str = "utf-8", name: str = "sheet.csv") -> Path:
    path = tmp_path / name
    path.write_bytes(text.encode(encoding))
    return path


def only_row(path: Path) -> dict[str, str]:
    (row,) = read_sheet(path).rows
    return row.written


SENTENCE = "Zoë’s café – “Ærø”, naïve; 30 °C"


@pytest.mark.parametrize(
    ("encoding", "said"),
    [
        ("utf-8", None),
        ("utf-8-sig", None),
        ("utf-16", "UTF-16"),
        ("utf-16-le", "UTF-16"),
        ("utf-16-be", "UTF-16"),
        ("cp1252", "Windows-1252"),
        ("mac_roman", "Mac Roman"),
    ],
)
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_encodings_and_delimiters(tmp_path: Path, encoding: str, said: str | None, delimiter: str) -> None:
    text = io.StringIO()
    writer = csv.writer(text, delimiter=delimiter)
    writer.writerows([["file", "caption", "people"], ["a.tif", SENTENCE, "Ida; Zoë"]])
    sheet = read_sheet(saved(tmp_path, text.getvalue(), encoding))
    assert sheet.rows[0].written == {"file": "a.tif", "caption": SENTENCE, "people": "Ida; Zoë"}
    assert [said in note for note in sheet.notes] == ([True] if said else [])


@pytest.mark.parametrize(
    "words",
    [
        *("Großmutter mit Äpfeln, Köln", "Élise et François à la fête", "El niño y la señora Muñoz", "Åse på Færøerne"),
        *("Anne’s “best” hat – Sunday…", "São João, avó", "Città di Forlì, perché", "5 °C in Kraków", "Crêpe, bœuf"),
    ],
)
def test_windows_and_mac_are_told_apart_by_few_letters(words: str) -> None:
    for codec, name in (("cp1252", "Windows-1252"), ("mac_roman", "Mac Roman")):
        assert decode("sheet.csv", words.encode(codec)) == (words, name)


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        # RFC 4180, section 2, rules 1 to 7
        ("file,caption\r\naaa,bbb\r\nzzz,yyy\r\n", [["aaa", "bbb"], ["zzz", "yyy"]]),
        ("file,caption\r\naaa,bbb\r\nzzz,yyy", [["aaa", "bbb"], ["zzz", "yyy"]]),
        ('file,caption\r\n"aaa","b \r\nbb"\r\n', [["aaa", "b \r\nbb"]]),
        ('file,caption\r\n"aaa","b""bb"\r\n', [["aaa", 'b"bb']]),
        ('file,caption\r\n"a,aa","bbb"\r\n', [["a,aa", "bbb"]]),
        ("file,caption\naaa,bbb\n", [["aaa", "bbb"]]),
        ("file,caption\raaa,bbb\r", [["aaa", "bbb"]]),
        ("sep=;\r\nfile;caption\r\naaa;b,b\r\n", [["aaa", "b,b"]]),
        ("file,caption\n\n,\naaa,bbb\n", [["aaa", "bbb"]]),
    ],
)
def test_cases_of_the_csv_standard(tmp_path: Path, text: str, rows: list[list[str]]) -> None:
    sheet = read_sheet(saved(tmp_path, text))
    assert [[row.written["file"], row.written["caption"]] for row in sheet.rows] == rows


def test_line_numbers_are_those_of_the_file(tmp_path: Path) -> None:
    sheet = read_sheet(saved(tmp_path, 'file,caption\na,"one\ntwo"\n\nb,three\n'))
    assert [row.line for row in sheet.rows] == [2, 5]


def test_headers_in_any_order_case_wording_and_language(tmp_path: Path) -> None:
    text = "Written on the Back,Who?,Année,FILE NAME,Ref. No.,Shelf,Photographer\nx,Ida,1943,a.tif,7,top,Ek\n"
    sheet = read_sheet(saved(tmp_path, text), {"Année": "date"})
    assert sheet.columns == ["inscription", "people", "date", "file", "reference", "Shelf", "creator"]
    row = sheet.rows[0]
    assert (row.caption.inscription, row.caption.date, row.caption.creator) == ("x", "1943", "Ek")
    assert row.extra == {"Shelf": "top"}


def test_every_wording_leads_to_one_column() -> None:
    assert [column_for(column.upper(), {}) for column in COLUMNS] == list(COLUMNS)
    assert column_for("Beschreibung", {"beschreibung": "caption"}) == "caption"
    assert column_for("Beschreibung", {}) is None


def test_rows_above_the_header_and_columns_without_name(tmp_path: Path) -> None:
    sheet = read_sheet(saved(tmp_path, "Box 4 of the village album\n\nfile,caption,,caption\na,b,c,d\n"))
    assert sheet.rows[0].written == {"file": "a", "caption": "b"}
    assert sheet.rows[0].extra == {"column 3": "c", "caption (2)": "d"}
    assert any("above line 3" in note for note in sheet.notes)
    assert any("twice" in note for note in sheet.notes)


def test_cells_beyond_the_header_are_kept(tmp_path: Path) -> None:
    sheet = read_sheet(saved(tmp_path, "file,caption\na,Ida, who rows\n"))
    assert sheet.rows[0].extra == {"column 3": " who rows"}


def test_unknown_words_are_notes_and_leave_things_alone(tmp_path: Path) -> None:
    text = (
        "file,side,kind,strength,tone,approved,date,caption\n"
        "a,front,Silver print,GENTLE,as found,Yes,about 1943,ok\n"
        "b,left,tintype,soft,blue,perhaps,when Dad was four,\x07bell\n"
    )
    sheet = read_sheet(saved(tmp_path, text))
    good, odd = (row.caption for row in sheet.rows)
    assert (good.kind, good.strength, good.tone, good.approved) == (
        Kind.SILVER_PRINT,
        Strength.GENTLE,
        Tone.AS_FOUND,
        True,
    )
    assert caption_from({"strength": "Leave  alone"}, "", []).strength is Strength.NONE
    assert sheet.rows[0].side is Side.RECTO
    assert good.date == "1943~"
    assert (odd.kind, odd.strength, odd.tone, odd.approved, odd.date) == (None, None, None, False, "when Dad was four")
    assert odd.caption == "bell"
    for word in ("'left'", "'tintype'", "'soft'", "'blue'", "'perhaps'", "'when Dad was four'", "U+0007"):
        assert sum(word in note and "line 3" in note for note in sheet.notes) == 1
    assert sheet.rows[1].written["caption"] == "\x07bell"


def test_people_keep_order_question_marks_and_names_as_written(tmp_path: Path) -> None:
    sheet = read_sheet(saved(tmp_path, 'file,people\na,"Ida Holm (née Berg); ?;  Jan; ? (with dog);"\n'))
    assert sheet.rows[0].caption.people == ["Ida Holm (née Berg)", "?", "Jan", "? (with dog)"]


def workbook(path: Path) -> Path:
    book = openpyxl.Workbook()
    page = book.active
    page.append(["Photographs of the harbour"])
    page.append(["File", "Title", "Date", "Box", "Caption", "Approved", "Notes"])
    page.append(["a.tif", 1943, dt.date(1943, 5, 12), 7.0, "=1+1", True, 2.5])
    page["C4"], page["C4"].number_format = dt.date(1943, 5, 1), "mmm\\-yy"
    page["A4"] = "b.tif"
    page["A5"], page["C5"] = "c.tif", dt.date(1943, 1, 1)
    page["C5"].number_format = "yyyy"
    page["A6"], page["B6"] = "d.tif", "#REF!"
    page["B6"].data_type = "e"
    page.merge_cells("A1:C1")
    book.create_sheet("Old list").append(["file"])
    book.save(path)
    return path


def test_a_workbook_with_dates_numbers_formulas_and_merged_cells(tmp_path: Path) -> None:
    sheet = read_sheet(workbook(tmp_path / "sheet.xlsx"))
    rows = {row.file: row for row in sheet.rows}
    first = rows["a.tif"]
    assert first.written == {
        "file": "a.tif",
        "title": "1943",
        "date": "1943-05-12",
        "box": "7",
        "caption": "",
        "approved": "yes",
        "notes": "2.5",
    }
    assert rows["b.tif"].caption.date == "1943-05"
    assert rows["c.tif"].caption.date == "1943"
    assert rows["d.tif"].caption.title == ""
    notes = " ".join(sheet.notes)
    for word in ("E3 holds a formula", "B6 holds the error", "A1:C1 are merged", "Old list", "above line 2"):
        assert word in notes


def test_the_value_of_a_formula_is_read_where_it_was_saved(tmp_path: Path) -> None:
    path = tmp_path / "sheet.xlsx"
    book = openpyxl.Workbook()
    book.active.append(["file", "caption"])
    book.active.append(["a.tif", '="Ida "&"rows"'])
    book.save(path)
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    page = parts["xl/worksheets/sheet1.xml"].decode()
    page = re.sub(r"<v ?/>|<v></v>", "<v>Ida rows</v>", page.replace('<c r="B2"', '<c r="B2" t="str"'))
    parts["xl/worksheets/sheet1.xml"] = page.encode()
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    assert only_row(path)["caption"] == "Ida rows"


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "is empty"),
        (b"\x89PNG\r\n\x1a\n" + bytes(200), "is not a caption sheet"),
        (b"PK\x03\x04 broken", "is not a spreadsheet"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(99), "without a password"),
        (b"caption,date\nx,1943\n", "no column for the file name"),
    ],
)
def test_what_is_no_sheet_is_said_in_one_sentence(tmp_path: Path, content: bytes, message: str) -> None:
    path = tmp_path / "sheet.csv"
    path.write_bytes(content)
    with pytest.raises(WrongUse, match=message):
        read_sheet(path)


def test_missing_sheets_folders_and_wrong_settings(tmp_path: Path) -> None:
    with pytest.raises(WrongUse, match="does not exist"):
        read_sheet(tmp_path / "none.csv")
    with pytest.raises(WrongUse, match="is a folder"):
        read_sheet(tmp_path)
    with pytest.raises(WrongUse, match="no column of the caption sheet"):
        read_sheet(saved(tmp_path, "file\na\n"), {"Datum": "dates"})


def test_a_quotation_mark_that_is_not_closed_is_said(tmp_path: Path) -> None:
    sheet = read_sheet(saved(tmp_path, 'file,caption\na,"open\nb,x\n'))
    assert any("quotation mark" in note for note in sheet.notes)


@pytest.mark.parametrize("lock", [".~lock.captions.csv#", "~$captions.csv"])
def test_a_sheet_that_a_spreadsheet_program_holds_is_not_touched(tmp_path: Path, lock: str) -> None:
    path = saved(tmp_path, "file,caption\na,b\n", name="captions.csv")
    (tmp_path / lock).touch()
    with pytest.raises(WrongUse, match="save and close it"):
        write_sheet(path, [{"file": "a", "caption": "new"}])
    assert path.read_text() == "file,caption\na,b\n"
    assert any("is open in a spreadsheet program" in note for note in read_sheet(path).notes)


def test_a_written_sheet_opens_right_and_runs_nothing(tmp_path: Path) -> None:
    path = tmp_path / "captions.csv"
    hostile = ["=cmd()", "+1", "-1", "@x", "\tx", "\rx", "'=x", "plain"]
    write_sheet(path, [{"file": "a", "title": cell, "My =own": cell} for cell in hostile], ["My =own", "=bad"])
    assert path.read_bytes().startswith(b"\xef\xbb\xbf")
    with path.open(encoding="utf-8-sig", newline="") as handle:
        rows = list(csv.reader(handle))
    assert rows[0] == [*COLUMNS, "My =own", "'=bad"]
    assert all(not cell.startswith(("=", "+", "-", "@", "\t", "\r")) for row in rows for cell in row)
    assert [row.written["title"] for row in read_sheet(path).rows] == hostile
    assert [row.extra["My =own"] for row in read_sheet(path).rows] == hostile
    assert list(tmp_path.iterdir()) == [path]


@given(st.text(max_size=30))
def test_safe_cells_come_back_exactly(text: str) -> None:
    assert plain_cell(safe_cell(text)) == text
    assert not safe_cell(text).startswith(("=", "+", "-", "@", "\t", "\r"))


_WORDS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=20)


@settings(max_examples=60, deadline=None)
@given(
    rows=st.lists(
        st.fixed_dictionaries({"title": _WORDS, "caption": _WORDS, "notes": _WORDS, "own": _WORDS}), max_size=5
    )
)
def test_what_is_written_is_read_again(tmp_path_factory: pytest.TempPathFactory, rows: list[dict[str, str]]) -> None:
    path = tmp_path_factory.getbasetemp() / "round.csv"
    filled = [{"file": f"{n}.tif", **row} for n, row in enumerate(rows)]
    write_sheet(path, filled, ["own"])
    found = read_sheet(path).rows
    assert [{**{k: v for k, v in row.written.items() if k in filled[0]}, **row.extra} for row in found] == filled


def sheet_of(*files: str) -> Sheet:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "s.csv"
        write_sheet(path, [{"file": file, "title": str(n)} for n, file in enumerate(files)])
        return read_sheet(path)


@pytest.mark.parametrize(
    ("file", "found"),
    [
        ("album/IMG_0001.tif", "album/IMG_0001.tif"),
        ("IMG_0001.tif", "album/IMG_0001.tif"),
        ("img_0001", "album/IMG_0001.tif"),
        ("album\\img_0001.TIF", "album/IMG_0001.tif"),
        ("C:\\Scans\\album\\IMG_0001.tif", "album/IMG_0001.tif"),
        ("/home/ida/IMG_0001.tif", "album/IMG_0001.tif"),
        ("IMG_0001.jpg", "album/IMG_0001.tif"),
        ("2026.001.0004", "album/2026.001.0004.tif"),
        ("grüße.png", "album/gru\u0308ße.png"),
        ("IMG_0002", None),
        ("IMG_000", None),
    ],
)
def test_rows_find_their_scan_by_name(file: str, found: str | None) -> None:
    names = ["album/IMG_0001.tif", "album/2026.001.0004.tif", "album/gru\u0308ße.png"]
    assert list(matching(sheet_of(file), names).rows) == ([found] if found else [])


def test_the_folder_decides_between_equal_names() -> None:
    names = ["a/1.tif", "b/1.tif", "b/1.jpg"]
    assert list(matching(sheet_of("a/1.tif", "b/1.tif"), names).rows) == ["a/1.tif", "b/1.tif"]
    assert list(matching(sheet_of("x/a/1"), names).rows) == ["a/1.tif"]


def test_ambiguous_rows_are_reported_and_given_to_no_scan() -> None:
    found = matching(sheet_of("1.tif", "2"), ["a/1.tif", "b/1.tif", "2.tif", "2.jpg"])
    assert found.rows == {}
    assert [row.file for row in found.unused] == ["1.tif", "2"]
    assert all("fits 2 scans" in note for note in found.notes)


def test_two_rows_for_one_scan_are_reported() -> None:
    found = matching(sheet_of("1.tif", "1"), ["1.tif"])
    assert found.rows["1.tif"].caption.title == "0"
    assert "lines 2 and 3" in found.notes[0]


def test_damaged_workbooks_are_said_in_one_sentence(tmp_path: Path) -> None:
    whole = workbook(tmp_path / "whole.xlsx").read_bytes()
    damaged = tmp_path / "damaged.xlsx"
    for seed in range(40):
        rng = random.Random(seed)
        data = bytearray(whole)
        for _ in range(rng.randint(1, 20)):
            data[rng.randrange(len(data))] = rng.randrange(256)
        damaged.write_bytes(bytes(data[: rng.randrange(200, len(data))] if seed % 3 == 0 else data))
        with contextlib.suppress(WrongUse):
            read_sheet(damaged)

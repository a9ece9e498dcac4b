"""The manifest against its schema, a spreadsheet's reading of its table, and whole or not at all."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import handmade
import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from surrogate.collection import cells, listing
from surrogate.errors import CollectionUnusable
from surrogate.handover import manifest
from surrogate.handover.words import date_words
from surrogate.records import Manifest, Original


def rows(folder: Path) -> list[dict[str, str]]:
    with (folder / "manifest.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_valid_against_its_schema_and_read_back(tmp_path: Path) -> None:
    written = handmade.build(tmp_path)
    document = json.loads((tmp_path / "manifest.json").read_text("utf-8"))
    schema = json.loads((tmp_path / "manifest.schema.json").read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(document, schema, cls=jsonschema.Draft202012Validator)
    assert listing.read(tmp_path) == written
    assert [item["reference"] for item in document["originals"]] == sorted(o.reference for o in written.originals)


def test_layout_is_that_of_the_standard_library(tmp_path: Path) -> None:
    handmade.build(tmp_path, 3)
    text = (tmp_path / "manifest.json").read_text("utf-8")
    assert text == json.dumps(json.loads(text), indent=2, ensure_ascii=False) + "\n"


def test_empty_collection(tmp_path: Path) -> None:
    manifest.write(tmp_path, handmade.COLLECTION, handmade.SOFTWARE, [], [])
    text = (tmp_path / "manifest.json").read_text("utf-8")
    assert text == json.dumps(json.loads(text), indent=2, ensure_ascii=False) + "\n"
    assert listing.read(tmp_path).originals == []


def test_second_write_leaves_the_files_alone(tmp_path: Path) -> None:
    written = handmade.build(tmp_path)
    files = [tmp_path / name for name in ("manifest.json", "manifest.csv", "manifest.schema.json", "set_aside.csv")]
    before = [file.stat().st_ino for file in files]
    manifest.write(tmp_path, written.collection, written.software, iter(written.originals), written.set_aside)
    assert [file.stat().st_ino for file in files] == before


def test_a_broken_stream_leaves_the_old_manifest(tmp_path: Path) -> None:
    written = handmade.build(tmp_path, 2)
    before = (tmp_path / "manifest.json").read_bytes(), (tmp_path / "manifest.csv").read_bytes()

    def breaking():  # type: ignore[no-untyped-def]
        yield written.originals[0]
        raise RuntimeError("power cut")

    with pytest.raises(RuntimeError):
        manifest.write(tmp_path, written.collection, written.software, breaking(), [])
    assert before == ((tmp_path / "manifest.json").read_bytes(), (tmp_path / "manifest.csv").read_bytes())
    assert not list(tmp_path.glob(".*"))


def test_table_has_one_row_per_copy_with_its_master(tmp_path: Path) -> None:
    written = handmade.build(tmp_path)
    table = rows(tmp_path)
    assert tuple(table[0]) == (
        "reference", "side", "part", "kind", "title", "caption", "date", "box", "folder", "master",
        "master_sha256", "copy", "use", "copy_sha256", "width", "height", "recipe",
    )  # fmt: skip
    assert [row["copy"] for row in table] == [c.file for o in written.originals for c in o.copies]
    for row in table:
        assert (tmp_path / row["master"]).is_file()
        assert (tmp_path / row["recipe"]).is_file()


@given(st.text(alphabet=st.sampled_from("=+-@\t ＝ab'\"\n,;1"), max_size=8))
def test_no_cell_starts_a_formula(text: str) -> None:
    """OWASP, "CSV Injection": cells must not begin with = + - @, tab or carriage return."""
    cell = cells.safe_cell(text)
    assert not cell.lstrip(" ").startswith(("=", "+", "-", "@", "\t", "\r", "＝"))
    assert cells.plain_cell(cell) == text


def test_hostile_text_comes_back_unchanged(tmp_path: Path) -> None:
    first = handmade.build(tmp_path, 1).originals[0]
    nasty = [
        Original.model_validate(first.model_dump() | {"reference": f"2026.001.{n:04}", "caption": text})
        for n, text in enumerate((*handmade.HOSTILE, "two\nlines\u2028three", "\\u0041 \\n"), start=1)
    ]
    manifest.write(tmp_path, handmade.COLLECTION, handmade.SOFTWARE, nasty, [])
    assert listing.read(tmp_path).originals == nasty
    assert [row["caption"].removeprefix("'") for row in rows(tmp_path)[:: len(first.copies)]] == [
        item.caption for item in nasty
    ]


@pytest.mark.parametrize("damage", ["", "{", '{"schema": "surrogate-manifest/1"}', "[]", "\xff"])
def test_damaged_manifest_says_so(tmp_path: Path, damage: str) -> None:
    (tmp_path / "manifest.json").write_bytes(damage.encode("latin-1"))
    with pytest.raises(CollectionUnusable, match=r"manifest\.json is damaged"):
        listing.read(tmp_path)


def test_no_manifest_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(CollectionUnusable, match="surrogate process"):
        listing.read(tmp_path)


def test_schema_refuses_what_is_not_a_manifest() -> None:
    schema = json.loads(manifest.schema())
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"schema": "other"}, schema, cls=jsonschema.Draft202012Validator)
    assert schema["properties"]["originals"]["items"]
    assert set(schema["required"]) == set(Manifest.model_json_schema(mode="serialization")["required"])


@pytest.mark.parametrize(
    ("edtf", "words"),
    [  # forms of EDTF levels 0 and 1, Library of Congress specification (2019); the words are common practice
        ("1985-04-12", "12 April 1985"),
        ("1985-04", "April 1985"),
        ("1985", "1985"),
        ("1964/2008", "1964 to 2008"),
        ("2001-21", "spring 2001"),
        ("1984?", "1984, perhaps"),
        ("2004-06~", "about June 2004"),
        ("2004-06-11%", "about 11 June 2004, perhaps"),
        ("201X", "the 2010s"),
        ("20XX", "between 2000 and 2099"),
        ("2004-XX", "2004"),
        ("1985-04-XX", "April 1985"),
        ("1985-04-12/..", "12 April 1985 or later"),
        ("../1985", "1985 or earlier"),
        ("summer, before the war", "summer, before the war"),
        ("1985-13", "1985-13"),
        ("and/or", "and/or"),
        ("", ""),
    ],
)
def test_dates_in_words(edtf: str, words: str) -> None:
    assert date_words(edtf) == words


def test_listing_reads_what_was_written_one_at_a_time(tmp_path: Path) -> None:
    written = handmade.build(tmp_path, 5)
    listed = listing.Listing(tmp_path)
    assert list(listed) == list(listed) == written.originals
    assert listed.head == written.model_copy(update={"originals": []})


@pytest.mark.parametrize("indent", [None, 1, 4])
def test_listing_reads_other_layouts_too(tmp_path: Path, indent: int | None) -> None:
    written = handmade.build(tmp_path, 2)
    file = tmp_path / "manifest.json"
    file.write_text(json.dumps(json.loads(file.read_text("utf-8")), indent=indent), "utf-8")
    listed = listing.Listing(tmp_path)
    assert list(listed) == written.originals
    assert listed.head.collection == written.collection


def test_listing_of_nothing_and_of_a_damaged_original(tmp_path: Path) -> None:
    manifest.write(tmp_path, handmade.COLLECTION, handmade.SOFTWARE, [], [])
    assert list(listing.Listing(tmp_path)) == []
    handmade.build(tmp_path, 2)
    file = tmp_path / "manifest.json"
    file.write_text(file.read_text("utf-8").replace('"clipping"', '"clip"'), "utf-8")
    with pytest.raises(CollectionUnusable, match="damaged"):
        list(listing.Listing(tmp_path))
    file.write_text("{")
    with pytest.raises(CollectionUnusable, match="damaged"):
        listing.Listing(tmp_path)
    file.unlink()
    with pytest.raises(CollectionUnusable, match="surrogate process"):
        listing.Listing(tmp_path)


def test_a_manifest_that_is_written_anew_while_it_is_read(tmp_path: Path) -> None:
    written = handmade.build(tmp_path, 3)
    listed = listing.Listing(tmp_path)
    manifest.write(tmp_path, written.collection, written.software, written.originals[:2], [])
    with pytest.raises(CollectionUnusable, match="in the meantime"):
        list(listed)

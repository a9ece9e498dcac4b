"""Words already in scans are proposals below the sheet; and words go from sheet to copy and back unchanged."""

from __future__ import annotations

import subprocess
import unicodedata
from pathlib import Path

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from PIL import Image

from surrogate.description.embed import Description, Embedder
from surrogate.description.proposals import fill, proposals, who_said_what
from surrogate.description.sheet import read_sheet, write_sheet
from surrogate.description.text import clean
from surrogate.records import Caption


def a_scan(path: Path, *tags: str) -> Path:
    """A picture with metadata written by exiv2 (keys of its manual), as another program would."""
    Image.fromarray(np.zeros((8, 8, 3), np.uint8)).save(path)
    commands = [part for tag in tags for part in ("-M", tag)]
    if commands:
        subprocess.run(["exiv2", *commands, str(path)], check=True)
    return path


def offered(path: Path) -> dict[str, list[str]]:
    with Embedder() as embedder:
        found = proposals(embedder.read(path))
    fields: dict[str, list[str]] = {}
    for each in found:
        fields.setdefault(each.field, []).append(each.value)
    return fields


def test_captions_of_other_programs_are_offered(tmp_path: Path) -> None:
    path = a_scan(
        tmp_path / "scan.jpg",
        "set Xmp.dc.title lang=x-default Ferry",
        "set Xmp.dc.description lang=x-default Grandmother at the rail",
        "set Iptc.Application2.Caption String Grandmother",
        "set Exif.Image.ImageDescription Ascii Somebody else",
        "set Xmp.photoshop.DateCreated XmpText 1943-05-12",
        "set Xmp.iptcExt.PersonInImage XmpBag Ida",
        "set Iptc.Application2.SubLocation String North quay",
        "set Iptc.Application2.City String Sund",
        "set Exif.Image.Artist Ascii Ek",
        "set Exif.Image.Copyright Ascii Village museum",
        "add Iptc.Application2.Keywords String boats",
        "add Iptc.Application2.Keywords String family",
    )
    fields = offered(path)
    assert fields["title"] == ["Ferry"]
    assert fields["caption"] == ["Grandmother at the rail", "Grandmother", "Somebody else"]
    assert fields["date"] == ["1943-05-12"]
    assert fields["people"] == ["Ida"]
    assert fields["place"] == ["North quay, Sund"]
    assert fields["creator"] == ["Ek"]
    assert fields["rights"] == ["Village museum"]
    assert fields["notes"] == ["Keywords: boats; family"]


def test_the_day_of_scanning_and_the_name_of_the_camera_are_passed_over(tmp_path: Path) -> None:
    path = a_scan(
        tmp_path / "scan.jpg",
        "set Exif.Image.Make Ascii ACME",
        "set Exif.Image.Model Ascii S100",
        "set Exif.Image.ImageDescription Ascii ACME DIGITAL CAMERA",
        "set Exif.Photo.DateTimeOriginal Ascii 2026:03:01 10:11:12",
        "set Xmp.photoshop.DateCreated XmpText 2026-03-01T10:11:12",
    )
    assert offered(path) == {}


def test_text_in_an_unmarked_encoding_is_understood(tmp_path: Path) -> None:
    path = a_scan(tmp_path / "scan.jpg")
    caption = tmp_path / "caption.txt"
    caption.write_text("Zoë’s café", encoding="utf-8")
    subprocess.run(
        ["exiftool", "-q", "-overwrite_original", "-charset", "iptc=Latin", f"-IPTC:Caption-Abstract<={caption}", path],
        check=True,
    )
    assert offered(path)["caption"] == ["Zoë’s café"]


def test_iim_comes_first_where_a_program_changed_only_it(tmp_path: Path) -> None:
    path = a_scan(tmp_path / "copy.jpg")
    with Embedder() as embedder:
        embedder.write(path, Description(caption="as written"))
    subprocess.run(["exiv2", "-M", "set Iptc.Application2.Caption String changed later", str(path)], check=True)
    assert offered(path)["caption"][0] == "changed later"


def test_the_sheet_stands_above_and_disagreement_is_reported() -> None:
    found = {"XMP-dc:Title": "Steamer", "XMP-dc:Description": "At the quay", "IFD0:ImageDescription": "On the pier"}
    caption, used = fill(Caption(title="Ferry"), proposals(found))
    assert (caption.title, caption.caption) == ("Ferry", "At the quay")
    assert [each.place for each in used] == ["XMP-dc:Description"]
    said = who_said_what(Caption(title="Ferry"), proposals(found))
    assert said == [
        "title: the sheet says 'Ferry'; XMP-dc:Title says 'Steamer'.",
        "caption: XMP-dc:Description says 'At the quay'; IFD0:ImageDescription says 'On the pier'.",
    ]


def test_a_place_keeps_its_identifier(tmp_path: Path) -> None:
    path = a_scan(tmp_path / "copy.jpg")
    with Embedder() as embedder:
        embedder.write(path, Description(place="Sund (https://example.org/place/1)"))
    assert offered(path)["place"][0] == "Sund https://example.org/place/1"


def test_a_value_cut_by_iim_agrees_with_the_whole() -> None:
    long = "Photograph by Ek and Daughters, North Quay, Sund"
    found = {"XMP-dc:Creator": [long], "IPTC:By-line": long[:32], "IFD0:Artist": long}
    assert who_said_what(Caption(), proposals(found)) == []


def test_a_file_without_words_offers_nothing(tmp_path: Path) -> None:
    assert offered(a_scan(tmp_path / "scan.tif")) == {}
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(b"\xff\xd8\xff\xe1")
    assert offered(broken) == {}


_TEXT = st.text(st.characters(exclude_categories=["Cs", "Cc"], include_characters="\n\t"), max_size=40)
# ExifTool hands the bare words true and false over without their case.
_TEXT = _TEXT.filter(lambda text: text.strip().lower() not in ("true", "false"))
_LINE = _TEXT.map(lambda text: text.replace(";", ",").replace("\n", " "))


@pytest.fixture(scope="module")
def workplace(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("round")


@pytest.fixture(scope="module")
def embedder() -> object:
    with Embedder() as tool:
        yield tool


@settings(max_examples=15, deadline=None, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(
    rows=st.lists(
        st.fixed_dictionaries(
            {
                **dict.fromkeys(("title", "caption", "inscription", "place", "creator", "rights"), _TEXT),
                "people": st.lists(_LINE, max_size=3).map("; ".join),
                "date": st.sampled_from(["", "1943", "1943~", "1943-05-12", "194X", "1940/1945", "when Dad was four"]),
            }
        ),
        min_size=1,
        max_size=4,
    )
)
def test_from_sheet_to_copy_and_back(workplace: Path, embedder: Embedder, rows: list[dict[str, str]]) -> None:
    sheet = workplace / "captions.csv"
    write_sheet(sheet, [{"file": f"{n}.jpg", **row} for n, row in enumerate(rows)])
    read = read_sheet(sheet).rows
    items = []
    for row in read:
        fields = ("title", "caption", "inscription", "place", "creator", "rights", "date", "people")
        words = Description.model_validate({name: getattr(row.caption, name) for name in fields})
        items.append((a_scan(workplace / row.file), words))
    embedder.write_many(items)
    for (path, _), written in zip(items, rows, strict=True):
        caption, _ = fill(Caption(), proposals(embedder.read(path)))
        for name in ("title", "caption", "inscription", "place", "creator", "rights"):
            wanted = unicodedata.normalize("NFC", clean(written[name]).text).strip()
            if name == "caption" and not wanted:
                continue  # the caption field then holds the inscription alone
            assert getattr(caption, name) == wanted, name
        if written["date"][:1].isdigit() and "X" not in written["date"]:
            assert caption.date == written["date"]

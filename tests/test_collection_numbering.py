"""Reference numbers: patterns, file names, numbers found in the names of scans."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from surrogate.collection.numbering import (
    NAME_CHARACTERS,
    Parts,
    Pattern,
    group_of,
    name_of,
    next_item,
    reference_in_name,
)
from surrogate.errors import WrongUse

THREE_PART = Pattern.parse("{year}.{accession:03}.{item:04}")


@pytest.mark.parametrize(
    ("pattern", "values", "written"),
    [
        # The museum's three-part number: 2014.19.8 = the 8th object of the 19th gift of 2014
        # (nwcmuseum.wordpress.com, 9 August 2017).
        ("{year}.{accession}.{item}", (2014, 19, 8, None), "2014.19.8"),
        ("{year}.{accession:03}.{item:04}", (2014, 19, 8, None), "2014.019.0008"),
        # British practice: 1992.1234 (collectionstrust.org.uk, object number).
        ("{year}.{item}", (1992, None, 1234, None), "1992.1234"),
        # Entry numbers: E2561.1 (SPECTRUM, quoted at studylib.net/doc/7505874).
        ("E{accession}.{item}", (None, 2561, 1, None), "E2561.1"),
        # A plain running number and a letter by kind: common practice, no source.
        ("{item:05}", (None, None, 42, None), "00042"),
        ("{letter}{item:04}", (None, None, 7, "N"), "N0007"),
        ("{letter}{item:04}", (None, None, 7, ""), "0007"),
        ("{year}-{letter}{item:04}", (1998, None, 12345, "P"), "1998-P12345"),
    ],
)
def test_written_and_read_back(pattern, values, written):
    rule = Pattern.parse(pattern)
    assert rule.format(*values) == written
    parts = rule.parse_reference(written)
    assert parts is not None
    assert (parts.year, parts.accession, parts.item, parts.letter or "") == (*values[:3], values[3] or "")


@given(st.integers(1000, 9999), st.integers(1, 99_999), st.integers(1, 999_999))
def test_every_number_comes_back(year, accession, item):
    reference = THREE_PART.format(year, accession, item)
    assert THREE_PART.parse_reference(reference) == Parts(item, year, accession)


def test_numbers_sort_as_text_within_the_width():
    written = [THREE_PART.format(2014, 19, item) for item in (2, 10, 100, 999, 1000, 9999)]
    assert written == sorted(written)


@pytest.mark.parametrize("text", ["2014.19.8", "2014.019.00008", "2014.019.0000", "x2014.019.0008", "", "2014.019."])
def test_other_numbers_are_not_of_the_pattern(text):
    assert THREE_PART.parse_reference(text) is None


@pytest.mark.parametrize(
    "pattern",
    [
        "",
        "photo",
        "{year}.{accession}",
        "{item}{item}",
        "{item}.{year}",
        "{number}",
        "{item:4}",
        "{item:00}",
        "{item:0x}",
        "{year:02}.{item}",
        "{letter:2}{item}",
        "{item",
        "item}",
        "{}",
        "{{item}}",
        "{accession}{item:04}",
        "{accession}7{item}",
        "no{letter}{item}",
        "{letter}no{item}",
        "../{item}",
        "-{item}",
        "a\n{item}",
        "Ü{item}",
        'a"{item}',
        "{year}.{accession:03}.{item:04} ",
        "the collection of the parish of our lady/{item}",
        "{item!r}",
        "{item.real}",
    ],
)
def test_a_wrong_pattern_is_refused_in_one_sentence(pattern):
    with pytest.raises(WrongUse) as caught:
        Pattern.parse(pattern)
    words = str(caught.value)
    assert "\n" not in words.replace(pattern, "")
    assert re.fullmatch(r"The reference pattern .*; a pattern that works is .*\.", words, re.DOTALL)


def test_a_missing_or_impossible_part_is_explained():
    with pytest.raises(WrongUse, match=r"needs a number for \{year\}"):
        THREE_PART.format(None, 1, 1)
    with pytest.raises(WrongUse, match="item of a reference number must be 1 to"):
        THREE_PART.format(2014, 1, 0)
    with pytest.raises(WrongUse, match="year of a reference number must be 1000 to 9999"):
        THREE_PART.format(14, 1, 1)
    with pytest.raises(WrongUse, match="one to three letters"):
        Pattern.parse("{letter}{item}").format(None, None, 1, "N1")


@pytest.mark.parametrize(
    ("reference", "name", "group"),
    [
        ("2014.019.0008", "2014-019-0008", "2014-019"),
        ("1998-P0012", "1998-p0012", "1998-p"),
        ("P0003", "p0003", "p"),
        ("00042", "00042", "items"),
        ("E2561.1", "e2561-1", "e2561"),
        ("1978.10.3b", "1978-10-3b", "1978-10"),
    ],
)
def test_names_and_groups(reference, name, group):
    assert name_of(reference) == name
    assert group_of(reference) == group


@given(st.text(min_size=1, max_size=60))
def test_every_reference_gets_a_safe_name(reference):
    for name in (name_of(reference), group_of(reference)):
        # FADGI 2016, p. 83-85: at most 32 characters with suffix and extension; no special characters.
        assert len(name + "_r_thumbnail.jpg") <= 32
        assert re.fullmatch(r"[a-z0-9][a-z0-9-]*", name)
        assert name not in {"con", "prn", "aux", "nul", "com1", "lpt1"}
    assert len(name_of(reference)) <= NAME_CHARACTERS


def test_a_reference_code_with_country_and_repository_keeps_its_item_in_sight():
    # The form of such codes: DACS 2.1 (country, repository, local identifier).
    assert name_of("GB 0074 ACC/1234/5/6").endswith("1234-5-6")
    assert name_of("GB 0074 ACC/1234/5/6") != name_of("GB 0075 ACC/1234/5/6")


@pytest.mark.parametrize(
    ("filename", "reference"),
    [
        ("2014.019.0008.tif", "2014.019.0008"),
        ("2014-019-0008_r.tif", "2014.019.0008"),
        ("2014_019_0008 back.JPG", "2014.019.0008"),
        ("2014.019.0008v.tif", "2014.019.0008"),
        ("box 3/2014.019.0008", "2014.019.0008"),
        ("scan of 2014.019.10008 (front).png", "2014.019.10008"),
        ("IMG_0002.jpg", None),
        ("2014-05-17.jpg", None),
        ("2014-05-17 12.30.07.jpg", None),
        ("12014.019.0008.tif", None),
        ("2014.019.0008c.tif", None),
        ("2014.019.00080001", None),
        ("grandmother.tif", None),
        ("", None),
    ],
)
def test_a_reference_in_the_name_of_a_scan(filename, reference):
    assert reference_in_name(filename, THREE_PART) == reference


def test_bare_numbers_count_only_when_the_name_is_nothing_else():
    bare = Pattern.parse("{item:04}")
    assert reference_in_name("0002.tif", bare) == "0002"
    assert reference_in_name("0002_verso.tif", bare) == "0002"
    assert reference_in_name("IMG_0002.tif", bare) is None
    assert reference_in_name("scan 0002.tif", bare) is None
    lettered = Pattern.parse("{letter}{item:04}")
    assert reference_in_name("N0005_back.tif", lettered) == "N0005"
    assert reference_in_name("IMG_0002.jpg", lettered) is None


def test_dates_are_not_references_unless_written_like_them():
    museum = Pattern.parse("{year}.{accession}.{item}")
    assert reference_in_name("2014-11-17.jpg", museum) is None
    assert reference_in_name("2014.11.17.jpg", museum) == "2014.11.17"
    assert reference_in_name("2014-19-8.jpg", museum) == "2014.19.8"


def test_items_are_never_used_twice():
    assert next_item([]) == 1
    assert next_item({1, 2, 7}) == 8

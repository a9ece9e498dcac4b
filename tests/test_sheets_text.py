"""Text in many scripts, against Pillow's layout engine and another bidirectional algorithm."""

from __future__ import annotations

import random

import pytest
from bidi import get_display
from copies_words import WORDS, a_title
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import ImageFont, features

from surrogate.sheets import text as pdf_text
from surrogate.sheets.text import clean, fit, shape, wrap


@pytest.mark.parametrize("script", WORDS)
def test_every_script_has_its_glyphs(script: str) -> None:
    for word in WORDS[script]:
        for run in shape(clean(word), 10).runs:
            assert pdf_text.MISSING not in run.shaped, word


@pytest.mark.skipif(not features.check("raqm"), reason="this Pillow comes without its layout engine")
@pytest.mark.parametrize("script", WORDS)
def test_widths_agree_with_another_layout_engine(script: str) -> None:
    for word in WORDS[script]:
        line = shape(clean(word), 100)
        if len({run.font for run in line.runs}) > 1:
            continue
        file = pdf_text.FONTS / f"{line.runs[0].font}.ttf"
        other = ImageFont.truetype(str(file), 100, layout_engine=ImageFont.Layout.RAQM)
        assert line.width == pytest.approx(other.getlength(clean(word)), rel=0.02, abs=1.5), word


@pytest.mark.parametrize(
    "text",
    [
        "Regatta (1943)",
        "סבתא ליד האגם (1943), Haifa",
        "جدتي عند البحيرة ١٩٤٣ (صيف) album 3",
        "Album سباق القوارب, page 12",
        "סבתא - Łódź 1931",
    ],
)
def test_visual_order_agrees_with_another_implementation(text: str) -> None:
    # python-bidi's Rust implementation of UAX 9, apart from the one used; mirroring is left to whoever draws
    pieces = pdf_text._visual_runs(text, leftwards=pdf_text.reads_leftwards(text))
    seen = "".join(piece[::-1] if back else piece for piece, back in pieces)
    assert seen == get_display(text)


def test_arabic_letters_join() -> None:
    # hah alone, at the start, in the middle and at the end of a word are four glyphs (Unicode Standard, 9.2)
    alone, joined = shape("ح", 10).runs[0].shaped, shape("ححح", 10).runs[0].shaped
    assert len({*joined}) == 3
    assert alone not in joined


def test_unseen_characters_go_and_spaces_shrink() -> None:
    assert clean("  two\nlines\t and\u200b a \x00 null\u202e ") == "two lines and a null"
    assert clean("क्\u200dष") == "क्\u200dष"
    assert clean("Ame\u0301lie") == "Amélie"


def test_what_no_font_has_is_a_box() -> None:
    assert pdf_text.MISSING in "".join(run.shaped for run in shape("a 😀 b", 10).runs)


def test_lines_keep_all_words_in_order() -> None:
    text = "Ingrid and her two brothers at the jetty before the boats went out"
    lines = wrap(text, 9, 90)
    assert " ".join(lines) == text
    assert all(shape(line, 9).width <= 90 for line in lines)


def test_a_mark_never_starts_a_line() -> None:
    for line in wrap("ஏரிக்கரையில்" * 6, 9, 40):
        assert line[0] not in "ிக்்ையல்"[1::2]
    for line in wrap("湖边的祖母，一九四三年。" * 6, 9, 50):
        assert line[0] not in "，。"


def test_text_shrinks_before_it_is_cut() -> None:
    sizes = (12, 10, 8)
    assert fit("Regatta", 200, 20, sizes).size == 12
    shrunk = fit("Regatta on the lake, Sunday after", 130, 27, sizes)
    assert (shrunk.size, shrunk.cut) == (10, False)
    cut = fit("Regatta on the lake, Sunday after the storm " * 9, 120, 25, sizes)
    assert (cut.size, cut.cut) == (8, True)
    assert cut.lines[-1].runs[-1].shaped.endswith("…")


@settings(max_examples=30, deadline=None)
@given(
    script=st.sampled_from(sorted(WORDS)),
    words=st.integers(0, 60),
    width=st.floats(5, 200),
    height=st.floats(0, 60),
    seed=st.integers(0, 999),
)
def test_text_never_leaves_its_box(script: str, words: int, width: float, height: float, seed: int) -> None:
    block = fit(a_title(random.Random(seed), script, words), width, height, (12, 9, 6))
    assert block.height <= height + 1e-6
    assert all(line.width <= width + 1e-6 for line in block.lines)


def test_the_fonts_are_free_and_small() -> None:
    names = {path.name for path in pdf_text.FONTS.iterdir()}
    assert {"OFL-1.1.txt", "Apache-2.0.txt", "README.txt"} <= names
    assert sum(path.stat().st_size for path in pdf_text.FONTS.glob("*.ttf")) < 8_000_000
    for path in pdf_text.FONTS.glob("*.ttf"):
        words = path.read_bytes()
        licence = "Open Font License" if "Noto" in path.name else "Apache License"
        assert licence.encode("utf-16-be") in words or licence.encode() in words, path.name

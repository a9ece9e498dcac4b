"""The published site in a real Chromium, opened from the disk: reading, searching, looking closer, keyboard."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import handmade
import pytest
from browser import Browser, chromium_missing
from test_handover_site import enlarge, rewrite

from surrogate.handover import alto, text
from surrogate.handover.site import publish
from surrogate.records import Kind, Original, Side, Text

PAGES = (
    "index.html", "gallery/1.html", "items/2026-001-0002.html", "items/2026-001-0003.html", "people/index.html",
    "kinds/index.html", "search.html", "map.html",
)  # fmt: skip


def with_text(folder: Path, original: Original, lines: tuple[str, ...]) -> Original:
    file = text.text_file(original.reference, Side.RECTO)
    found = tuple(
        alto.Word(word, (20 + 60 * place, 30 + 40 * number, 50, 20), 0.9, 1, number + 1)
        for number, line in enumerate(lines)
        for place, word in enumerate(line.split())
    )
    (folder / file).parent.mkdir(parents=True, exist_ok=True)
    with (folder / file).open("w", encoding="utf-8") as stream:
        alto.write(stream, alto.Page("copies/x.jpg", "0" * 64, 240, 160, "eng", "tesseract 5", found))
    return original.model_copy(
        update={"texts": [Text(side=Side.RECTO, file=file, language="eng", mean_confidence=0.9)]}
    )


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    top = tmp_path_factory.mktemp("öffentlich and space")
    whole = handmade.build(top / "c", 30)
    items = list(whole.originals)
    assert items[1].kind is Kind.CLIPPING
    rewrite(
        top / "c",
        whole,
        enlarge(top / "c", items[0], 1403, 1031).model_copy(update={"place": "Mill (54.33, 10.15)"}),
        with_text(top / "c", items[1], ("Regatta won", "by Blücher crew")),
        items[4].model_copy(update={"title": "<b>Bold</b> & 'quoted'", "people": ["__proto__", "constructor"]}),
    )
    (top / "c/collection.toml").write_text("[publish]\nbefore_and_after = true\n")
    publish(top / "c", top / "site")
    return top / "site"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    if chromium_missing():
        pytest.skip("chromium and chromedriver are not installed")
    with Browser() as started:
        yield started


def broken_pictures(browser: Browser) -> list[str]:
    browser.run("for (const image of document.images) image.loading = 'eager'")
    browser.wait_for("[...document.images].every(image => image.complete)")
    return list(browser.run("return [...document.images].filter(i => !i.naturalWidth).map(i => i.src)"))


def find(browser: Browser, site: Path, query: str) -> list[str]:
    browser.open(f"{(site / 'search.html').as_uri()}?q={query}")
    browser.wait_for(
        "document.body.dataset.ready !== undefined || document.getElementById('told').textContent.includes('loaded')"
    )
    return list(browser.run("return [...document.querySelectorAll('#hits .t')].map(e => e.textContent)"))


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 360])
def test_accessible_complete_and_silent(browser: Browser, site: Path, scheme: str, width: int) -> None:
    browser.resize(width, 800)
    browser.colours(scheme)
    list(browser.requests())
    for page in PAGES:
        browser.open(site / page)
        assert broken_pictures(browser) == []
        assert browser.run("return document.documentElement.scrollWidth") <= width, page
        assert browser.axe() == [], page
        assert browser.complaints() == [], page
    assert all(address.startswith(site.as_uri()) for address in browser.requests())


@pytest.mark.parametrize(
    ("query", "count"),
    [
        ("seeadler", 12), ("blucher", 1), ("BLÜCHER%20regatta", 1), ("regat", 1), ("2026%20seeadler%200007", 1),
        ("nowhere", 0), ("seeadler%20nowhere", 0), ("constructor", 1), ("proto", 1), ("%3Cb%3Ebold", 1),
    ],
)  # fmt: skip
def test_search(browser: Browser, site: Path, query: str, count: int) -> None:
    assert len(find(browser, site, query)) == count
    assert browser.complaints() == []


def test_more_results_and_the_way_to_them(browser: Browser, site: Path) -> None:
    find(browser, site, "seeadler")
    assert browser.run("return document.getElementById('told').textContent") == "29 items with “seeadler”."
    browser.run("document.getElementById('further').click()")
    browser.wait_for("document.querySelectorAll('#hits li').length === 29")
    assert browser.run("return document.getElementById('further').hidden")
    assert broken_pictures(browser) == []


def test_a_hit_is_shown_on_the_picture_and_in_the_text(browser: Browser, site: Path) -> None:
    browser.resize(1280, 800)
    find(browser, site, "bluch")
    browser.run("document.querySelector('#hits a').click()")
    browser.wait_for("document.querySelector('.plane .line')")
    assert browser.run("return [...document.querySelectorAll('mark')].map(e => e.textContent)") == ["by Blücher crew"]
    mark = browser.run(
        "const b = document.querySelector('.plane .line').style; return [b.left, b.top, b.width, b.height]"
    )
    assert [float(side.removesuffix("px")) for side in mark] == pytest.approx([20, 70, 170, 20], abs=0.1)


def test_looking_closer_by_keyboard_loads_finer_tiles(browser: Browser, site: Path) -> None:
    browser.resize(400, 700)
    browser.open(site / "items/2026-001-0001.html")
    browser.run("document.querySelector('.look button').focus()")
    browser.press("\ue007")
    browser.wait_for("document.querySelector('.look.near .plane img')?.naturalWidth")
    first = browser.run("return document.querySelectorAll('.plane img').length")
    browser.press("+", "+", "+", "\ue014")
    browser.wait_for(f"document.querySelectorAll('.plane img').length > {first}")
    assert broken_pictures(browser) == []
    assert browser.axe() == []
    assert browser.complaints() == []
    browser.press("0")
    assert browser.run("return document.activeElement.className") == "look near"


def test_without_scripts_everything_is_there(site: Path) -> None:
    page = (site / "items/2026-001-0002.html").read_text("utf-8")
    assert "Regatta won" in page
    assert "full/max/0/default.jpg" in page
    assert "<noscript>" in (site / "search.html").read_text("utf-8")

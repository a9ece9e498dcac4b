"""The desk in a real Chromium: a caption round by keyboard, both colour schemes, a phone's width, no violations."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import Browser, chromium_missing
from desk_collection import build

FIRST_ADDRESS = "original/2026-001-0001"
RIGHT, DOWN, DELETE, TAB, ENTER, END = "\ue014", "\ue015", "\ue017", "\ue004", "\ue007", "\ue010"


@pytest.fixture
def address(own_demo: Path) -> Iterator[str]:
    yield from served(own_demo)


@pytest.fixture
def small(tmp_path: Path) -> Path:
    return build(tmp_path / "small", more=300)


@pytest.fixture
def small_address(small: Path) -> Iterator[str]:
    yield from served(small)


def served(folder: Path) -> Iterator[str]:
    if chromium_missing():
        pytest.skip("chromium and chromedriver are not installed")
    code = "import sys; from pathlib import Path; from surrogate.desk import desk; desk(Path(sys.argv[1]))"
    with subprocess.Popen([sys.executable, "-c", code, str(folder)], stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        yield server.stdout.readline().split()[1]
        server.terminate()


def with_a_back(folder: Path) -> str:
    with sqlite3.connect(folder / "catalogue.sqlite") as db:
        row = db.execute("SELECT reference FROM masters WHERE side = 'verso' ORDER BY reference").fetchone()
    db.close()
    return str(row[0])


def saved(folder: Path, reference: str, field: str) -> str | None:
    with sqlite3.connect(folder / "catalogue.sqlite") as db:
        rows = db.execute(
            "SELECT json_extract(cells, '$.' || ?) FROM captions WHERE reference = ? ORDER BY side", (field, reference)
        ).fetchall()
    db.close()
    return next((row[0] for row in rows if row[0]), None)


def focus(browser: Browser, field: str) -> None:
    browser.run("const e = document.getElementById(arguments[0]); e.focus(); e.select && e.select()", field)


def test_a_caption_round_by_keyboard(address: str, own_demo: Path) -> None:
    with Browser() as browser:
        browser.open(address)
        assert browser.run("return location.search") == ""
        assert browser.run("return document.cookie") == ""
        cards = browser.run("return document.querySelectorAll('.cards a').length")
        assert cards > 5
        base = browser.run("return location.origin")
        browser.open(f"{base}/{FIRST_ADDRESS}")
        focus(browser, "caption")
        browser.press(*"The whole page", "\ue004")
        browser.wait_for("document.getElementById('told').textContent === 'Caption: saved'")
        assert saved(own_demo, "2026.001.0001", "caption") == "The whole page"
        focus(browser, "date")
        browser.press(*"about 1952")
        browser.wait_for("document.getElementById('said-date').textContent.includes('about 1952')")
        browser.press("\ue004")
        browser.wait_for("document.getElementById('date').value === '1952~'")
        focus(browser, "people")
        browser.press(*"Ada Quill; T")
        browser.wait_for(
            "[...document.getElementById('names').options].some(o => o.value === 'Ada Quill; Tobias Fenn')"
        )
        # Leaving by keyboard saves what is still in the field.
        browser.cdp("Input.dispatchKeyEvent", type="keyDown", key="PageDown", code="PageDown", modifiers=1)
        browser.wait_for("location.pathname.endsWith('0002') && document.readyState === 'complete'")
        assert saved(own_demo, "2026.001.0001", "people") == "Ada Quill; T"
        focus(browser, "approved-no")
        browser.press("\ue012")  # arrow left: the other choice
        browser.wait_for("document.getElementById('told').textContent.includes('saved')")
        assert saved(own_demo, "2026.001.0002", "approved") == "yes"
        assert browser.complaints() == []


def test_a_conflict_shows_both_and_save_decides(address: str, own_demo: Path) -> None:
    with Browser() as browser:
        browser.open(address)
        browser.open(f"{browser.run('return location.origin')}/{FIRST_ADDRESS}")
        browser.run(
            "return fetch(location.pathname, {method: 'POST', headers: {'x-desk': 'field'}, body: new URLSearchParams("
            "{token: document.querySelector('[name=token]').value, notes: 'hers', before_notes: ''})})"
            ".then(answer => answer.status)"
        )
        focus(browser, "notes")
        browser.press(*"his", "\ue004")
        browser.wait_for("document.getElementById('clash-notes')")
        assert "hers" in browser.run("return document.getElementById('clash-notes').textContent")
        assert browser.run("return document.getElementById('notes').value") == "his"
        assert browser.axe() == []
        focus(browser, "notes")
        browser.press("\ue004")
        assert saved(own_demo, "2026.001.0001", "notes") == "hers"
        browser.run("document.querySelector('.foot button').click()")
        browser.wait_for("!document.getElementById('clash-notes')")
        assert saved(own_demo, "2026.001.0001", "notes") == "his"


@pytest.mark.parametrize(("scheme", "width"), [("light", 1280), ("dark", 1280), ("light", 320), ("dark", 360)])
def test_no_violations_nothing_broken_nothing_from_outside(
    address: str, own_demo: Path, scheme: str, width: int
) -> None:
    with Browser(width=width, scheme=scheme) as browser:
        browser.open(address)
        base = browser.run("return location.origin")
        name = with_a_back(own_demo).replace(".", "-")
        for page in ("/", "/?q=nothing+at+all", "/?lacks=1", f"/original/{name}", f"/original/{name}?lang=de", "/gone"):
            browser.open(base + page)
            browser.run("for (const image of document.images) image.loading = 'eager'")
            browser.wait_for("[...document.images].every(image => image.complete)")
            assert browser.run("return [...document.images].filter(i => !i.naturalWidth).map(i => i.src)") == []
            assert browser.run("return document.documentElement.scrollWidth <= innerWidth")
            assert browser.axe() == [], page
        asked = [address for address in browser.requests() if address.startswith("http")]
        assert asked
        assert all(each.startswith(base) for each in asked)


def reach(browser: Browser, wanted: str, presses: int = 60) -> None:
    """Press Tab until an element that matches a selector has the focus, as somebody without a mouse does."""
    for _ in range(presses):
        if browser.run("return document.activeElement.matches(arguments[0])", wanted):
            return
        browser.press(TAB)
    raise AssertionError(f"{wanted} cannot be reached with Tab")


def test_comparing_and_marking_a_face_by_keyboard(small_address: str, small: Path) -> None:
    with Browser() as browser:
        browser.open(small_address)
        browser.open(f"{browser.run('return location.origin')}/{FIRST_ADDRESS}")
        reach(browser, "[data-do=compare]")
        browser.press(ENTER)
        assert browser.run("return document.activeElement.type") == "range"  # role slider by HTML's own mapping
        browser.press(RIGHT, RIGHT)
        assert browser.run("return document.querySelector('.over').style.clipPath") == "inset(0px 48% 0px 0px)"
        browser.press(END)
        assert browser.run("return document.querySelector('.over').style.clipPath") == "inset(0px 0% 0px 0px)"
        reach(browser, "[data-do=marks]")
        reach(browser, "#faces button")
        browser.press(ENTER, ENTER)  # once to say whom, once more for a mark in the middle
        assert browser.run("return document.activeElement.className") == "face"
        browser.press(RIGHT, DOWN, DOWN, "+")
        browser.wait_for("document.getElementById('told').textContent.includes('saved')")
        browser.wait_for("document.querySelector('[name=before_faces]').value")
        assert saved(small, "2026.001.0001", "faces") == "Ada Quill @ 0.5100 0.5200 0.0403"
        browser.press(DELETE)
        browser.wait_for("!document.querySelector('[name=before_faces]').value")
        assert saved(small, "2026.001.0001", "faces") is None
        assert [each for each in browser.complaints() if "404" not in each] == []  # no marks were drawn for it


def test_a_choice_is_seen_at_once_and_undone(small_address: str, small: Path) -> None:
    with Browser() as browser:
        browser.open(small_address)
        browser.open(f"{browser.run('return location.origin')}/{FIRST_ADDRESS}")
        browser.run("for (const each of document.querySelectorAll('details')) each.open = true")
        focus(browser, "strength")
        browser.press("g")  # gentle
        browser.wait_for("document.querySelector('.now').src.includes('/preview/2026-001-0001/recto')")
        browser.wait_for("document.querySelector('.now').complete && document.querySelector('.now').naturalWidth")
        assert saved(small, "2026.001.0001", "strength") == "gentle"
        browser.open(browser.run("return location.href"))
        browser.cdp("Input.dispatchKeyEvent", type="keyDown", key="End", code="End", modifiers=1)
        browser.wait_for("location.search.includes('told_undone') && document.readyState === 'complete'")
        assert saved(small, "2026.001.0001", "strength") is None


def test_a_back_is_put_to_its_front_by_keyboard_and_undone(small_address: str, small: Path) -> None:
    with Browser() as browser:
        browser.open(small_address)
        browser.open(f"{browser.run('return location.origin')}/original/2026-001-0003")
        browser.run("document.getElementById('front').closest('details').querySelector('summary').focus()")
        browser.press(ENTER)
        reach(browser, "#front", 3)
        browser.run("document.activeElement.value = ''")
        for key in "2026.001.0002":
            browser.press(key)
        reach(browser, "[value=join]", 2)
        browser.press(ENTER)
        browser.wait_for("location.search.includes('told_paired') && document.readyState === 'complete'")
        assert browser.run("return document.querySelector('[value=leave]').closest('details').open")
        assert (small / "pairs.csv").read_text("utf-8-sig").split() == ["front,back", "2026.001.0002,2026.001.0003"]
        browser.cdp("Input.dispatchKeyEvent", type="keyDown", key="End", code="End", modifiers=1)
        browser.wait_for("location.search.includes('told_undone') && document.readyState === 'complete'")
        assert not (small / "pairs.csv").exists()


def test_a_corner_is_moved_by_keyboard(small_address: str, small: Path) -> None:
    with Browser() as browser:
        browser.open(small_address)
        browser.open(f"{browser.run('return location.origin')}/{FIRST_ADDRESS}/outline/recto")
        reach(browser, "#add")
        browser.run("document.querySelector('.remove').click()")  # the empty first one
        browser.press(ENTER)
        assert browser.run("return document.activeElement.dataset.handle") == "1-1"
        browser.press(RIGHT, RIGHT, DOWN)
        assert browser.run("return document.getElementsByName('p1x1')[0].value") == "8.0"
        browser.run("document.querySelector('#outlines .foot button').click()")
        browser.wait_for("location.search.includes('told_outlined') && document.readyState === 'complete'")
        assert "2026.001.0001,recto,,1,8.0,5.0" in (small / "outlines.csv").read_text(encoding="utf-8-sig")


def test_a_scan_is_looked_at_closer_by_keyboard(small_address: str) -> None:
    with Browser() as browser:
        browser.open(small_address)
        browser.open(f"{browser.run('return location.origin')}/{FIRST_ADDRESS}/closer")
        reach(browser, ".glass")
        before = float(browser.run("return document.activeElement.dataset.scale"))
        browser.press("-", "0")
        assert float(browser.run("return document.activeElement.dataset.scale")) == before  # never less than the whole
        browser.wait_for(
            "[...document.querySelectorAll('.glass img')].every(each => each.complete && each.naturalWidth)"
        )
        assert browser.run("return document.querySelectorAll('.glass img').length") == 2  # one tile each is enough


def test_cards_come_as_one_scrolls_and_go_again(small_address: str) -> None:
    with Browser() as browser:
        browser.open(small_address)
        browser.wait_for("document.querySelectorAll('#shelf.long .chunk').length")
        first = browser.run("return document.documentElement.scrollHeight")
        browser.run(
            "document.querySelector('.cards input').click(); scrollTo(0, document.documentElement.scrollHeight)"
        )
        browser.wait_for("document.querySelectorAll('.chunk[data-number=\"5\"] li').length === 3")
        assert browser.run("return document.documentElement.scrollHeight") == first  # nothing jumps
        assert browser.run("return document.querySelectorAll('.cards li').length") < 303
        assert browser.run("return document.getElementById('ticked').textContent") == "1 ticked"


def test_twice_the_text_size_and_no_motion(small_address: str) -> None:
    with Browser(width=640, height=450) as browser:  # WCAG 1.4.4: 1280 by 900 at 200 %
        browser.open(small_address)
        base = browser.run("return location.origin")
        features = [{"name": "prefers-reduced-motion", "value": "reduce"}]
        browser.cdp("Emulation.setEmulatedMedia", features=features)
        for page in (
            "/",
            f"/{FIRST_ADDRESS}",
            f"/{FIRST_ADDRESS}/closer",
            f"/{FIRST_ADDRESS}/outline/recto",
            "/questions",
        ):
            browser.open(base + page)
            assert browser.run("return document.documentElement.scrollWidth <= innerWidth"), page
            assert browser.run("return document.getAnimations().length") == 0
            assert browser.axe() == [], page

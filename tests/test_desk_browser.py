"""The desk in a real Chromium: a caption round by keyboard, both colour schemes, a phone's width, no violations."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from browser import Browser, chromium_missing

FIRST_ADDRESS = "original/2026-001-0001"


@pytest.fixture
def address(own_demo: Path) -> Iterator[str]:
    if chromium_missing():
        pytest.skip("chromium and chromedriver are not installed")
    code = "import sys; from pathlib import Path; from surrogate.desk import desk; desk(Path(sys.argv[1]))"
    with subprocess.Popen([sys.executable, "-c", code, str(own_demo)], stdout=subprocess.PIPE, text=True) as server:
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
        browser.wait_for("[...document.getElementById('names').options].some(o => o.value === 'Ada Quill; Tobias Fenn')")
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

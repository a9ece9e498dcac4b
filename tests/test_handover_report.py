"""The report page in a real browser, and with captions that mean harm."""

from __future__ import annotations

import html.parser
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from urllib.parse import unquote

import handmade
import pytest
from browser import Browser, chromium_missing

from surrogate.collection.changes import CompareReport, keep
from surrogate.handover import report
from surrogate.records import Kind, Manifest, Original


def write(folder: Path, manifest: Manifest, notes: tuple[str, ...] = ()) -> Path:
    words = {copy.file: handmade.WORDS for original in manifest.originals for copy in original.copies}
    report.write(folder, manifest.collection, manifest.software, manifest.originals, manifest.set_aside, words, notes)
    return folder / "report.html"


class Strict(html.parser.HTMLParser):
    """Tag balance and attributes, by the standard library's tokeniser (HTML Living Standard, void elements)."""

    VOID = frozenset({"meta", "img", "br", "link", "input", "hr", "source"})

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.links: list[str] = []
        self.ids: list[str] = []
        self.tags: set[str] = set()
        self.handlers: list[str] = []
        self.feed(text)
        self.close()
        assert not self.open

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        if tag not in self.VOID:
            self.open.append(tag)
        for name, value in attrs:
            if name in {"href", "src"} and value:
                self.links.append(value)
            if name == "id" and value:
                self.ids.append(value)
            if name.startswith("on"):
                self.handlers.append(name)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("collection with ümlaut and space")


@pytest.fixture(scope="module")
def manifest(folder: Path) -> Manifest:
    manifest = handmade.build(folder, 7)
    write(folder, manifest, ("scan_0003b.tif was taken as the back of scan_0003.tif.",))
    return manifest


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    if chromium_missing():
        pytest.skip("chromium and chromedriver are not installed")
    with Browser() as started:
        yield started


def test_every_link_leads_somewhere(folder: Path, manifest: Manifest) -> None:
    page = Strict((folder / "report.html").read_text("utf-8"))
    assert len(page.ids) == len(set(page.ids))
    for link in page.links:
        if link.startswith("#"):
            assert link[1:] in page.ids
        else:
            assert (folder / unquote(link)).is_file(), link
    for original in manifest.originals:
        for made in (*original.masters, *original.copies):
            assert made.file in page.links or "thumbnail" in made.file


def test_film_is_never_cleared_and_later_scans_are_told(tmp_path: Path) -> None:
    manifest = handmade.build(tmp_path, 2)
    first, second = manifest.originals
    film = first.model_copy(update={"kind": Kind.NEGATIVE, "date": "1936"})
    told = CompareReport(
        reference=second.reference, side="recto", verdict="changed", density_loss=(0.04, 0.12, 0.02),
        uncertainty=(0.03, 0.03, 0.03), base_shift=None, regions=[], scanner_correction="base", picture=None,
    )  # fmt: skip
    scan = tmp_path / "again.tif"
    scan.write_bytes(b"scan")
    keep(tmp_path, date(2027, 5, 3), told, second.condition[0], master=second.masters[0], scan=scan)
    (tmp_path / "condition/changes/torn.json").write_text("{", encoding="utf-8")
    text = write(tmp_path, manifest.model_copy(update={"originals": [film, second]})).read_text("utf-8")
    assert "Treat it as nitrate film until somebody who may judge has looked" in text
    assert "Compared on 3 May 2027 with the scan again.tif: changed, up to 12 % of the density lost" in text
    assert "No stain found" not in text


def test_written_twice_is_untouched(folder: Path, manifest: Manifest) -> None:
    page = folder / "report.html"
    before = page.stat()
    write(folder, manifest, ("scan_0003b.tif was taken as the back of scan_0003.tif.",))
    assert (page.stat().st_mtime_ns, page.stat().st_ino) == (before.st_mtime_ns, before.st_ino)


def test_hostile_captions_stay_text(tmp_path: Path) -> None:
    first = handmade.build(tmp_path, 2)
    nasty = [
        Original.model_validate(
            original.model_dump() | {"title": text, "caption": text, "place": text, "people": [text]}
        )
        for original, text in zip(first.originals * 3, handmade.HOSTILE, strict=True)
    ]
    manifest = first.model_copy(update={"originals": nasty[:2]})
    for start in (0, 2, 4):
        manifest = first.model_copy(update={"originals": nasty[start : start + 2]})
        page = Strict(write(tmp_path, manifest).read_text("utf-8"))
        assert "script" not in page.tags
        assert not page.handlers


def test_long_collections_go_on_in_further_pages(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(report, "PAGE", 2)
    manifest = handmade.build(tmp_path, 5)
    write(tmp_path, manifest)
    files = [tmp_path / "report.html", tmp_path / "report/page_2.html", tmp_path / "report/page_3.html"]
    pages = [Strict(file.read_text("utf-8")) for file in files]
    for file, page in zip(files, pages, strict=True):
        for link in page.links:
            target, _, fragment = link.partition("#")
            other = (file.parent / unquote(target)).resolve() if target else file
            assert other.is_file(), link
            if fragment:
                assert fragment in Strict(other.read_text("utf-8")).ids
    shorter = manifest.model_copy(update={"originals": manifest.originals[:3]})
    write(tmp_path, shorter)
    assert [file.is_file() for file in files] == [True, True, False]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 360])
def test_accessible_and_silent_in_a_browser(
    browser: Browser, folder: Path, manifest: Manifest, scheme: str, width: int
) -> None:
    browser.resize(width, 800)
    browser.colours(scheme)
    list(browser.requests())
    browser.open(folder / "report.html")
    browser.run("for (const d of document.querySelectorAll('details')) d.open = true")
    assert browser.axe() == []
    assert browser.complaints() == []
    assert all(address.startswith(folder.as_uri()) for address in browser.requests())
    assert browser.run("return document.documentElement.scrollWidth") <= width


def test_pictures_show_and_the_keyboard_reaches_them(browser: Browser, folder: Path, manifest: Manifest) -> None:
    browser.resize(1280, 900)
    browser.open(folder / "report.html")
    browser.press("\ue004")
    assert browser.run("return document.activeElement.className") == "skip"
    browser.run("document.querySelector('article img').scrollIntoView()")
    browser.wait_for("document.querySelector('article img').naturalWidth > 0")

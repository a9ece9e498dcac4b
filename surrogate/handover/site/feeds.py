"""What other sites and programs read: news feed, site map, and Dublin Core for other catalogues."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from email.utils import format_datetime
from functools import partial
from heapq import nlargest
from typing import TextIO

from surrogate.collection.cells import safe_cell
from surrogate.handover.site.addresses import Addresses, item_page, pictures
from surrogate.handover.site.iiif import MOST_IN_ONE
from surrogate.handover.site.lists import Site
from surrogate.handover.site.overview import Overview
from surrogate.handover.site.planned import Planned, digest_of
from surrogate.handover.site.shown import Item
from surrogate.handover.xmlstream import XmlStream

#: Newest items in the feed.
_IN_FEED = 50

#: Addresses in one file of a site map (sitemaps.org, protocol 0.9).
_IN_SITE_MAP = 50_000

#: The fifteen elements of Dublin Core (ISO 15836-1) that an item can fill, in the order of the table's columns.
DUBLIN_CORE = (
    "identifier", "title", "creator", "subject", "description", "publisher", "date", "type", "format", "source",
    "coverage", "rights",
)  # fmt: skip


def _feed(
    site: Site, about: str, overview: Overview, newest: Sequence[tuple[int, str]], to: Addresses, stream: TextIO
) -> None:
    xml = XmlStream(stream)
    with xml.element("rss", version="2.0"), xml.element("channel"):
        xml.leaf("title", f"New in {site.name}")
        xml.leaf("link", to.of("index.html"))
        xml.leaf("description", about)
        for number, since in newest:
            item = overview.load(number)
            with xml.element("item"):
                xml.leaf("title", item.heading)
                xml.leaf("link", to.of(item_page(item.name)))
                xml.leaf("guid", to.of(item_page(item.name)), isPermaLink="true")
                xml.given("description", item.caption)
                if since:
                    xml.leaf("pubDate", format_datetime(datetime.fromisoformat(since)))


def feed(site: Site, about: str, overview: Overview, since: Mapping[str, str], to: Addresses) -> Planned:
    """``feed.xml`` (RSS 2.0): the items that came last. ``since`` tells when by reference (ISO 8601)."""
    dated = [(since.get(card.reference, ""), number) for number, card in enumerate(overview.cards)]
    newest = [(number, day) for day, number in nlargest(_IN_FEED, dated)]
    inputs = digest_of(site.digest, about, [(overview.digests[number], day) for number, day in newest], to)
    return Planned("feed.xml", inputs, partial(_feed, site, about, overview, newest, to))


def _url_list(root: str, entry: str, places: Sequence[str], stream: TextIO) -> None:
    xml = XmlStream(stream)
    with xml.element(root, xmlns="http://www.sitemaps.org/schemas/sitemap/0.9"):
        for place in places:
            with xml.element(entry):
                xml.leaf("loc", place)


def site_map(overview: Overview, to: Addresses) -> Iterator[Planned]:
    """``sitemap.xml`` for search engines; only a site with an address of its own has one."""
    if not to.public:
        return
    places = [to.of("index.html"), *(to.of(item_page(card.name)) for card in overview.cards)]
    parts = [places[start : start + _IN_SITE_MAP] for start in range(0, len(places), _IN_SITE_MAP)]
    if len(parts) == 1:
        yield Planned("sitemap.xml", digest_of(places), partial(_url_list, "urlset", "url", places))
        return
    files = [f"sitemap_{number}.xml" for number in range(1, len(parts) + 1)]
    for file, part in zip(files, parts, strict=True):
        yield Planned(file, digest_of(part), partial(_url_list, "urlset", "url", part))
    listed = [to.of(file) for file in files]
    yield Planned("sitemap.xml", digest_of(listed), partial(_url_list, "sitemapindex", "sitemap", listed))


def dublin_core(site: Site, item: Item, to: Addresses) -> dict[str, list[str]]:
    """An item in the elements of Dublin Core; each may be said several times or not at all."""
    said = {
        "identifier": [item.reference, to.public_of(item_page(item.name))],
        "title": [item.heading],
        "creator": [item.creator],
        "subject": [*item.subjects, *item.people],
        "description": [item.caption, item.inscription],
        "publisher": [site.credit],
        "date": [item.date],
        "type": ["StillImage" if item.kind not in {"document", "newspaper clipping"} else "Text"],
        "format": ["image/jpeg"],
        "source": [item.kind],
        "coverage": [item.place],
        "rights": [item.rights],
    }
    return {element: [value for value in said[element] if value] for element in DUBLIN_CORE}


def _table(site: Site, overview: Overview, part: range, to: Addresses, stream: TextIO) -> None:
    rows = csv.writer(stream)
    rows.writerow([*DUBLIN_CORE, "picture", "manifest"])
    for item in map(overview.load, part):
        said = dublin_core(site, item, to)
        picture = to.of(f"{pictures(item.pictures[0].key)}/full/max/0/default.jpg")
        cells = ["; ".join(said[element]) for element in DUBLIN_CORE]
        rows.writerow([safe_cell(cell) for cell in [*cells, picture, to.of(f"iiif/{item.name}/manifest.json")]])


def _records(site: Site, overview: Overview, part: range, to: Addresses, stream: TextIO) -> None:
    xml = XmlStream(stream)
    with xml.element(
        "records",
        xmlns_oai__dc="http://www.openarchives.org/OAI/2.0/oai_dc/",
        xmlns_dc="http://purl.org/dc/elements/1.1/",
    ):
        for item in map(overview.load, part):
            with xml.element("oai_dc:dc"):
                for element, values in dublin_core(site, item, to).items():
                    for value in values:
                        xml.leaf(f"dc:{element}", value)


def exports(site: Site, overview: Overview, to: Addresses) -> Iterator[Planned]:
    """Dublin Core for other catalogues, as tables and as XML with the elements of OAI's ``oai_dc``.

    Many items are split over several files, so that whoever harvests them fetches only what changed.
    """
    count = len(overview.digests)
    for number, start in enumerate(range(0, max(1, count), MOST_IN_ONE), start=1):
        part = range(start, min(start + MOST_IN_ONE, count))
        name = "export/dublin_core" + (f"_{number}" if count > MOST_IN_ONE else "")
        inputs = digest_of(site.digest, to, overview.digests[start : start + MOST_IN_ONE])
        yield Planned(f"{name}.csv", inputs, partial(_table, site, overview, part, to))
        yield Planned(f"{name}.xml", inputs, partial(_records, site, overview, part, to))

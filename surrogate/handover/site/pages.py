"""Front page, item pages, search page and map."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from functools import partial
from typing import Any, TextIO

from surrogate.collection.numbering import name_of
from surrogate.handover.site import lists
from surrogate.handover.site.addresses import Addresses, item_manifest, item_page, pictures
from surrogate.handover.site.iiif import is_rights_address, picture_label
from surrogate.handover.site.lists import Site
from surrogate.handover.site.overview import DECADES, KINDS, PEOPLE, PLACES, SUBJECTS, Card, Overview
from surrogate.handover.site.planned import Planned, render
from surrogate.handover.site.shown import Item, Picture
from surrogate.handover.words import ended, sentence
from surrogate.records import CollectionInfo

#: Items on the front page.
_ON_FRONT = 12

#: Longest description in previews of links; about what networks show (common practice, no source).
_PREVIEW_CHARACTERS = 200

#: Places that a map names beside their dots; more would lie over one another. Below the map all are listed.
_MOST_NAMED = 25

_ISO_DATE = re.compile(r"\d{4}(-\d\d){0,2}")
_COORDINATES = re.compile(r"(-?\d{1,2}\.\d+)\s*[,;]\s*(-?\d{1,3}\.\d+)")


def site_of(info: CollectionInfo, overview: Overview) -> Site:
    """What every page knows."""
    with_map = any(coordinates(place) for place in overview.by_term(PLACES))
    return Site(
        name=info.name or "Collection",
        credit=info.credit,
        rights=info.rights,
        lists=lists.lists_of(overview, with_map=with_map),
    )


def description(story: str, overview: Overview) -> str:
    """What the front page and the feed say of the collection."""
    return story.strip() or f"{len(overview.cards):,} originals to look at."


def shortened(text: str) -> str:
    """``text`` on one line, cut at a word so that it fits a preview."""
    line = " ".join(text.split())
    if len(line) <= _PREVIEW_CHARACTERS:
        return line
    return line[:_PREVIEW_CHARACTERS].rpartition(" ")[0].rstrip(",;:") + " …"


def citation(site: Site, item: Item, address: str) -> str:
    """How to cite an item: title, date, collection, number, address."""
    parts = [item.heading, item.when[:1].upper() + item.when[1:], f"{site.name}, {item.reference}", address]
    return " ".join(ended(part) if part != address else part for part in parts if part)


def linked_data(site: Site, item: Item, to: Addresses) -> dict[str, Any]:
    """An item in the words of schema.org."""
    made: dict[str, Any] = {
        "@context": "https://schema.org",
        "@type": "CreativeWork" if item.kind in {"document", "newspaper clipping"} else "Photograph",
        "name": item.heading,
        "identifier": item.reference,
        "isPartOf": {"@type": "Collection", "name": site.name},
        "image": to.of(f"{pictures(item.pictures[0].key)}/full/max/0/default.jpg"),
        "url": to.of(item_page(item.name)),
    }
    if item.caption:
        made["description"] = item.caption
    if _ISO_DATE.fullmatch(item.date):
        made["dateCreated"] = item.date
    elif item.when:
        made["temporalCoverage"] = item.when
    if item.creator:
        made["creator"] = {"@type": "Person", "name": item.creator}
    if item.place:
        made["contentLocation"] = {"@type": "Place", "name": item.place}
    if item.subjects:
        made["keywords"] = list(item.subjects)
    if item.people:
        made["about"] = [{"@type": "Person", "name": person} for person in item.people]
    if item.credit:
        made["creditText"] = item.credit
    if is_rights_address(item.rights):
        made["license"] = item.rights.strip()
    elif item.rights:
        made["copyrightNotice"] = item.rights
    return made


def _value(text: str, href: str = "") -> dict[str, str]:
    return {"text": text, "href": href}


def _facts(item: Item) -> Iterator[tuple[str, list[dict[str, str]]]]:
    when = f"../{lists.term_page(DECADES, item.decade)}" if item.decade else ""
    rights = item.rights.strip()
    for label, values in (
        ("Reference number", [_value(item.reference)]),
        ("Date", [_value(item.when, when)]),
        ("People", [_value(person, f"../{lists.term_page(PEOPLE, person)}") for person in item.people]),
        ("Place", [_value(item.place, f"../{lists.term_page(PLACES, item.place)}")]),
        ("Subjects", [_value(subject, f"../{lists.term_page(SUBJECTS, subject)}") for subject in item.subjects]),
        ("On the back", [_value(item.inscription)]),
        ("Made by", [_value(item.creator)]),
        ("Kind", [_value(item.kind, f"../{lists.term_page(KINDS, item.kind)}")]),
        ("Same picture", [_value(number, f"{name_of(number)}.html") for number in item.same_picture_as]),
        ("Credit", [_value(item.credit)]),
        ("Rights", [_value(rights, rights if is_rights_address(rights) else "")]),
    ):
        if any(value["text"] for value in values):
            yield label, values


def _boxes(picture: Picture) -> str:
    """Places of the lines of text as the page's script reads them."""
    return ";".join(",".join(f"{share:.4f}" for share in line.box) if line.box else "" for line in picture.text)


def _done(item: Item) -> list[str]:
    """What was done to the pictures, in sentences; where it differs, each begins with the picture it speaks of."""
    done = {picture_label(picture): [sentence(words) for words in picture.words] for picture in item.pictures}
    said = [sentences for sentences in done.values() if sentences]
    if all(sentences == said[0] for sentences in said):
        return said[0] if said else []
    return [f"{label}: {' '.join(sentences)}" for label, sentences in done.items() if sentences]


def _render_item(
    site: Site, overview: Overview, number: int, around: Sequence[Card | None], to: Addresses, stream: TextIO
) -> None:
    item = overview.load(number)
    address = to.public_of(item_page(item.name))
    shown = [
        {
            "key": picture.key,
            "label": picture_label(picture),
            "width": picture.width,
            "height": picture.height,
            "before": bool(picture.before),
            "text": picture.text,
            "boxes": _boxes(picture),
        }
        for picture in item.pictures
    ]
    context = {
        "site": site.context(),
        "up": "../",
        "item": item,
        "pictures": shown,
        "facts": list(_facts(item)),
        "words": _done(item),
        "citation": citation(site, item, address),
        "manifest": item_manifest(item.name),
        "description": shortened(item.caption or f"{item.heading}, {site.name}"),
        "address": address,
        "preview": to.public_of(f"{pictures(item.pictures[0].key)}/full/max/0/default.jpg"),
        "linked_data": linked_data(site, item, to),
        "earlier": around[0],
        "later": around[1],
    }
    render("item.html", stream, context)


def item_pages(site: Site, overview: Overview, to: Addresses) -> Iterator[Planned]:
    """The page of every item."""
    padded = [None, *overview.cards, None]
    common = repr((site.digest, to))
    for number, (card, digest) in enumerate(zip(overview.cards, overview.digests, strict=True)):
        around = (padded[number], padded[number + 2])
        named = [(near.name, near.heading) for near in around if near is not None]
        write = partial(_render_item, site, overview, number, around, to)
        yield Planned(item_page(card.name), f"{common} {digest} {named!r}", write)


def front_and_search(site: Site, story: str, overview: Overview, to: Addresses) -> Iterator[Planned]:
    """The front page and the search page."""
    cards = overview.cards
    context: dict[str, object] = {
        "site": site.context(),
        "description": description(story, overview),
        "up": "",
        "items": cards[:_ON_FRONT],
        "count": f"{len(cards):,}",
        "address": to.public_of("index.html").removesuffix("index.html"),
        "preview": to.public_of(f"{pictures(cards[0].key)}/full/max/0/default.jpg") if cards else "",
    }
    yield Planned("index.html", repr(context), lambda stream: render("front.html", stream, context))
    plain: dict[str, object] = {"site": site.context(), "up": ""}
    yield Planned("search.html", site.digest, lambda stream: render("search.html", stream, plain))


def coordinates(place: str) -> tuple[float, float] | None:
    """Latitude and longitude in degrees, where a place states them ("Lindenau, 54.32, 10.13"), else None."""
    match = _COORDINATES.search(place)
    if match is None:
        return None
    latitude, longitude = float(match[1]), float(match[2])
    return (latitude, longitude) if abs(latitude) <= 90 and abs(longitude) <= 180 else None


def without_coordinates(place: str) -> str:
    """A place's name alone.

    >>> without_coordinates("Mill (54.33, 10.15)"), without_coordinates("Mill, 54.33, 10.15")
    ('Mill', 'Mill')
    """
    return _COORDINATES.sub("", place).strip(" (),;") or place


def _map(places: dict[str, list[int]]) -> dict[str, Any]:
    """Points and lines of the map: an equirectangular projection that is true at its middle latitude."""
    found = {place: spot for place in places if (spot := coordinates(place)) is not None}
    south, north = min(spot[0] for spot in found.values()), max(spot[0] for spot in found.values())
    west, east = min(spot[1] for spot in found.values()), max(spot[1] for spot in found.values())
    margin = max(north - south, east - west, 0.02) * 0.15
    south, north, west, east = south - margin, north + margin, west - margin, east + margin
    shrink = max(0.05, math.cos(math.radians((south + north) / 2)))
    width = 1000.0
    unit = width / ((east - west) * shrink)
    height = (north - south) * unit

    def x_of(longitude: float) -> float:
        return round((longitude - west) * shrink * unit, 1)

    def y_of(latitude: float) -> float:
        return round((north - latitude) * unit, 1)

    step = 10.0 ** math.floor(math.log10(max(north - south, east - west)))
    digits = max(0, -math.floor(math.log10(step)))
    rows = [step * n for n in range(math.ceil(south / step), math.floor(north / step) + 1)]
    columns = [step * n for n in range(math.ceil(west / step), math.floor(east / step) + 1)]
    lines = [
        {
            "x1": 0,
            "y1": y_of(row),
            "x2": width,
            "y2": y_of(row),
            "tx": 6,
            "ty": y_of(row) - 6,
            "label": f"{row:.{digits}f}°",
        }
        for row in rows
    ] + [
        {
            "x1": x_of(c),
            "y1": 0,
            "x2": x_of(c),
            "y2": round(height, 1),
            "tx": x_of(c) + 6,
            "ty": 32,
            "label": f"{c:.{digits}f}°",
        }
        for c in columns
    ]
    points = [
        {
            "x": x_of(longitude),
            "y": y_of(latitude),
            "label": without_coordinates(place),
            "count": len(places[place]),
            "href": lists.term_page(PLACES, place),
        }
        for place, (latitude, longitude) in found.items()
    ]
    named = len(points) <= _MOST_NAMED
    return {"width": width, "height": round(height, 1), "lines": lines, "points": points, "named": named}


def map_page(site: Site, overview: Overview) -> Iterator[Planned]:
    """The map, where at least one place states its coordinates."""
    places = overview.by_term(PLACES)
    if any(coordinates(place) for place in places):
        context: dict[str, object] = {"site": site.context(), "up": "", "map": _map(places)}
        yield Planned("map.html", repr(context), lambda stream: render("map.html", stream, context))

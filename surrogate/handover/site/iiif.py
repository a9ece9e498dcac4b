"""IIIF Presentation API 3.0: a manifest for each item with its sides, parts and text, and the collection of all."""

from __future__ import annotations

import html
import json
from collections.abc import Iterator, Sequence
from functools import partial
from typing import Any, TextIO

from surrogate.handover.site.addresses import Addresses, item_manifest, item_page, pictures
from surrogate.handover.site.overview import Card
from surrogate.handover.site.planned import Planned, digest_of, fixed
from surrogate.handover.site.shown import Item, Picture
from surrogate.records import CollectionInfo

CONTEXT = "http://iiif.io/api/presentation/3/context.json"

#: Manifests listed in one collection file; more are split over several that the first one lists.
MOST_IN_ONE = 1000

Json = dict[str, Any]


def plain(text: str) -> str:
    """``text`` so that no viewer takes it for HTML (Presentation 3.0, 4.5: only what is in ``<`` and ``>``)."""
    stripped = text.strip()
    return f"<span>{html.escape(text)}</span>" if stripped.startswith("<") and stripped.endswith(">") else text


def _words(*values: str, language: str = "none") -> dict[str, list[str]]:
    return {language: [plain(value) for value in values]}


def _metadata(item: Item) -> Iterator[Json]:
    for label, values in (
        ("Reference number", (item.reference,)),
        ("Kind", (item.kind,)),
        ("Date", (item.when,)),
        ("People", item.people),
        ("Place", (item.place,)),
        ("Subjects", item.subjects),
        ("On the back", (item.inscription,)),
        ("Made by", (item.creator,)),
        ("Rights", (item.rights,)),
    ):
        if any(values):
            yield {"label": _words(label, language="en"), "value": _words(*values)}


def picture_label(picture: Picture) -> str:
    """What a picture shows of its original, in words."""
    return picture.side.capitalize() + (f", part {picture.part}" if picture.part else "")


def _text_page(picture: Picture, canvas: str) -> Json:
    lines = []
    for number, line in enumerate(picture.text, start=1):
        target = canvas
        if line.box is not None:
            x, y, w, h = line.box
            box = (x * picture.width, y * picture.height, w * picture.width, h * picture.height)
            target += "#xywh=" + ",".join(str(round(value)) for value in box)
        lines.append(
            {
                "id": f"{canvas}/text/{number}",
                "type": "Annotation",
                "motivation": "supplementing",
                "body": {"type": "TextualBody", "value": line.text, "format": "text/plain"},
                "target": target,
            }
        )
    return {"id": f"{canvas}/text", "type": "AnnotationPage", "items": lines}


def _canvas(item: Item, picture: Picture, to: Addresses) -> Json:
    canvas = to.of(f"iiif/{item.name}/canvas/{picture.key}")
    service = to.of(pictures(picture.key))
    body = {
        "id": f"{service}/full/max/0/default.jpg",
        "type": "Image",
        "format": "image/jpeg",
        "width": picture.width,
        "height": picture.height,
        "service": [{"id": service, "type": "ImageService3", "profile": "level0"}],
    }
    painting = {
        "id": f"{canvas}/painting/1",
        "type": "Annotation",
        "motivation": "painting",
        "body": body,
        "target": canvas,
    }
    made: Json = {
        "id": canvas,
        "type": "Canvas",
        "label": _words(picture_label(picture), language="en"),
        "width": picture.width,
        "height": picture.height,
        "items": [{"id": f"{canvas}/painting", "type": "AnnotationPage", "items": [painting]}],
    }
    if picture.text:
        made["annotations"] = [_text_page(picture, canvas)]
    return made


def manifest(item: Item, to: Addresses) -> Json:
    """The manifest of one item."""
    thumbnail = to.of(f"{pictures(item.pictures[0].key)}/thumbnail.jpg")
    made: Json = {
        "@context": CONTEXT,
        "id": to.of(item_manifest(item.name)),
        "type": "Manifest",
        "label": _words(item.heading),
        "metadata": list(_metadata(item)),
        "thumbnail": [{"id": thumbnail, "type": "Image", "format": "image/jpeg"}],
        "homepage": [
            {
                "id": to.of(item_page(item.name)),
                "type": "Text",
                "label": _words(item.heading),
                "format": "text/html",
            }
        ],
        "partOf": [{"id": to.of("iiif/collection.json"), "type": "Collection"}],
        "items": [_canvas(item, picture, to) for picture in item.pictures],
    }
    if item.caption:
        made["summary"] = _words(item.caption)
    if item.credit:
        made["requiredStatement"] = {"label": _words("Credit", language="en"), "value": _words(item.credit)}
    if is_rights_address(item.rights):
        made["rights"] = item.rights.strip()
    return made


def is_rights_address(rights: str) -> bool:
    """Whether a rights statement is an address that IIIF takes (Creative Commons or RightsStatements.org)."""
    hosts = ("creativecommons.org/", "rightsstatements.org/")
    return rights.strip().removeprefix("https://").removeprefix("http://").startswith(hosts) and "://" in rights


def _listed(cards: Sequence[Card], to: Addresses) -> list[Json]:
    return [
        {"id": to.of(item_manifest(card.name)), "type": "Manifest", "label": _words(card.heading)} for card in cards
    ]


def _whole(label: str, to: Addresses, members: Sequence[Json]) -> Json:
    address = to.of("iiif/collection.json")
    return {"@context": CONTEXT, "id": address, "type": "Collection", "label": _words(label), "items": list(members)}


def _part(path: str, label: str, cards: Sequence[Card], to: Addresses) -> Json:
    named = f"{label}, {cards[0].reference} to {cards[-1].reference}"
    return {"id": to.of(path), "type": "Collection", "label": _words(named)}


def _whole_file(label: str, cards: Sequence[Card], to: Addresses, stream: TextIO) -> None:
    stream.write(as_json(_whole(label, to, _listed(cards, to))))


def _part_file(path: str, label: str, cards: Sequence[Card], to: Addresses, stream: TextIO) -> None:
    inside = {"partOf": [{"id": to.of("iiif/collection.json"), "type": "Collection"}], "items": _listed(cards, to)}
    stream.write(as_json({"@context": CONTEXT, **_part(path, label, cards, to), **inside}))


def as_json(content: object) -> str:
    """A document as it is written."""
    return json.dumps(content, ensure_ascii=False, indent=1) + "\n"


def collections(info: CollectionInfo, cards: Sequence[Card], to: Addresses) -> Iterator[Planned]:
    """``iiif/collection.json`` and, for many items, the files that it lists."""
    label = info.name or "Collection"
    if len(cards) <= MOST_IN_ONE:
        inputs = digest_of(label, cards, to)
        yield Planned("iiif/collection.json", inputs, partial(_whole_file, label, cards, to))
        return
    parts = []
    for number, start in enumerate(range(0, len(cards), MOST_IN_ONE), start=1):
        path = f"iiif/collection_{number}.json"
        members = cards[start : start + MOST_IN_ONE]
        parts.append(_part(path, label, members, to))
        yield Planned(path, digest_of(label, members, to), partial(_part_file, path, label, members, to))
    yield fixed("iiif/collection.json", as_json(_whole(label, to, parts)))

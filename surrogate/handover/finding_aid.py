"""The finding aid: EAD3 XML from collection to item, and a table by the elements of ISAD(G).

EAD3 1.1.1 (Society of American Archivists, 2019); ISAD(G), second edition (International Council on Archives, 2000):
its element numbers head the columns of the table.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from itertools import groupby
from typing import TextIO
from urllib.parse import quote

from surrogate.collection.cells import safe_cell
from surrogate.collection.numbering import group_of
from surrogate.handover.words import KINDS, date_words, ended, fade_words, stain_words
from surrogate.handover.xmlstream import XmlStream, clean
from surrogate.records import CollectionInfo, Original, Software, Use

NAMESPACE = "http://ead3.archivists.org/schema/"

#: Columns of ``finding_aid.csv``: the elements of ISAD(G) that a collection can fill.
COLUMNS = (
    "3.1.1 Reference code",
    "3.1.2 Title",
    "3.1.3 Date(s)",
    "3.1.4 Level of description",
    "3.1.5 Extent and medium",
    "3.2.1 Name of creator",
    "3.3.1 Scope and content",
    "3.4.1 Conditions governing access",
    "3.4.2 Conditions governing reproduction",
    "3.4.4 Physical characteristics",
    "3.5.1 Existence and location of originals",
    "3.5.2 Existence and location of copies",
    "3.6.1 Note",
    "3.7.1 Archivist's note",
)

ITEM_TITLE = "Untitled"


def _access(original: Original) -> str:
    if original.access in {"", "public"}:
        return "Open"
    return "Closed: private" if original.access == "private" else f"Closed until {original.access}"


def _extent(original: Original) -> str:
    masters = len(original.masters)
    return f"1 {KINDS[original.kind]}" + (f", scanned on {masters} sides" if masters > 1 else "")


def _scope(original: Original) -> str:
    parts = [
        ended(original.caption),
        f"People: {', '.join(original.people)}." if original.people else "",
        f"Place: {original.place}." if original.place else "",
        f"Inscription: {ended(original.inscription)}" if original.inscription else "",
    ]
    return " ".join(part for part in parts if part)


def _condition(original: Original) -> str:
    sentences = []
    for condition in original.condition:
        words = f"{fade_words(condition.fade, original.kind)} {stain_words(condition.stain)}"
        sentences.append(f"{condition.side.value.capitalize()}: {words}")
    return " ".join(sentences)


def _place(original: Original) -> str:
    location = original.location
    named = (("box", location.box), ("folder", location.folder), ("enclosure", location.enclosure))
    return ", ".join(f"{name} {value}" for name, value in named if value)


def _row(original: Original, software: Software) -> list[str]:
    copies = [copy.file for copy in original.copies if copy.use is not Use.THUMBNAIL]
    return [
        original.reference,
        original.title or ITEM_TITLE,
        date_words(original.date),
        "item",
        _extent(original),
        original.creator,
        _scope(original),
        _access(original),
        original.rights,
        _condition(original),
        _place(original),
        "; ".join(dict.fromkeys([*(master.file for master in original.masters), *copies])),
        original.notes,
        f"Condition measured by {software.name} {software.version}.",
    ]


def write_table(stream: TextIO, collection: CollectionInfo, software: Software, originals: Iterable[Original]) -> None:
    """Write the ISAD(G) table: the collection, its groups and its items, one row each."""
    rows = csv.writer(stream)
    rows.writerow(COLUMNS)
    name = collection.name or "Collection"
    whole = ["", name, "", "fonds", "", "", "", "", collection.rights, "", "", "", collection.credit, ""]
    rows.writerow([safe_cell(cell) for cell in whole])
    for group, members in _groups(originals):
        rows.writerow([safe_cell(group), safe_cell(f"{name}, {group}"), "", "series", *[""] * 10])
        rows.writerows([safe_cell(cell) for cell in _row(original, software)] for original in members)


def _paragraph(xml: XmlStream, element: str, text: str) -> None:
    if clean(text).strip():
        with xml.element(element):
            xml.leaf("p", text)


def _control(xml: XmlStream, collection: CollectionInfo, software: Software) -> None:
    with xml.element("control"):
        xml.leaf("recordid", collection.name or "collection")
        with xml.element("filedesc"), xml.element("titlestmt"):
            xml.leaf("titleproper", f"{collection.name or 'Collection'}: finding aid")
        xml.leaf("maintenancestatus", value="derived")
        with xml.element("maintenanceagency"):
            xml.leaf("agencyname", collection.credit or collection.name or "not stated")
        with xml.element("conventiondeclaration"):
            xml.leaf("abbr", "ISAD(G)")
            xml.leaf("citation", "General International Standard Archival Description, second edition, 2000")
        with xml.element("maintenancehistory"), xml.element("maintenanceevent"):
            xml.leaf("eventtype", value="derived")
            xml.leaf("eventdatetime", "at hand-over")
            xml.leaf("agenttype", value="machine")
            xml.leaf("agent", f"{software.name} {software.version}")
            xml.leaf("eventdescription", "Written from the collection's manifest.")


def _dates(xml: XmlStream, text: str) -> None:
    if clean(text).strip():
        certainty = {"certainty": "approximate"} if text.endswith(("~", "?", "%")) else {}
        xml.leaf("unitdate", date_words(text), **certainty)


def _item(xml: XmlStream, original: Original) -> None:
    with xml.element("c", level="item"):
        with xml.element("did"):
            xml.leaf("unitid", original.reference)
            xml.leaf("unittitle", original.title or ITEM_TITLE)
            _dates(xml, original.date)
            xml.leaf("physdesc", _extent(original))
            location = original.location
            for kind, value in (("box", location.box), ("folder", location.folder), ("enclosure", location.enclosure)):
                xml.given("container", value, localtype=kind)
            if clean(original.creator).strip():
                with xml.element("origination"), xml.element("persname"):
                    xml.leaf("part", original.creator)
            for master in original.masters:
                label = f"master, {master.side.value}"
                xml.leaf("dao", daotype="derived", href=f"../{quote(master.file)}", label=label, localtype="master")
            for copy in original.copies:
                label = f"{copy.use.value} copy, {copy.side.value}" + (f", part {copy.part}" if copy.part else "")
                xml.leaf("dao", daotype="derived", href=f"../{quote(copy.file)}", label=label, localtype="copy")
        _paragraph(xml, "scopecontent", _scope(original))
        _paragraph(xml, "accessrestrict", _access(original))
        _paragraph(xml, "userestrict", original.rights)
        _paragraph(xml, "phystech", _condition(original))
        _paragraph(xml, "odd", original.notes)
        names = [("persname", person) for person in original.people] + [("geogname", original.place)]
        names = [(element, name) for element, name in names if clean(name).strip()]
        if names:
            with xml.element("controlaccess"):
                for element, name in names:
                    with xml.element(element):
                        xml.leaf("part", name)


def _groups(originals: Iterable[Original]) -> Iterator[tuple[str, Iterator[Original]]]:
    return groupby(originals, key=lambda original: group_of(original.reference))


def write_ead(stream: TextIO, collection: CollectionInfo, software: Software, originals: Iterable[Original]) -> None:
    """Write the EAD3 finding aid; ``originals`` are sorted by reference and gone through once."""
    xml = XmlStream(stream)
    name = collection.name or "Collection"
    with xml.element("ead", xmlns=NAMESPACE):
        _control(xml, collection, software)
        with xml.element("archdesc", level="collection"):
            with xml.element("did"):
                xml.leaf("unittitle", name)
                if clean(collection.credit).strip():
                    with xml.element("repository"), xml.element("corpname"):
                        xml.leaf("part", collection.credit)
            _paragraph(xml, "userestrict", collection.rights)
            with xml.element("dsc", dsctype="combined"):
                for group, members in _groups(originals):
                    with xml.element("c", level="series"):
                        with xml.element("did"):
                            xml.leaf("unitid", group)
                            xml.leaf("unittitle", f"{name}, {group}")
                        for original in members:
                            _item(xml, original)

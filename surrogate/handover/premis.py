"""The preservation history as PREMIS 3.0 XML: what each file is, what was done, when, and with what.

Element names and order follow the PREMIS Data Dictionary 3.0 (Library of Congress, 2016); event types are terms of
its vocabulary at id.loc.gov/vocabulary/preservation/eventType. Dates come from the collection's own history, so the
same collection always gives the same file.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TextIO

from surrogate.handover.formats import format_of
from surrogate.handover.words import fade_words, stain_words
from surrogate.handover.xmlstream import XmlStream
from surrogate.records import CollectionInfo, Original, Software

NAMESPACE = "http://www.loc.gov/premis/v3"

_ORIGINAL = "reference number"
_FILE = "path"
_EVENT = "event"
_AGENT = "agent"

#: What the house calls an event, and the PREMIS events that this stands for: (type, what happened).
_MEANINGS: Mapping[str, Sequence[tuple[str, str]]] = {
    "taken in": (
        ("ingestion", "The scan was copied byte for byte as the master."),
        ("message digest calculation", "SHA-256 of the master was computed while it was read."),
        ("metadata extraction", "Fade and stain were measured on the master."),
        ("creation", "Copies were made from the master by their recipes."),
    ),
    "copies made again": (("creation", "Copies were made again from the master by their recipes."),),
    "described again": (("metadata modification", "The description inside the copies was written anew."),),
    "print made": (("creation", "A print to frame was made from the master."),),
    "audit": (("fixity check", "Checksums were computed anew and compared."),),
}


@dataclass(frozen=True)
class Happening:
    """One line of the collection's history; ``at`` is ISO 8601 in UTC."""

    at: str
    reference: str | None
    what: str
    detail: str


def _identifier(xml: XmlStream, element: str, kind: str, value: str) -> None:
    with xml.element(element):
        xml.leaf(f"{element}Type", kind)
        xml.leaf(f"{element}Value", value)


def _related(xml: XmlStream, kind: str, sub_type: str, related: Iterable[tuple[str, str]]) -> None:
    with xml.element("relationship"):
        xml.leaf("relationshipType", kind)
        xml.leaf("relationshipSubType", sub_type)
        for identifier_type, value in related:
            _identifier(xml, "relatedObjectIdentifier", identifier_type, value)


def _condition_properties(xml: XmlStream, original: Original) -> None:
    for condition in original.condition:
        for what, words in (
            ("fading", fade_words(condition.fade, original.kind)),
            ("staining", stain_words(condition.stain)),
        ):
            with xml.element("significantProperties"):
                xml.leaf("significantPropertiesType", f"{what} of the original, {condition.side.value}")
                xml.leaf("significantPropertiesValue", words)


def _entity(xml: XmlStream, original: Original) -> None:
    with xml.element("object", xsi_type="intellectualEntity"):
        _identifier(xml, "objectIdentifier", _ORIGINAL, original.reference)
        _condition_properties(xml, original)
        xml.given("originalName", original.title)
        files = [master.file for master in original.masters] + [copy.file for copy in original.copies]
        files = list(dict.fromkeys(files))  # front and back may be pages of one file
        if files:
            _related(xml, "structural", "is represented by", [(_FILE, file) for file in files])


def _characteristics(xml: XmlStream, file: str, sha256: str, size: int | None) -> None:
    form = format_of(file)
    with xml.element("objectCharacteristics"):
        xml.leaf("compositionLevel", "0")
        with xml.element("fixity"):
            xml.leaf("messageDigestAlgorithm", "SHA-256")
            xml.leaf("messageDigest", sha256)
        if size is not None:
            xml.leaf("size", str(size))
        with xml.element("format"):
            with xml.element("formatDesignation"):
                xml.leaf("formatName", form.name)
                xml.given("formatVersion", form.version)
            if form.pronom:
                with xml.element("formatRegistry"):
                    xml.leaf("formatRegistryName", "PRONOM")
                    xml.leaf("formatRegistryKey", form.pronom)


def _storage(xml: XmlStream, file: str) -> None:
    with xml.element("storage"), xml.element("contentLocation"):
        xml.leaf("contentLocationType", "path in the bag")
        xml.leaf("contentLocationValue", f"data/{file}")


def _files(xml: XmlStream, original: Original, size_of: Callable[[str], int | None]) -> None:
    masters = {(master.side, master.sha256): master.file for master in original.masters}
    for master in (one for one in original.masters if not one.page):  # whose file it is
        with xml.element("object", xsi_type="file"):
            _identifier(xml, "objectIdentifier", _FILE, master.file)
            with xml.element("preservationLevel"):
                xml.leaf("preservationLevelValue", "master: kept byte for byte")
            _characteristics(xml, master.file, master.sha256, master.bytes)
            xml.given("originalName", master.scanned_as)
            _storage(xml, master.file)
            _related(xml, "structural", "represents", [(_ORIGINAL, original.reference)])
    for copy in original.copies:
        with xml.element("object", xsi_type="file"):
            _identifier(xml, "objectIdentifier", _FILE, copy.file)
            with xml.element("preservationLevel"):
                xml.leaf("preservationLevelValue", "copy: can be made again from master and recipe")
            _characteristics(xml, copy.file, copy.sha256, size_of(copy.file))
            _storage(xml, copy.file)
            _related(xml, "structural", "represents", [(_ORIGINAL, original.reference)])
            master_file = masters.get((copy.side, copy.master_sha256))
            if master_file:
                _related(xml, "derivation", "has source", [(_FILE, master_file)])
            if copy.recipe:
                _related(xml, "derivation", "is made by the recipe in", [(_FILE, copy.recipe)])


def _recipes(xml: XmlStream, original: Original, digest_of: Callable[[str], str | None]) -> None:
    for recipe in dict.fromkeys(copy.recipe for copy in original.copies if copy.recipe):
        digest = digest_of(recipe)
        if digest is None:
            continue
        with xml.element("object", xsi_type="file"):
            _identifier(xml, "objectIdentifier", _FILE, recipe)
            _characteristics(xml, recipe, digest, None)
            _storage(xml, recipe)
            _related(xml, "structural", "represents", [(_ORIGINAL, original.reference)])


def _events(xml: XmlStream, happenings: Iterable[Happening]) -> None:
    for number, happening in enumerate(happenings, start=1):
        meanings = _MEANINGS.get(happening.what, (("metadata modification", happening.what),))
        for part, (kind, words) in enumerate(meanings, start=1):
            with xml.element("event"):
                _identifier(xml, "eventIdentifier", _EVENT, f"{number}.{part}")
                xml.leaf("eventType", kind)
                xml.leaf("eventDateTime", happening.at)
                with xml.element("eventDetailInformation"):
                    xml.leaf("eventDetail", f"{words} {happening.detail}".strip())
                _identifier(xml, "linkingAgentIdentifier", _AGENT, "surrogate")
                if happening.reference is not None:
                    _identifier(xml, "linkingObjectIdentifier", _ORIGINAL, happening.reference)


def write(
    stream: TextIO,
    collection: CollectionInfo,
    software: Software,
    originals: Iterable[Original],
    history: Iterable[Happening],
    *,
    size_of: Callable[[str], int | None],
    digest_of: Callable[[str], str | None],
) -> None:
    """Write the history of ``originals``, which are gone through once, to ``stream``.

    ``history`` is sorted, oldest first, and speaks only of these originals or of the collection as a whole.
    ``size_of`` and ``digest_of`` tell bytes and SHA-256 of a file by its path in the collection.
    """
    xml = XmlStream(stream)
    with xml.element(
        "premis",
        xmlns=NAMESPACE,
        xmlns_xsi="http://www.w3.org/2001/XMLSchema-instance",
        version="3.0",
    ):
        with xml.element("object", xsi_type="intellectualEntity"):
            _identifier(xml, "objectIdentifier", "collection", collection.name or "collection")
            xml.given("originalName", collection.name)
        for original in originals:
            _entity(xml, original)
            _files(xml, original, size_of)
            _recipes(xml, original, digest_of)
        _events(xml, history)
        with xml.element("agent"):
            _identifier(xml, "agentIdentifier", _AGENT, "surrogate")
            xml.leaf("agentName", software.name)
            xml.leaf("agentType", "software")
            xml.leaf("agentVersion", software.version)

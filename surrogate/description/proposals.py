"""What a scan already carries in its metadata, offered for the caption sheet and never put above it.

Field meanings: IPTC Photo Metadata Standard (XMP and IIM), Exif 2.32. Where blocks disagree the order follows the
Metadata Working Group's guidelines 2.0 (from memory): IIM first when its digest shows that a program changed it
without the XMP, else XMP, IIM, Exif.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from surrogate.description.dates import understand
from surrogate.description.text import clean
from surrogate.records import Caption, Record

# Sheet field -> places in the file, the fuller block first.
_PLACES: Mapping[str, tuple[str, ...]] = {
    "title": ("XMP-dc:Title", "XMP-photoshop:Headline", "IPTC:ObjectName", "IPTC:Headline", "IFD0:DocumentName"),
    "caption": ("XMP-dc:Description", "IPTC:Caption-Abstract", "IFD0:ImageDescription"),
    "inscription": ("XMP-exif:UserComment", "ExifIFD:UserComment"),
    "date": ("XMP-photoshop:DateCreated", "IPTC:DateCreated"),
    "people": ("XMP-iptcExt:PersonInImage", "XMP-iptcExt:PersonInImageWDetails"),
    "place": ("XMP-iptcExt:LocationShown", "XMP-iptcCore:Location", "IPTC:Sub-location"),
    "creator": ("XMP-dc:Creator", "IPTC:By-line", "IFD0:Artist"),
    "credit": ("XMP-photoshop:Credit", "IPTC:Credit"),
    "rights": ("XMP-dc:Rights", "IPTC:CopyrightNotice", "IFD0:Copyright"),
    "notes": ("XMP-dc:Subject", "IPTC:Keywords"),
}
# IIM keeps the town and country apart from the place (IIM 4.2, 2:90 to 2:101); XMP likewise.
_WIDER_PLACES = {
    "XMP-iptcCore:Location": ("XMP-photoshop:City", "XMP-photoshop:State", "XMP-photoshop:Country"),
    "IPTC:Sub-location": ("IPTC:City", "IPTC:Province-State", "IPTC:Country-PrimaryLocationName"),
}
_BACK = "On the back: "


class Proposal(Record):
    """One value that a scan carries for one field of the sheet; rank 1 is the one to prefer."""

    field: str
    value: str
    place: str
    rank: int


def proposals(found: Mapping[str, object]) -> list[Proposal]:
    """What a file's metadata (see :meth:`Embedder.read`) says for each field of the sheet, best first.

    The day of scanning is no date of the picture and the name of a camera is no caption: both are passed over.
    """
    offered: list[Proposal] = []
    for field, places in _PLACES.items():
        values = [(place, _value(field, place, found)) for place in _in_order(places, found)]
        kept = [(place, value) for place, value in values if value]
        offered += [
            Proposal(field=field, value=value, place=place, rank=rank)
            for rank, (place, value) in enumerate(kept, start=1)
        ]
    return _without_back(offered)


def fill(caption: Caption, offered: Sequence[Proposal]) -> tuple[Caption, list[Proposal]]:
    """The caption with its empty fields filled from the best proposals, and the proposals that were used."""
    used = [each for each in offered if each.rank == 1 and not getattr(caption, each.field)]
    values: dict[str, object] = {each.field: each.value for each in used}
    if "people" in values:
        values["people"] = [name.strip() for name in str(values["people"]).split(";") if name.strip()]
    return caption.model_copy(update=values), used


def who_said_what(caption: Caption, offered: Sequence[Proposal]) -> list[str]:
    """One sentence for every field where the sheet and the scan, or two places in the scan, disagree."""
    said: list[str] = []
    for field in dict.fromkeys(each.field for each in offered):
        written = getattr(caption, field)
        ours = "; ".join(written) if isinstance(written, list) else written
        others = [each for each in offered if each.field == field]
        first = ours or others[0].value
        differing = [each for each in others if not _agrees(field, each.value, first)]
        if differing:
            opening = f"the sheet says {ours!r}" if ours else f"{others[0].place} says {others[0].value!r}"
            said.append(f"{field}: {opening}; " + "; ".join(f"{e.place} says {e.value!r}" for e in differing) + ".")
    return said


def _in_order(places: tuple[str, ...], found: Mapping[str, object]) -> list[str]:
    digest, current = found.get("Photoshop:IPTCDigest"), found.get("File:CurrentIPTCDigest")
    if digest and current and digest != current:
        return sorted(places, key=lambda place: not place.startswith("IPTC:"))
    return list(places)


def _value(field: str, place: str, found: Mapping[str, object]) -> str:
    if field == "place":
        return _place(place, found)
    if field == "date":
        return _date(place, found)
    texts = _texts(found.get(place))
    text = "; ".join(texts)
    if field == "notes":
        return f"Keywords: {text}" if text else ""
    return "" if field in ("caption", "title") and _is_camera_name(text, found) else text


def _texts(value: object) -> list[str]:
    """The texts of a field: a repeated one is a list, a structured one a dictionary with a name in it."""
    if isinstance(value, list):
        return [text for each in value for text in _texts(each)]
    if isinstance(value, dict):
        named = [each for key, each in value.items() if "Name" in key or key == "Sublocation"]
        return _texts(named[:1])
    text = clean(str(value)).text.strip() if value is not None else ""
    return [text] if text else []


def _place(place: str, found: Mapping[str, object]) -> str:
    value = found.get(place)
    parts = _texts(value)
    if parts and isinstance(value, list) and isinstance(value[0], dict) and value[0].get("LocationId"):
        return " ".join([parts[0], *_texts(value[0]["LocationId"])])
    for wider in _WIDER_PLACES.get(place, ()):
        parts += _texts(found.get(wider))
    return ", ".join(dict.fromkeys(parts))


def _date(place: str, found: Mapping[str, object]) -> str:
    circa = found.get("XMP-iptcExt:ArtworkOrObject")
    if place.startswith("XMP") and isinstance(circa, list) and circa and isinstance(circa[0], dict):
        exact = _texts(circa[0].get("AOCircaDateCreated"))
        if exact:
            return exact[0]
    text = "".join(_texts(found.get(place))[:1])
    day = text[:10].replace(":", "-")
    while day.endswith("-00"):
        day = day[:-3]
    scanned = [str(found.get(tag, ""))[:10].replace(":", "-") for tag in _SCANNING_DAYS]
    if not re.fullmatch(r"\d{4}(-\d\d){0,2}", day) or (len(day) == 10 and day in scanned):
        return ""
    return understand(day).edtf or ""


_SCANNING_DAYS = (
    *("ExifIFD:DateTimeOriginal", "ExifIFD:CreateDate", "IFD0:ModifyDate", "XMP-xmp:CreateDate", "XMP-xmp:ModifyDate"),
    *("XMP-exif:DateTimeOriginal", "XMP-exif:DateTimeDigitized", "IPTC:DigitalCreationDate"),
)


def _is_camera_name(text: str, found: Mapping[str, object]) -> bool:
    """True for the caption that a camera or scanner writes by itself: its own make and model and little else."""
    words = set(re.findall(r"[^\W_]+", text.casefold()))
    named = set(re.findall(r"[^\W_]+", f"{found.get('IFD0:Make', '')} {found.get('IFD0:Model', '')}".casefold()))
    return bool(words & named) and words <= named | {"digital", "camera", "scanner", "scan", "image", "photo"}


def _without_back(offered: list[Proposal]) -> list[Proposal]:
    """Take the back's inscription out of captions that carry it at their end, as our own copies do."""
    backs = [each.value for each in offered if each.field == "inscription"]
    cut: list[Proposal] = []
    for each in offered:
        value = each.value
        for back in backs if each.field == "caption" else []:
            value = value.removesuffix(_BACK + back).rstrip("\n")
        if value:
            cut.append(each.model_copy(update={"value": value}))
    return cut


def _agrees(field: str, value: str, other: str) -> bool:
    """True when two texts say the same; a text that IIM or Exif cut short agrees with the whole."""
    if field == "date":
        ours, theirs = understand(value), understand(other)
        return (ours.edtf or value) == (theirs.edtf or other) or (ours.iptc is not None and ours.iptc == theirs.iptc)
    short, whole = sorted((" ".join(value.split()), " ".join(other.split())), key=len)
    was_cut = len(short.encode()) >= 29 and whole.startswith(short)  # 32 bytes less one letter cut off
    return short == whole or was_cut

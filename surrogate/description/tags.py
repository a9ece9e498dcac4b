"""Which words go into which field of XMP, IPTC-IIM and Exif: one description, three blocks in step.

Sources: IPTC Photo Metadata Standard (XMP and IIM fields), IIM 4.2 (largest lengths in bytes), XMP part 2
(xmpMM), Exif 2.32 (IFD0, UserComment). Tag names are those of ExifTool.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from pydantic import Field

from surrogate.description.dates import understand
from surrogate.description.faces import Face
from surrogate.description.text import clean, shorten
from surrogate.records import Record

Structure = dict[str, "Value"]
Value = str | list[str] | Structure | list[Structure]

# IIM 4.2, largest size of each data set in bytes.
IIM_MOST_BYTES: Mapping[str, int] = {
    "IPTC:OriginalTransmissionReference": 32,
    "IPTC:ObjectName": 64,
    "IPTC:Caption-Abstract": 2000,
    "IPTC:Sub-location": 32,
    "IPTC:By-line": 32,
    "IPTC:Credit": 32,
    "IPTC:CopyrightNotice": 128,
}
# A JPEG holds the whole Exif block in one segment of at most 65,533 bytes (Exif 2.32, 4.5.4). With these sizes it
# fits even where UserComment, in UTF-16, takes two bytes for one. XMP keeps the whole.
EXIF_MOST_BYTES: Mapping[str, int] = {
    "IFD0:ImageDescription": 12000,
    "ExifIFD:UserComment": 12000,
    "IFD0:DocumentName": 2000,
    "IFD0:Artist": 2000,
    "IFD0:Copyright": 2000,
    "IFD0:Software": 2000,
}
REGION_TYPES = "http://cv.iptc.org/newscodes/imageregiontype/"
SOURCE_TYPES = "http://cv.iptc.org/newscodes/digitalsourcetype/"


class Description(Record):
    """The words that travel inside one file; all three metadata blocks follow from it.

    ``date`` is EDTF or text; ``place`` may end in the web address of an authority file; ``source`` names the master
    file and its SHA-256; ``derived_from`` is a document id or a file; ``history`` tells the recipe in words, one step
    each; ``source_type`` is a term of the IPTC NewsCodes "digital source type". ``faces`` lie on the picture itself.
    """

    reference: str = ""
    title: str = ""
    caption: str = ""
    inscription: str = ""
    date: str = ""
    people: list[str] = Field(default=[])
    place: str = ""
    creator: str = ""
    credit: str = ""
    rights: str = ""
    source_type: str = ""
    source: str = ""
    derived_from: str = ""
    history: list[str] = Field(default=[])
    software: str = ""
    faces: list[Face] = Field(default=[])


def cleaned(description: Description) -> Description:
    """The same description with every text made safe to store (see :func:`clean`).

    Blanks and line breaks around a text are no part of it: Exif readers take them off.
    """
    values: dict[str, object] = {
        name: [_trimmed(str(each)) for each in value] if isinstance(value, list) else _trimmed(value)
        for name, value in description
        if name != "faces"
    }
    values["faces"] = [face.model_copy(update={"name": _trimmed(face.name)}) for face in description.faces]
    return Description.model_validate(values)


def _trimmed(text: str) -> str:
    return clean(text).text.strip(" \t\n")


def caption_with_back(description: Description) -> str:
    """The caption, followed by what is written on the back."""
    back = f"On the back: {description.inscription}" if description.inscription else ""
    return "\n".join(part for part in (description.caption, back) if part)


def place_and_id(place: str) -> tuple[str, str]:
    """A place and its identifier in an authority file, where its text ends in a web address."""
    found = re.fullmatch(r"(.*\S)\s+[(<\[]?(https?://[^\s()<>\[\]]+)[)>\]]?", place, re.DOTALL)
    return (found[1], found[2]) if found else (place, "")


def xmp_tags(description: Description) -> dict[str, Value]:
    """The XMP fields of a description; an empty value says that the field must not be there."""
    date = understand(description.date) if description.date else None
    name, identifier = place_and_id(description.place)
    place: Structure = {
        "LocationName": name,
        "Sublocation": name,
        "LocationId": [identifier] if identifier else [],
    }
    artwork: Structure = {
        "AOSourceInvNo": description.reference,
        "AOTitle": description.title,
        "AOCircaDateCreated": description.date,
    }
    return {
        "XMP-dc:Identifier": description.reference,
        "XMP-photoshop:TransmissionReference": description.reference,
        "XMP-dc:Title": description.title,
        "XMP-iptcExt:ArtworkOrObject": _structures([artwork]),
        "XMP-dc:Description": caption_with_back(description),
        "XMP-exif:UserComment": description.inscription,
        "XMP-photoshop:DateCreated": (date.xmp or "") if date else "",
        "XMP-iptcExt:PersonInImage": [person for person in description.people if person],
        "XMP-iptcExt:ImageRegion": [_region(number, face) for number, face in enumerate(description.faces, start=1)],
        "XMP-iptcExt:LocationShown": _structures([place]),
        "XMP-iptcCore:Location": name,
        "XMP-dc:Creator": [description.creator] if description.creator else [],
        "XMP-photoshop:Credit": description.credit,
        "XMP-dc:Rights": description.rights,
        "XMP-iptcExt:DigitalSourceType": SOURCE_TYPES + description.source_type if description.source_type else "",
        "XMP-dc:Source": description.source,
        "XMP-xmpMM:DerivedFrom": _derived_from(description.derived_from),
        "XMP-xmpMM:History": _structures([_event(step, description.software) for step in description.history]),
        "XMP-xmp:CreatorTool": description.software,
    }


def iim_tags(description: Description) -> dict[str, Value]:
    """The IPTC-IIM fields, each cut to its largest length at a character boundary.

    Only the caption may hold line breaks (IIM 4.2: the others are "graphic characters plus spaces").
    """
    date = understand(description.date) if description.date else None
    whole = {
        "IPTC:OriginalTransmissionReference": description.reference,
        "IPTC:ObjectName": description.title,
        "IPTC:Caption-Abstract": caption_with_back(description),
        "IPTC:Sub-location": place_and_id(description.place)[0],
        "IPTC:By-line": description.creator,
        "IPTC:Credit": description.credit,
        "IPTC:CopyrightNotice": description.rights,
    }
    tags: dict[str, Value] = {
        tag: shorten(text if tag == "IPTC:Caption-Abstract" else _one_line(text), IIM_MOST_BYTES[tag]).rstrip(" \t\n")
        for tag, text in whole.items()
    }
    tags["IPTC:DateCreated"] = (date.iptc or "") if date else ""
    return tags


def exif_tags(description: Description) -> dict[str, Value]:
    """The Exif fields, cut so that the block fits one JPEG segment.

    Names and rights stand on one line: in Exif's Copyright a break divides photographer from editor.
    """
    whole = {
        "IFD0:DocumentName": _one_line(description.title),
        "IFD0:ImageDescription": caption_with_back(description),
        "ExifIFD:UserComment": description.inscription,
        "IFD0:Artist": _one_line(description.creator),
        "IFD0:Copyright": _one_line(description.rights),
        "IFD0:Software": description.software,
    }
    return {tag: shorten(text, EXIF_MOST_BYTES[tag]).rstrip(" \t\n") for tag, text in whole.items()}


def _one_line(text: str) -> str:
    return " ".join(text.split("\n"))


def _structures(rows: list[Structure]) -> list[Structure]:
    filled = [{key: value for key, value in row.items() if value} for row in rows]
    return [row for row in filled if row]


def _region(number: int, face: Face) -> Structure:
    """A person's place as an IPTC image region; somebody unknown has no name."""
    boundary = {"RbShape": "circle", "RbUnit": "relative"}
    boundary |= {key: f"{value:.4f}" for key, value in (("RbX", face.x), ("RbY", face.y), ("RbRx", face.r))}
    human: Structure = {"Identifier": [REGION_TYPES + "human"], "Name": "human"}
    region: Structure = {"RegionBoundary": {**boundary}, "RId": f"person-{number}", "RCtype": [human]}
    return region | ({"Name": face.name} if face.name not in {"", "?"} else {})


def _derived_from(source: str) -> Structure:
    if not source:
        return {}
    is_id = source.startswith(("urn:", "uuid:", "xmp."))
    return {"DocumentID" if is_id else "FilePath": source}


def _event(step: str, software: str) -> Structure:
    # "edited" is the action of XMP part 2, table of stEvt:action, for a change of content. No time: the same
    # master and recipe give the same bytes.
    return {"Action": "edited", "Parameters": step, "SoftwareAgent": software}

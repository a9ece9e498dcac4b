"""Which originals show the same picture: another print, a second scan. They are linked, never merged."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.collection.catalogue import Catalogue
from surrogate.exporting import same_picture_note
from surrogate.intake import lookalike
from surrogate.intake.lookalike import Signature
from surrogate.records import Kind, Side, Use

#: Long edge at which two pictures are compared feature by feature.
LONG_EDGE_PX = 640

#: Kinds that are compared: text pages are all alike to a hash, and a target is no picture.
PICTURES = frozenset({Kind.COLOUR_PRINT, Kind.SILVER_PRINT, Kind.NEGATIVE, Kind.UNKNOWN})


def link(folder: Path, catalogue: Catalogue) -> list[str]:
    """Compare the originals that have no signature yet with all others, by their viewing copies; returns notes."""
    signatures = _signatures(catalogue)
    new = set()
    for reference in [row.reference for row in catalogue.originals() if row.reference not in signatures]:
        picture = _viewing(folder, catalogue, reference)
        if picture is not None:
            signatures[reference] = lookalike.signature(picture)
            new.add(reference)
    if not new:
        return []
    notes = []
    pairs = []
    for one, other in lookalike.candidates(signatures, new):
        first, second = _viewing(folder, catalogue, one), _viewing(folder, catalogue, other)
        if first is not None and second is not None and lookalike.confirm(first, second):
            pairs.append((one, other))
            notes.append(same_picture_note(one, other))
    with catalogue.transaction():
        for reference in new:
            found = signatures[reference]
            catalogue.put_signature(reference, json.dumps([found.windows, found.turns]))
        for one, other in pairs:
            catalogue.put_same_picture(one, other)
    return notes


def _signatures(catalogue: Catalogue) -> dict[str, Signature]:
    known = {reference: json.loads(text) for reference, text in catalogue.signatures().items()}
    return {reference: Signature(tuple(windows), tuple(turns)) for reference, (windows, turns) in known.items()}


def _viewing(folder: Path, catalogue: Catalogue, reference: str) -> npt.NDArray[np.uint8] | None:
    """The front's viewing copy in grey; None for what is not compared."""
    row = catalogue.original(reference)
    if row is None or row.kind not in PICTURES:
        return None
    for copy in catalogue.copies(reference):
        if copy.copy.use is Use.VIEWING and copy.copy.side is Side.RECTO and copy.copy.part is None:
            grey = cv2.imdecode(np.fromfile(folder / copy.copy.file, np.uint8), cv2.IMREAD_GRAYSCALE)
            if grey is None:
                return None
            factor = min(1.0, LONG_EDGE_PX / max(grey.shape))
            small = cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
            return np.asarray(small, dtype=np.uint8)
    return None

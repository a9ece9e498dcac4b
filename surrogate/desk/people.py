"""Who is on the front of an original, left to right, and where each is marked on its copy."""

from __future__ import annotations

from dataclasses import dataclass

from surrogate.collection.catalogue import Catalogue, Corners
from surrogate.description import faces
from surrogate.description.faces import Face
from surrogate.desk.decisions import outline_of_copy
from surrogate.records import Side


@dataclass(frozen=True)
class Person:
    """One of the people of an original: the place in the row, the name ("?" for unknown), the mark on the copy."""

    number: int
    name: str
    face: Face | None


def people_on(catalogue: Catalogue, reference: str) -> list[Person]:
    """Everybody that somebody wrote down, in that order."""
    caption = catalogue.caption(reference, Side.RECTO)
    cut = _cut(catalogue, reference)
    placed = [] if cut is None else faces.on_copy(faces.read(caption.faces), *cut)
    found = []
    for number, name in enumerate(caption.people or catalogue.caption(reference, Side.VERSO).people, start=1):
        face = next((each for each in placed if each.name == name), None)
        if face is not None:
            placed.remove(face)
        found.append(Person(number, name, face))
    return found


def as_kept(catalogue: Catalogue, reference: str, text: str) -> str:
    """Faces as they were marked on the copy, as the sheet keeps them: where they lie on the scan. Those that the copy
    does not show stay as they were.
    """
    cut = _cut(catalogue, reference)
    if cut is None:
        return ""
    before = faces.read(catalogue.caption(reference, Side.RECTO).faces)
    unseen = [face for face in before if not faces.on_copy([face], *cut)]
    return faces.written([*faces.on_scan(faces.read(text), *cut), *unseen])


def _cut(catalogue: Catalogue, reference: str) -> tuple[int, int, int, Corners | None] | None:
    """(width, height, turn, outline) by which the copy of the front is cut from its scan; None without a front."""
    front = catalogue.master(reference, Side.RECTO)
    if front is None:
        return None
    turn = catalogue.caption(reference, Side.RECTO).turn
    return front.width, front.height, turn, outline_of_copy(catalogue, reference, Side.RECTO)

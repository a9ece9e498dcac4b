"""Front and back: which scan is the back of which original, decided at the desk and followed by ``process``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from starlette.requests import Request
from starlette.responses import Response

from surrogate import linking
from surrogate.collection.catalogue import Catalogue, open_catalogue
from surrogate.collection.holding import held
from surrogate.collection.numbering import name_of
from surrogate.desk.decisions import note
from surrogate.desk.guard import Refused
from surrogate.desk.room import Done, Room, back_to, one

#: Field of a change that can be taken back; its words are a row of ``pairs.csv``.
FIELD = "pair"

#: What a change holds where there is no row.
_NONE = "-"


@dataclass(frozen=True)
class Standing:
    """What the page shows: what is decided already (``joins`` another, is ``joined`` by one, ``parts``, or nothing) and
    the other original; ``can`` is what can be decided: to ``join``, to ``part`` or nothing.
    """

    decided: str
    other: str
    can: str

    @property
    def other_name(self) -> str:
        """The other's name in addresses."""
        return name_of(self.other)


class Pairing:
    """The route of these decisions."""

    def __init__(self, room: Room) -> None:
        self._room = room

    def decide(self, request: Request, fields: Mapping[str, Sequence[str]]) -> Response:
        """Note that this original is the back of another, that its back is none, or that all stays as it is."""
        reference, act = self._room.reference(request), one(fields, "act")
        told = "told_paired"
        with held(self._room.folder, "desk"), open_catalogue(self._room.folder) as catalogue:
            rows = linking.read(self._room.folder)
            if act == "leave":
                front = next((front for front, back in rows.items() if reference in {front, back}), reference)
                row, said, told = None, "", "told_pair_left"
            elif act == "part":
                front, row, said = reference, "", ""
            elif act == "join":
                front, row = _meant(catalogue, one(fields, "front")), reference
                said = front
                if reference in rows or front in rows:
                    raise Refused(400, "pair_wrong")
            else:
                raise Refused(400, "refused_form")
            if row is not None and linking.trouble(catalogue, front, row):
                raise Refused(400, "pair_wrong")
            before = rows.get(front, _NONE)
            _put(self._room.folder, rows, front, row)
            with catalogue.transaction():
                note(catalogue, reference, act, said)
        self._room.session.done.append(Done(front, FIELD, before, _NONE if row is None else row))
        return back_to(request, request.url.path.removesuffix("/pair"), told)


def take_back(folder: Path, change: Done) -> bool:
    """Undo a decision; False where it was followed or changed meanwhile."""
    with held(folder, "desk"):
        rows = linking.read(folder)
        if rows.get(change.reference, _NONE) != change.after:
            return False
        _put(folder, rows, change.reference, None if change.before == _NONE else change.before)
    return True


def standing(folder: Path, catalogue: Catalogue, reference: str) -> Standing:
    """What is decided about an original and what can be."""
    rows = linking.read(folder)
    for front, back in rows.items():
        if back == reference:
            return Standing("joins", front, "")
        if front == reference:
            return Standing("joined" if back else "parts", back, "")
    sides = [master.side for master in catalogue.masters(reference)]
    if len(sides) == 2:
        return Standing("", "", "part")
    return Standing("", "", "join" if sides else "")


def _meant(catalogue: Catalogue, typed: str) -> str:
    """The original that somebody meant, whether written as a number or as in the names of files."""
    text = typed.strip()
    for named in (text, text.lower(), text.upper()):
        if catalogue.original(named) is not None:
            return named
    return catalogue.reference_named(name_of(text)) or "" if text else ""


def _put(folder: Path, rows: dict[str, str], front: str, row: str | None) -> None:
    kept = {each: back for each, back in rows.items() if each != front}
    linking.write(folder, kept if row is None else {**kept, front: row})

"""The page of one original: its words, saved field by field."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from starlette.background import BackgroundTask
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from surrogate import wording
from surrogate.collection import profiles, sets, settings
from surrogate.collection.catalogue import Catalogue, OriginalRow, open_catalogue
from surrogate.collection.numbering import name_of
from surrogate.collection.search_records import Card
from surrogate.desk import decisions, pairing, words
from surrogate.desk.guard import Refused
from surrogate.desk.lists import members
from surrogate.desk.people import as_kept, people_on
from surrogate.desk.room import Done, Room, back_to, one, texts_of, told_in
from surrogate.desk.shelf import View, view_of
from surrogate.records import Copy, Master, Side, Use

#: Names offered for completion at a time.
MOST_OFFERED = 12


class Originals:
    """The routes of one original's words."""

    def __init__(self, room: Room) -> None:
        self._room = room

    def page(self, request: Request) -> Response:
        """One original: its pictures, its fields, its decisions."""
        return self._page(request, {}, {}, 200)

    def save(self, request: Request, fields: Mapping[str, Sequence[str]]) -> Response:
        """Save the fields that a form holds; for the page's own script, answer what became of each."""
        reference = self._room.reference(request)
        given = {field: one(fields, field) for field in words.SAVED if field in fields}
        if given.get("access") == "until":
            given["access"] = one(fields, "until")
            if not given["access"]:
                raise Refused(400, "until_missing")
        if not all(words.is_sensible(field, text) for field, text in given.items()):
            raise Refused(400, "refused_form")
        if any(len(text) > words.LONGEST for text in given.values()):
            raise Refused(413, "too_large")
        if "faces" in given:
            with open_catalogue(self._room.folder) as catalogue:
                given["faces"] = as_kept(catalogue, reference, given["faces"])
        saved = [self._save(reference, field, one(fields, f"before_{field}"), text) for field, text in given.items()]
        if request.headers.get("x-desk") == "field":
            answer: Response = JSONResponse([self._told(request, each) for each in saved])
        else:
            clashes = {each.field: each.value for each in saved if not each.done}
            if clashes:
                answer = self._page(request, clashes, given, 409)
            else:
                answer = back_to(request, request.url.path, "told_saved")
        answer.background = BackgroundTask(self._room.sheets.changed)
        return answer

    def undo(self, request: Request, fields: Mapping[str, Sequence[str]]) -> Response:  # noqa: ARG002 (a form's handler)
        """Take back the last change made since the desk was started, and show where."""
        if not self._room.session.done:
            return RedirectResponse("/", 303)
        change = self._room.session.done.pop()
        if change.field == pairing.FIELD:
            undone = pairing.take_back(self._room.folder, change)
        else:
            undone = words.save(self._room.folder, change.reference, change.field, change.after, change.before).done
        answer = back_to(
            request,
            f"/original/{name_of(change.reference)}",
            "told_undone" if undone else "told_not_undone",
            name=texts_of(request)[change.field],
        )
        answer.background = BackgroundTask(self._room.sheets.changed)
        return answer

    def alike(self, request: Request, fields: Mapping[str, Sequence[str]]) -> Response:  # noqa: ARG002
        """Fill the empty fields with what the original last written on has in common with its neighbours."""
        reference = self._room.reference(request)
        last = self._room.session.last
        filled = self._pass_on(last, [reference], words.ALIKE)[0] if last and last != reference else 0
        answer = back_to(request, request.url.path.removesuffix("/alike"), "told_alike", count=str(filled))
        answer.background = BackgroundTask(self._room.sheets.changed)
        return answer

    def pass_on(self, request: Request, fields: Mapping[str, Sequence[str]]) -> Response:
        """Copy some fields of this original to a set, where they are empty; nothing written there is changed."""
        reference = self._room.reference(request)
        wanted = [field for field in fields.get("field", ()) if field in words.SAVED]
        name = one(fields, "set")
        targets = members(self._room, View(chosen=name)) or ()
        with open_catalogue(self._room.folder) as catalogue:
            present = [each for each in targets if each != reference and catalogue.original(each) is not None]
        filled, left = self._pass_on(reference, present, wanted)
        path = request.url.path.removesuffix("/pass-on")
        answer = back_to(request, path, "told_passed_on", count=str(filled), left=str(left), name=name)
        answer.background = BackgroundTask(self._room.sheets.changed)
        return answer

    def date(self, request: Request) -> Response:
        """What a date, as somebody writes it, is understood as."""
        return JSONResponse({"said": self._said(request, request.query_params.get("text", "")[:200])})

    def known(self, request: Request) -> Response:
        """Names or places already used that go on from what is written, the most frequent first."""
        what = request.query_params.get("field", "")
        if what not in {"people", "place"}:
            raise HTTPException(404)
        beginning = request.query_params.get("text", "").strip()[:100]
        return JSONResponse({"words": self._room.index.used(what, beginning, MOST_OFFERED)})

    # parts

    def _save(self, reference: str, field: str, before: str, text: str) -> words.Saved:
        saved = words.save(self._room.folder, reference, field, before, text)
        if saved.done and saved.value != saved.before:
            self._room.session.note(Done(reference, field, saved.before, saved.value))
        return saved

    def _pass_on(self, source: str, targets: Sequence[str], fields: Sequence[str]) -> tuple[int, int]:
        """(fields filled, fields left since they hold words of their own)."""
        filled = left = 0
        with open_catalogue(self._room.folder) as catalogue:
            given = {field: text for field, text in words.shown(catalogue, source).items() if field in fields and text}
        for target in targets:
            with open_catalogue(self._room.folder) as catalogue:
                there = words.shown(catalogue, target)
            for field, text in given.items():
                if not there[field]:
                    filled += self._save(target, field, "", text).done
                elif there[field] != text:
                    left += 1
        return filled, left

    def _told(self, request: Request, saved: words.Saved) -> dict[str, Any]:
        texts = texts_of(request)
        field = texts[saved.field]
        if saved.done:
            told = texts["saved_field"].format(field=field)
        else:
            told = texts["conflict"].format(field=field, other=saved.value or texts["emptied"])
        said = self._said(request, saved.value) if saved.field == "date" else ""
        return {"field": saved.field, "value": saved.value, "done": saved.done, "told": told, "said": said}

    def _said(self, request: Request, text: str) -> str:
        if not text.strip():
            return ""
        texts = texts_of(request)
        said = words.date_said(text)
        understood = texts["understood"].format(words=said.words, edtf=said.edtf) if said.edtf else ""
        return f"{understood} {said.question}".strip() or texts["as_written"]

    def _page(self, request: Request, clashes: Mapping[str, str], typed: Mapping[str, str], status: int) -> Response:
        reference = self._room.reference(request)
        with open_catalogue(self._room.folder) as catalogue:
            kept = words.shown(catalogue, reference)
            row = catalogue.original(reference)
            copies = [each.copy for each in catalogue.copies(reference)]
            changes = words.history(catalogue, reference)
            masters = catalogue.masters(reference)
            conditions = catalogue.conditions(reference)
            notes = catalogue.notes(reference)
            people = people_on(catalogue, reference)
            decided = decisions.history(catalogue, reference)
            pair = pairing.standing(self._room.folder, catalogue, reference)
            sides = [] if row is None else _sides(self._room.folder, catalogue, row, masters)
        view = view_of(request.query_params)
        before, after = self._room.index.beside(view.query(members(self._room, view)), reference)
        whole = [copy for copy in copies if copy.part is None]
        return self._room.page(
            request,
            "original.html",
            status=status,
            reference=reference,
            name=name_of(reference),
            kind=row.kind.value if row else "",
            kept=kept,
            values={**kept, **{field: typed[field] for field in clashes}},
            clashes=clashes,
            told=told_in(request),
            said=self._said(request, kept["date"]),
            sides=sides,
            decided=decided,
            pair=pair,
            guessed=before.reference if before else "",
            parts=sorted({copy.part for copy in copies if copy.part is not None}),
            reading=_copy(whole, Side.VERSO, Use.READING),
            choices=words.CHOICES,
            alike=self._alike(reference, kept),
            people=people,
            conditions=conditions,
            inspections=decisions.inspections_of(self._room.folder, reference),
            changes=changes,
            notes=notes,
            previous=_address(before, view),
            following=_address(after, view),
            within=view.address(),
            sets=sets.names(self._room.folder),
            fields=words.FIELDS,
            location=words.LOCATION,
        )

    def _alike(self, reference: str, kept: Mapping[str, str]) -> dict[str, str]:
        """What the last original has in the fields that are often alike; {} where there is nothing to take over."""
        last = self._room.session.last
        if not last or last == reference:
            return {}
        with open_catalogue(self._room.folder) as catalogue:
            there = words.shown(catalogue, last)
        return {field: there[field] for field in words.ALIKE if there[field] and not kept[field]}


@dataclass(frozen=True)
class _Part:
    """One picture on a page: its copy, the address of its picture, and of its preview ("" where there is none)."""

    copy: Copy
    source: str
    preview: str


@dataclass(frozen=True)
class _Shown:
    """One side on the page: its copy, and the address of its picture. ``ahead`` says that something was decided since
    the copy was made, and that the picture is what the next run will make of it. ``version`` changes with decisions.
    """

    side: str
    copy: Copy | None
    source: str
    ahead: bool
    version: str
    parts: tuple[_Part, ...]


def _sides(folder: Path, catalogue: Catalogue, row: OriginalRow, masters: Sequence[Master]) -> list[_Shown]:
    name = name_of(row.reference)
    copies = [each for each in catalogue.copies(row.reference) if each.copy.part is None]
    said = settings.read(folder)
    given = profiles.read(folder, said)
    found = []
    for master in masters:
        side = master.side
        made = next((each for each in copies if (each.copy.side, each.copy.use) == (side, Use.VIEWING)), None)
        decided = wording.digest(wording.decisions_again(catalogue, said, given, row, master))
        ahead = made is not None and made.made_as not in {"", decided}
        source = f"/preview/{name}/{side}?v={decided}" if ahead else f"/picture/{name}/{side}/viewing"
        parts = _parts(catalogue, row.reference, side, decided if ahead else "")
        found.append(_Shown(side.value, made.copy if made else None, source, ahead, decided, parts))
    return found


def _parts(catalogue: Catalogue, reference: str, side: Side, ahead: str) -> tuple[_Part, ...]:
    """The pictures on a page; ``ahead`` are the decisions made since their copies, "" for none."""
    name = name_of(reference)
    drawn = {row.part for row in catalogue.outlines(reference, side) if row.corners is not None}
    found = []
    for copy in sorted((row.copy for row in catalogue.copies(reference)), key=lambda copy: copy.part or 0):
        if copy.part is not None and (copy.side, copy.use) == (side, Use.VIEWING):
            preview = f"/preview/{name}/{side}?part={copy.part}" if copy.part in drawn else ""
            made = f"/picture/{name}/{side}/viewing?part={copy.part}"
            found.append(_Part(copy, f"{preview}&v={ahead}" if ahead and preview else made, preview))
    return tuple(found)


def _address(card: Card | None, view: View) -> str | None:
    return None if card is None else "?".join(filter(None, [f"/original/{card.name}", view.address()]))


def _copy(copies: list[Copy], side: Side, use: Use) -> Copy | None:
    return next((copy for copy in copies if (copy.side, copy.use) == (side, use)), None)

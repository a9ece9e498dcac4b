"""Pages that show many originals: cards, sets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from starlette.requests import Request
from starlette.responses import Response

from surrogate.collection import sets
from surrogate.collection.catalogue import open_catalogue
from surrogate.collection.search_records import Card
from surrogate.desk.guard import Refused
from surrogate.desk.room import Room, back_to, one, told_in
from surrogate.desk.shelf import CARDS_ON_A_PAGE, View, view_of
from surrogate.errors import WrongUse
from surrogate.records import Kind

#: How long a page waits for the index to follow the catalogue, in seconds; what comes later shows at the next look.
PATIENCE_S = 0.2

_LARGEST_PAGE = 10**6


class Lists:
    """The routes that show many originals."""

    def __init__(self, room: Room) -> None:
        self._room = room

    def page(self, request: Request) -> Response:
        """Originals as cards, searched, filtered and paged."""
        view = view_of(request.query_params)
        cards, count, page = self._found(request, view)
        state = self._room.index.state()
        return self._room.page(
            request,
            "list.html",
            view=view,
            cards=cards,
            count=count,
            page=page,
            pages=max(1, -(-count // CARDS_ON_A_PAGE)),
            on_a_page=CARDS_ON_A_PAGE,
            within=view.address(),
            state=state,
            kinds=[kind.value for kind in Kind if kind is not Kind.TARGET],
            sets=sets.names(self._room.folder),
            told=told_in(request),
        )

    def cards(self, request: Request) -> Response:
        """The cards of one page alone, for the list that grows as one scrolls."""
        view = view_of(request.query_params)
        cards, _, _ = self._found(request, view, wait=False)
        return self._room.page(request, "cards.html", cards=cards, within=view.address())

    def put_into_set(self, request: Request, fields: Mapping[str, Sequence[str]]) -> Response:
        """Put the ticked originals, or all that the list shows, into a set; or take the ticked ones out."""
        name = one(fields, "name").strip()
        if not sets.is_name(name):
            raise Refused(400, "set_name_wrong")
        view = view_of(request.query_params)
        folder = self._room.folder
        present = sets.read(folder, name) if name in sets.names(folder) else []
        with open_catalogue(folder) as catalogue:
            ticked = [catalogue.reference_named(each) for each in fields.get("card", ())]
        chosen = [reference for reference in ticked if reference is not None]
        if one(fields, "act") == "all":
            cards, _ = self._room.index.find(view.query(self._among(view)), 0, _LARGEST_PAGE)
            chosen = [card.reference for card in cards]
        if one(fields, "act") == "out":
            kept = [reference for reference in present if reference not in set(chosen)]
            sets.write(folder, name, kept)
            return back_to(request, "/", "told_taken_out", count=str(len(present) - len(kept)), name=name)
        sets.write(folder, name, [*present, *chosen])
        return back_to(request, "/", "told_put_in", count=str(len(chosen)), name=name)

    def _found(self, request: Request, view: View, *, wait: bool = True) -> tuple[list[Card], int, int]:
        page = _number(request.query_params.get("page", ""))
        if wait:
            self._room.index.wait(PATIENCE_S, page * CARDS_ON_A_PAGE)
        query = view.query(self._among(view))
        cards, count = self._room.index.find(query, (page - 1) * CARDS_ON_A_PAGE, CARDS_ON_A_PAGE)
        if not cards and count:
            page = -(-count // CARDS_ON_A_PAGE)
            cards, count = self._room.index.find(query, (page - 1) * CARDS_ON_A_PAGE, CARDS_ON_A_PAGE)
        return cards, count, page

    def _among(self, view: View) -> tuple[str, ...] | None:
        return members(self._room, view)


def members(room: Room, view: View) -> tuple[str, ...] | None:
    """The originals of the set that a view is about; None where it is about none."""
    if not view.chosen:
        return None
    try:
        return tuple(sets.read(room.folder, view.chosen))
    except WrongUse:
        return ()


def _number(text: str) -> int:
    return max(1, min(int(text), _LARGEST_PAGE)) if text.isascii() and text.isdigit() and len(text) < 9 else 1

"""The sheet of questions for the family."""

from __future__ import annotations

from dataclasses import replace

from starlette.requests import Request
from starlette.responses import Response

from surrogate.collection.catalogue import open_catalogue
from surrogate.collection.search_records import Card
from surrogate.desk import words
from surrogate.desk.lists import PATIENCE_S, members
from surrogate.desk.people import people_on
from surrogate.desk.room import Room
from surrogate.desk.shelf import view_of

#: Originals on one sheet of questions: more are not asked at one sitting.
MOST_QUESTIONS = 200


class Questions:
    """The route of the sheet."""

    def __init__(self, room: Room) -> None:
        self._room = room

    def page(self, request: Request) -> Response:
        """Originals with somebody unknown, as a sheet to print and take to those who may know."""
        view = replace(view_of(request.query_params), unknown=True)
        self._room.index.wait(PATIENCE_S)
        cards, count = self._room.index.find(view.query(members(self._room, view)), 0, MOST_QUESTIONS)
        return self._room.page(
            request,
            "questions.html",
            asked=[self._question(card) for card in cards],
            count=count,
            within=view.address(),
        )

    def _question(self, card: Card) -> dict[str, object]:
        with open_catalogue(self._room.folder) as catalogue:
            shown = words.shown(catalogue, card.reference)
            people = people_on(catalogue, card.reference)
        unknown = [person for person in people if person.name == "?"]
        return {
            "card": card,
            "people": unknown,
            "known": [person.name for person in people if person.name != "?"],
            "date": shown["date"],
            "place": shown["place"],
        }

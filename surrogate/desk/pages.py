"""The desk's addresses, and what is answered when something is wrong."""

from __future__ import annotations

from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from typing import ParamSpec

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from surrogate.desk.guard import Guard, Keys, Limits, Refused
from surrogate.desk.late import Late
from surrogate.desk.lists import Lists
from surrogate.desk.room import Room, texts_of
from surrogate.errors import SurrogateError

_P = ParamSpec("_P")

_STATIC = {
    "desk.css": "text/css",
    **dict.fromkeys(("list.js", "original.js", "faces.js", "closer.js", "outline.js"), "text/javascript"),
}


def create_app(folder: Path, key: str, limits: Limits | None = None) -> Starlette:
    """The desk of one collection; ``key`` opens it once."""
    room = Room(folder.resolve(), Keys(key))
    lists, late = Lists(room), Late(room)
    wrong = _Wrong(room)
    one = "/original/{name}"
    app = Starlette(
        routes=[
            Route("/", lists.page),
            Route("/cards", lists.cards),
            Route("/questions", _late(lambda: late.questions.page)),
            Route("/sets", room.taking(lists.put_into_set), methods=["POST"]),
            Route("/date", _late(lambda: late.originals.date)),
            Route("/known", _late(lambda: late.originals.known)),
            Route("/undo", room.taking(_late(lambda: late.originals.undo)), methods=["POST"]),
            Route(one, _late(lambda: late.originals.page)),
            Route(one, room.taking(_late(lambda: late.originals.save)), methods=["POST"]),
            Route(f"{one}/alike", room.taking(_late(lambda: late.originals.alike)), methods=["POST"]),
            Route(f"{one}/pass-on", room.taking(_late(lambda: late.originals.pass_on)), methods=["POST"]),
            Route(f"{one}/closer", _late(lambda: late.pictures.closer)),
            Route(f"{one}/turn", room.taking(_late(lambda: late.decisions.turn)), methods=["POST"]),
            Route(f"{one}/pair", room.taking(_late(lambda: late.pairing.decide)), methods=["POST"]),
            Route(f"{one}/inspection", room.taking(_late(lambda: late.decisions.inspection)), methods=["POST"]),
            Route(f"{one}/outline/{{side}}", _late(lambda: late.decisions.outline_page)),
            Route(f"{one}/outline/{{side}}", room.taking(_late(lambda: late.decisions.save_outline)), methods=["POST"]),
            Route("/picture/{name}/{side}/{use}", _late(lambda: late.pictures.copy)),
            Route("/found/{name}/{side}", _late(lambda: late.pictures.as_found)),
            Route("/scan/{name}/{side}", _late(lambda: late.pictures.scan)),
            Route("/marks/{name}/{side}", _late(lambda: late.pictures.marks)),
            Route("/preview/{name}/{side}", _late(lambda: late.pictures.preview)),
            Route("/tile/{name}/{side}/{level:int}/{column:int}/{row:int}", _late(lambda: late.pictures.tile)),
            Route("/favicon.ico", _no_icon),
            Route("/{file}", _static),
        ],
        middleware=[Middleware(Guard, keys=room.keys, limits=limits or Limits())],
        exception_handlers={
            Refused: wrong.refused,
            HTTPException: wrong.nothing,
            SurrogateError: wrong.trouble,
        },
    )
    app.router.redirect_slashes = False  # an address is right or there is nothing at it
    app.state.room = room
    app.state.late = late
    return app


def _late(find: Callable[[], Callable[_P, Response]]) -> Callable[_P, Response]:
    """A handler that is looked for when it is first needed."""

    def handle(*args: _P.args, **kwargs: _P.kwargs) -> Response:
        return find()(*args, **kwargs)

    return handle


def _static(request: Request) -> Response:
    """The style sheet and the pages' own scripts."""
    name = request.path_params["file"]
    if name not in _STATIC:
        raise HTTPException(404)
    return Response((files("surrogate.desk") / "static" / name).read_bytes(), media_type=_STATIC[name])


def _no_icon(request: Request) -> Response:  # noqa: ARG001 (a route's signature)
    """Browsers ask for an icon unasked; there is none."""
    return Response(status_code=204)


class _Wrong:
    """Answers to what goes wrong, as pages in the person's language."""

    def __init__(self, room: Room) -> None:
        self._room = room

    def refused(self, request: Request, error: Exception) -> Response:
        """A form that is not taken."""
        status, text = (error.status, error.text) if isinstance(error, Refused) else (400, "refused_form")
        return self._room.message(request, status, texts_of(request)[text])

    def nothing(self, request: Request, error: Exception) -> Response:
        """An address with nothing behind it, or a method that it does not take."""
        status = error.status_code if isinstance(error, HTTPException) else 404
        return self._room.message(request, status, texts_of(request)["missing"])

    def trouble(self, request: Request, error: Exception) -> Response:
        """The collection is in use, read-only or full, or a master cannot be read: the error's own sentence."""
        return self._room.message(request, 503, f"{texts_of(request)['trouble']}. {error}")

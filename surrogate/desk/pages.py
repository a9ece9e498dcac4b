"""The desk's addresses, and what is answered when something is wrong."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from surrogate.desk.decisions import Decisions
from surrogate.desk.guard import Guard, Keys, Limits, Refused
from surrogate.desk.lists import Lists
from surrogate.desk.originals import Originals
from surrogate.desk.pictures import Pictures
from surrogate.desk.room import Room, texts_of
from surrogate.errors import ScanSetAside, SurrogateError

_STATIC = {
    "desk.css": "text/css",
    **dict.fromkeys(("list.js", "original.js", "faces.js", "closer.js", "outline.js"), "text/javascript"),
}


def create_app(folder: Path, key: str, limits: Limits | None = None) -> Starlette:
    """The desk of one collection; ``key`` opens it once."""
    room = Room(folder.resolve(), Keys(key))
    lists, originals, pictures, decisions = Lists(room), Originals(room), Pictures(room), Decisions(room)
    wrong = _Wrong(room)
    one = "/original/{name}"
    app = Starlette(
        routes=[
            Route("/", lists.page),
            Route("/cards", lists.cards),
            Route("/questions", lists.questions),
            Route("/sets", room.taking(lists.put_into_set), methods=["POST"]),
            Route("/date", originals.date),
            Route("/known", originals.known),
            Route("/undo", room.taking(originals.undo), methods=["POST"]),
            Route(one, originals.page),
            Route(one, room.taking(originals.save), methods=["POST"]),
            Route(f"{one}/alike", room.taking(originals.alike), methods=["POST"]),
            Route(f"{one}/pass-on", room.taking(originals.pass_on), methods=["POST"]),
            Route(f"{one}/closer", pictures.closer),
            Route(f"{one}/turn", room.taking(decisions.turn), methods=["POST"]),
            Route(f"{one}/inspection", room.taking(decisions.inspection), methods=["POST"]),
            Route(f"{one}/outline/{{side}}", decisions.outline_page),
            Route(f"{one}/outline/{{side}}", room.taking(decisions.save_outline), methods=["POST"]),
            Route("/picture/{name}/{side}/{use}", pictures.copy),
            Route("/found/{name}/{side}", pictures.as_found),
            Route("/scan/{name}/{side}", pictures.scan),
            Route("/marks/{name}/{side}", pictures.marks),
            Route("/preview/{name}/{side}", pictures.preview),
            Route("/tile/{name}/{side}/{level:int}/{column:int}/{row:int}", pictures.tile),
            Route("/favicon.ico", _no_icon),
            Route("/{file}", _static),
        ],
        middleware=[Middleware(Guard, keys=room.keys, limits=limits or Limits())],
        exception_handlers={
            Refused: wrong.refused,
            HTTPException: wrong.nothing,
            SurrogateError: wrong.trouble,
            ScanSetAside: wrong.unreadable,
        },
    )
    app.router.redirect_slashes = False  # an address is right or there is nothing at it
    app.state.room = room
    app.state.pictures = pictures
    return app


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
        """The collection is in use, read-only or full: the error's own sentence."""
        return self._room.message(request, 503, f"{texts_of(request)['trouble']}. {error}")

    def unreadable(self, request: Request, error: Exception) -> Response:
        """A master that cannot be read."""
        return self._room.message(request, 503, f"{texts_of(request)['trouble']}. {error}")

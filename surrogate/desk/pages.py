"""The desk's pages and what they answer."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from surrogate.collection.catalogue import open_catalogue
from surrogate.desk import words
from surrogate.desk.guard import Guard, Keys, Refused, form
from surrogate.desk.shelf import CARDS_ON_A_PAGE, Card, Shelf, View
from surrogate.desk.texts import LANGUAGES, language_for
from surrogate.errors import SurrogateError
from surrogate.records import Copy, Side, Use

#: Pictures that every browser shows; a print copy (TIFF) is not for the desk.
_MEDIA = {".jpg": "image/jpeg", ".png": "image/png"}

_LANGUAGE_COOKIE = "desk-language"


def create_app(folder: Path, key: str) -> Starlette:
    """The desk of one collection; ``key`` opens it once."""
    desk = _Desk(folder, Keys(key))
    app = Starlette(
        routes=[
            Route("/", desk.list_page),
            Route("/desk.css", desk.style),
            Route("/desk.js", desk.script),
            Route("/favicon.ico", desk.no_icon),
            Route("/date", desk.date),
            Route("/original/{name}", desk.original_page),
            Route("/original/{name}", desk.save, methods=["POST"]),
            Route("/picture/{name}/{side}/{use}", desk.picture),
        ],
        middleware=[Middleware(Guard, keys=desk.keys)],
        exception_handlers={Refused: desk.refused, HTTPException: desk.nothing, SurrogateError: desk.trouble},
    )
    app.router.redirect_slashes = False  # an address is right or there is nothing at it
    return app


class _Desk:
    """What the routes share: the collection, its keys, its shelf, the templates."""

    def __init__(self, folder: Path, keys: Keys) -> None:
        self.keys = keys
        self._folder = folder.resolve()
        self._shelf = Shelf(folder)
        self._templates = Environment(
            loader=PackageLoader("surrogate.desk"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            auto_reload=False,
        )
        room = files("surrogate.desk")
        self._css = (room / "desk.css").read_text("utf-8")
        self._js = (room / "desk.js").read_text("utf-8")

    # pages

    def list_page(self, request: Request) -> Response:
        """Originals as cards, searched, filtered and paged."""
        view = _view(request.query_params)
        found = self._shelf.contents().seen_in(view)
        pages = max(1, -(-len(found) // CARDS_ON_A_PAGE))
        page = min(_number(request.query_params.get("page", "")), pages)
        start = (page - 1) * CARDS_ON_A_PAGE
        return self._page(
            request,
            "list.html",
            view=view,
            cards=found[start : start + CARDS_ON_A_PAGE],
            count=len(found),
            page=page,
            pages=pages,
            within=_within(view),
        )

    def original_page(self, request: Request) -> Response:
        """One original: its pictures, its fields."""
        return self._original(request, {}, {}, 200)

    async def save(self, request: Request) -> Response:
        """Save the fields that a form holds; for the page's own script, answer what became of one of them."""
        fields = await form(request, self.keys)
        return await run_in_threadpool(self._save, request, fields)

    def date(self, request: Request) -> Response:
        """What a date, as somebody writes it, is understood as."""
        return JSONResponse({"said": self._said(request, request.query_params.get("text", "")[:200])})

    def picture(self, request: Request) -> Response:
        """A copy, found in the catalogue by number, side and use; nothing from the address is taken for a path."""
        asked = request.path_params
        with open_catalogue(self._folder) as catalogue:
            reference = catalogue.reference_named(asked["name"])
            copies = [row.copy for row in catalogue.copies(reference)] if reference else []
        found = [c for c in copies if (c.side.value, c.use.value) == (asked["side"], asked["use"]) and c.part is None]
        file = (self._folder / found[0].file).resolve() if found else self._folder
        media = _MEDIA.get(file.suffix)
        if media is None or not file.is_relative_to(self._folder / "copies") or not file.is_file():
            raise HTTPException(404)
        return FileResponse(file, media_type=media, headers={"cache-control": "private, max-age=60"})

    def style(self, request: Request) -> Response:  # noqa: ARG002 (a route's signature)
        """The style sheet."""
        return Response(self._css, media_type="text/css")

    def script(self, request: Request) -> Response:  # noqa: ARG002 (a route's signature)
        """The page's own script."""
        return Response(self._js, media_type="text/javascript")

    def no_icon(self, request: Request) -> Response:  # noqa: ARG002 (a route's signature)
        """Browsers ask for an icon unasked; there is none."""
        return Response(status_code=204)

    # what goes wrong

    def refused(self, request: Request, error: Exception) -> Response:
        """A form that is not taken."""
        status, text = (error.status, error.text) if isinstance(error, Refused) else (400, "refused_form")
        return self._message(request, status, LANGUAGES[_language(request)][text])

    def nothing(self, request: Request, error: Exception) -> Response:
        """An address with nothing behind it, or a method that it does not take."""
        status = error.status_code if isinstance(error, HTTPException) else 404
        return self._message(request, status, LANGUAGES[_language(request)]["missing"])

    def trouble(self, request: Request, error: Exception) -> Response:
        """The collection is in use, read-only or full: the error's own sentence."""
        return self._message(request, 503, f"{LANGUAGES[_language(request)]['trouble']}. {error}")

    # parts

    def _message(self, request: Request, status: int, message: str) -> Response:
        return self._page(request, "message.html", status=status, message=message)

    def _save(self, request: Request, fields: Mapping[str, str]) -> Response:
        reference = self._reference(request)
        given = {field: fields[field] for field in (*words.FIELDS, words.APPROVED) if field in fields}
        if any(len(text) > words.LONGEST for text in given.values()):
            raise Refused(413, "too_large")
        saved = [
            words.save(self._folder, reference, field, fields.get(f"before_{field}", ""), text)
            for field, text in given.items()
        ]
        refresh = BackgroundTask(words.refresh_sheet, self._folder)
        if request.headers.get("x-desk") == "field":
            answer: Response = JSONResponse([self._told(request, each) for each in saved])
        else:
            clashes = {each.field: each.value for each in saved if not each.done}
            if clashes:
                answer = self._original(request, clashes, given, 409)
            else:
                target = "&".join(filter(None, [_within(_view(request.query_params)), "saved=1"]))
                answer = RedirectResponse(f"/original/{request.path_params['name']}?{target}", 303)
        answer.background = refresh
        return answer

    def _told(self, request: Request, saved: words.Saved) -> dict[str, Any]:
        texts = LANGUAGES[_language(request)]
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
        texts = LANGUAGES[_language(request)]
        said = words.date_said(text)
        understood = texts["understood"].format(words=said.words, edtf=said.edtf) if said.edtf else ""
        return f"{understood} {said.question}".strip() or texts["as_written"]

    def _reference(self, request: Request) -> str:
        with open_catalogue(self._folder) as catalogue:
            reference = catalogue.reference_named(request.path_params["name"])
            if reference is None or catalogue.original(reference) is None:
                raise HTTPException(404)
            return reference

    def _original(
        self, request: Request, clashes: Mapping[str, str], typed: Mapping[str, str], status: int
    ) -> Response:
        reference = self._reference(request)
        with open_catalogue(self._folder) as catalogue:
            kept = words.shown(catalogue, reference)
            copies = [row.copy for row in catalogue.copies(reference) if row.copy.part is None]
            changes = words.history(catalogue, reference)
            sides = [master.side for master in catalogue.masters(reference)]
        view = _view(request.query_params)
        contents = self._shelf.contents()
        before, after = contents.beside(view, reference)
        return self._page(
            request,
            "original.html",
            status=status,
            reference=reference,
            name=request.path_params["name"],
            kept=kept,
            values={**kept, **{field: typed[field] for field in clashes}},
            clashes=clashes,
            saved="saved" in request.query_params,
            said=self._said(request, kept["date"]),
            sides=[(side.value, _copy(copies, side, Use.VIEWING)) for side in sides],
            reading=_copy(copies, Side.VERSO, Use.READING),
            changes=changes,
            previous=_address(before, view),
            following=_address(after, view),
            within=_within(view),
            people=contents.people,
            places=contents.places,
        )

    def _page(self, request: Request, template: str, *, status: int = 200, **values: object) -> Response:
        language = _language(request)
        page = self._templates.get_template(template).render(
            texts=LANGUAGES[language],
            language=language,
            languages=LANGUAGES,
            token=self.keys.token,
            fields=words.FIELDS,
            **values,
        )
        answer = HTMLResponse(page, status)
        if request.query_params.get("lang") in LANGUAGES:
            answer.set_cookie(_LANGUAGE_COOKIE, language, httponly=True, samesite="strict", path="/")
        return answer


def _language(request: Request) -> str:
    chosen = request.query_params.get("lang") or request.cookies.get(_LANGUAGE_COOKIE, "")
    return language_for(chosen, request.headers.get("accept-language", ""))


def _view(asked: Mapping[str, str]) -> View:
    return View(asked.get("q", "").strip()[:200], asked.get("lacks") == "1")


def _within(view: View) -> str:
    """The view as the query of an address."""
    return urlencode({**({"q": view.words} if view.words else {}), **({"lacks": "1"} if view.lacking else {})})


def _address(card: Card | None, view: View) -> str | None:
    return None if card is None else "?".join(filter(None, [f"/original/{card.name}", _within(view)]))


def _number(text: str) -> int:
    return max(1, int(text)) if text.isascii() and text.isdigit() and len(text) < 9 else 1


def _copy(copies: list[Copy], side: Side, use: Use) -> Copy | None:
    return next((copy for copy in copies if (copy.side, copy.use) == (side, use)), None)

"""What the desk's pages share: the collection, its keys and index, the session, templates and language."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from surrogate.collection.catalogue import Catalogue, open_catalogue
from surrogate.collection.search_index import SearchIndex
from surrogate.desk.guard import Keys, Refused, form
from surrogate.desk.shelf import entry_from
from surrogate.desk.texts import LANGUAGES, language_for
from surrogate.records import Master, Side

if TYPE_CHECKING:
    from surrogate.desk.sheets import SheetKeeper

_LANGUAGE_COOKIE = "desk-language"


@dataclass(frozen=True)
class Done:
    """One change made since the desk was started, so that it can be taken back."""

    reference: str
    field: str
    before: str
    after: str


@dataclass
class Session:
    """What was done since the desk was started: changes, newest last, and the original last written on."""

    done: list[Done] = field(default_factory=list)
    last: str = ""

    def note(self, change: Done) -> None:
        """Remember a change."""
        self.done.append(change)
        self.last = change.reference


@dataclass
class Room:
    """The state of one desk."""

    folder: Path
    keys: Keys
    session: Session = field(default_factory=Session)

    @cached_property
    def index(self) -> SearchIndex:
        """The index that finds originals."""
        return SearchIndex(self.folder, entry_from)

    @cached_property
    def sheets(self) -> SheetKeeper:
        """Writes the caption sheet after changes."""
        from surrogate.desk.sheets import SheetKeeper  # loads what writes every list, which the first cards do not need

        return SheetKeeper(self.folder)

    @cached_property
    def templates(self) -> Environment:
        """The pages' templates."""
        return Environment(
            loader=PackageLoader("surrogate.desk"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
            auto_reload=False,
        )

    def page(self, request: Request, template: str, *, status: int = 200, **values: object) -> Response:
        """A page in the person's language."""
        language = language_of(request)
        html = self.templates.get_template(template).render(
            texts=LANGUAGES[language],
            language=language,
            languages=LANGUAGES,
            token=self.keys.token,
            undo=len(self.session.done),
            path=request.url.path,
            **values,
        )
        answer = HTMLResponse(html, status)
        if request.query_params.get("lang") in LANGUAGES:
            answer.set_cookie(_LANGUAGE_COOKIE, language, httponly=True, samesite="strict", path="/")
        return answer

    def message(self, request: Request, status: int, text: str) -> Response:
        """A page with one sentence."""
        return self.page(request, "message.html", status=status, message=text)

    def reference(self, request: Request) -> str:
        """The original that the address names. Raises HTTPException 404 where there is none."""
        with open_catalogue(self.folder) as catalogue:
            reference = catalogue.reference_named(request.path_params["name"])
            standing = None if reference is None else catalogue.standing_for(reference)
            if standing is None or catalogue.original(standing) is None:
                raise HTTPException(404)
            return standing

    def taking(self, act: Callable[[Request, Mapping[str, Sequence[str]]], Response]) -> Callable[[Request], object]:
        """A route's handler for a form: checked here, acted upon in a thread."""

        async def take(request: Request) -> Response:
            fields = await form(request, self.keys)
            return await run_in_threadpool(act, request, fields)

        return take


def one(fields: Mapping[str, Sequence[str]], name: str) -> str:
    """The last value of a form's field; "" without one."""
    return fields[name][-1] if name in fields else ""


def language_of(request: Request) -> str:
    """The language of the answer."""
    chosen = request.query_params.get("lang") or request.cookies.get(_LANGUAGE_COOKIE, "")
    return language_for(chosen, request.headers.get("accept-language", ""))


def texts_of(request: Request) -> Mapping[str, str]:
    """The texts in the language of the answer."""
    return LANGUAGES[language_of(request)]


def master_of(catalogue: Catalogue, reference: str, side: Side) -> Master:
    """The master of one side. Raises HTTPException 404 where it was not scanned."""
    found = catalogue.master(reference, side)
    if found is None:
        raise HTTPException(404)
    return found


def side_of(request: Request) -> Side:
    """The side that the address names. Raises HTTPException 404 for another word."""
    try:
        return Side(request.path_params["side"])
    except ValueError as error:
        raise HTTPException(404) from error


def back_to(request: Request, path: str, told: str, **values: str) -> Response:
    """Send a browser on to a page, which then says what was done: ``told`` is the key of a text, ``values`` what stands
    in it. The view that the person looks through goes along.
    """
    kept = {name: value for name, value in request.query_params.items() if name not in {*TOLD, "told", "lang"}}
    return RedirectResponse(f"{path}?{urlencode({**kept, 'told': told, **values})}", 303)


#: What may stand in a sentence that says what was done.
TOLD = ("count", "left", "name")


def told_in(request: Request) -> str:
    """The sentence that an address brings along from :func:`back_to`; "" for none and for anything else."""
    key = request.query_params.get("told", "")
    if not key.startswith("told_") or key not in LANGUAGES["en"]:
        return ""
    values = {name: request.query_params.get(name, "")[:80] for name in TOLD}
    return texts_of(request)[key].format(**values)


__all__ = ["Done", "Refused", "Room", "Session", "back_to", "language_of", "one", "side_of", "texts_of", "told_in"]

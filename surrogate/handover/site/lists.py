"""Ways to go through a site: everything, and by person, place, decade and kind."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from typing import TextIO

from surrogate.handover.site.overview import KINDS, WAYS, Card, Overview, Way
from surrogate.handover.site.planned import Planned, digest_of, render

#: Items on one page of a list.
ON_PAGE = 60


@dataclass(frozen=True)
class Site:
    """What every page knows about the site."""

    name: str
    credit: str
    rights: str
    lists: tuple[tuple[str, str], ...]

    def context(self) -> dict[str, object]:
        """For the templates."""
        links = [{"label": label, "path": path} for label, path in self.lists]
        return {"name": self.name, "credit": self.credit, "rights": self.rights, "lists": links}

    @cached_property
    def digest(self) -> str:
        """Stands for the site among the inputs of a page."""
        return digest_of(self.name, self.credit, self.rights, self.lists)


def slug(text: str) -> str:
    """A file name for a term: its letters as far as they are plain, and six digits that tell terms apart.

    >>> slug("Émile Groß")
    'emile-gro-2a2925'
    """
    plain = unicodedata.normalize("NFKD", text.lower()).encode("ascii", "ignore").decode()
    plain = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:40].strip("-")
    digest = hashlib.sha256(text.encode()).hexdigest()[:6]
    return f"{plain}-{digest}" if plain else digest


def _pager(file: Callable[[int], str], count: int, here: int) -> list[dict[str, object]]:
    numbers = sorted({1, count, *range(max(1, here - 3), min(count, here + 3) + 1)})
    shown: list[dict[str, object]] = []
    previous = 0
    for number in numbers:
        if number > previous + 1:
            shown.append({"gap": True})
        shown.append({"gap": False, "number": number, "href": file(number).rpartition("/")[2]})
        previous = number
    return shown


def _render_gallery(
    site: Site, heading: str, cards: Sequence[Card], count: int, pager: object, here: int, stream: TextIO
) -> None:
    context = {"site": site.context(), "up": "../", "heading": heading, "items": cards, "count": count}
    render("gallery.html", stream, context | {"pages": pager, "here": here})


def gallery(site: Site, heading: str, cards: Sequence[Card], file: Callable[[int], str]) -> Iterator[Planned]:
    """The pages of one list; ``file`` gives the path of a page by its number."""
    count = max(1, -(-len(cards) // ON_PAGE))
    for here in range(1, count + 1):
        shown = cards[(here - 1) * ON_PAGE : here * ON_PAGE]
        inputs = repr((site.digest, heading, len(cards), here, shown))
        pager = _pager(file, count, here)
        yield Planned(file(here), inputs, partial(_render_gallery, site, heading, shown, len(cards), pager, here))


def _file(folder: str, name: str, number: int) -> str:
    return f"{folder}/{name}.html" if number == 1 else f"{folder}/{name}-{number}.html"


def term_page(way: Way, term: str) -> str:
    """Path of the first page of a term."""
    return _file(way.folder, slug(term), 1)


def _render_terms(site: Site, heading: str, entries: object, stream: TextIO) -> None:
    render("terms.html", stream, {"site": site.context(), "up": "../", "heading": heading, "terms": entries})


def pages(site: Site, overview: Overview) -> Iterator[Planned]:
    """All lists of a site."""
    yield from gallery(site, "Everything", overview.cards, "gallery/{}.html".format)
    for way in WAYS:
        terms = overview.by_term(way)
        if not terms:
            continue
        entries = [
            {"label": term, "count": len(found), "href": term_page(way, term).rpartition("/")[2]}
            for term, found in terms.items()
        ]
        write = partial(_render_terms, site, way.heading, entries)
        yield Planned(f"{way.folder}/index.html", repr((site.digest, entries)), write)
        for term, found in terms.items():
            heading = term[:1].upper() + term[1:] if way is KINDS else term
            cards = [overview.cards[number] for number in found]
            yield from gallery(site, heading, cards, partial(_file, way.folder, slug(term)))


def lists_of(overview: Overview, *, with_map: bool) -> tuple[tuple[str, str], ...]:
    """(label, path) of the lists that have something in them."""
    found = [(way.heading, f"{way.folder}/index.html") for way in WAYS if overview.by_term(way)]
    return tuple(found + ([("Map", "map.html")] if with_map else []))

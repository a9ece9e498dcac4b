"""Ways to go through a site: everything, and by person, place, decade and kind."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

from surrogate.handover.site.planned import Planned
from surrogate.handover.site.shown import Item
from surrogate.handover.templating import templates

#: Items on one page of a list.
ON_PAGE = 60


@dataclass(frozen=True)
class Site:
    """What every page knows about the site."""

    name: str
    credit: str
    rights: str
    description: str
    lists: tuple[tuple[str, str], ...]

    def context(self) -> dict[str, object]:
        """For the templates."""
        links = [{"label": label, "path": path} for label, path in self.lists]
        named = {"name": self.name, "credit": self.credit, "rights": self.rights}
        return named | {"description": self.description, "lists": links}


@dataclass(frozen=True)
class Way:
    """One way to go through a site: its folder, its heading, and the terms an item stands under."""

    folder: str
    heading: str
    terms: Callable[[Item], Sequence[str]]


WAYS = (
    Way("people", "People", lambda item: item.people),
    Way("places", "Places", lambda item: (item.place,) if item.place else ()),
    Way("decades", "Decades", lambda item: (item.decade,) if item.decade else ()),
    Way("kinds", "Kinds", lambda item: (item.kind,)),
)


def slug(text: str) -> str:
    """A file name for a term: its letters as far as they are plain, and six digits that tell terms apart.

    >>> slug("Émile Groß")
    'emile-gro-2a2925'
    """
    plain = unicodedata.normalize("NFKD", text.lower()).encode("ascii", "ignore").decode()
    plain = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:40].strip("-")
    digest = hashlib.sha256(text.encode()).hexdigest()[:6]
    return f"{plain}-{digest}" if plain else digest


def card(item: Item) -> dict[str, str]:
    """What a list shows of an item."""
    return {"name": item.name, "heading": item.heading, "when": item.when, "key": item.pictures[0].key}


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


def _render_gallery(site: Site, heading: str, items: Sequence[Item], count: int, pager: object, here: int) -> str:
    return (
        templates()
        .get_template("site/gallery.html")
        .render(
            site=site.context(),
            up="../",
            heading=heading,
            items=[card(item) for item in items],
            count=count,
            pages=pager,
            here=here,
        )
    )


def gallery(site: Site, heading: str, items: Sequence[Item], file: Callable[[int], str]) -> Iterator[Planned]:
    """The pages of one list; ``file`` gives the path of a page by its number."""
    count = max(1, -(-len(items) // ON_PAGE))
    for here in range(1, count + 1):
        shown = items[(here - 1) * ON_PAGE : here * ON_PAGE]
        inputs = repr((site, heading, len(items), here, [tuple(card(item).values()) for item in shown]))
        pager = _pager(file, count, here)
        make = partial(_render_gallery, site, heading, shown, len(items), pager, here)
        yield Planned(file(here), inputs, make)


def by_term(way: Way, items: Sequence[Item]) -> dict[str, list[Item]]:
    """Items by term, terms sorted as people read them."""
    found: dict[str, list[Item]] = defaultdict(list)
    for item in items:
        for term in dict.fromkeys(way.terms(item)):
            found[term].append(item)
    return dict(sorted(found.items(), key=lambda entry: (entry[0].casefold(), entry[0])))


def _file(folder: str, name: str, number: int) -> str:
    return f"{folder}/{name}.html" if number == 1 else f"{folder}/{name}-{number}.html"


def term_page(way: Way, term: str) -> str:
    """Path of the first page of a term."""
    return _file(way.folder, slug(term), 1)


def pages(site: Site, items: Sequence[Item]) -> Iterator[Planned]:
    """All lists of a site."""
    yield from gallery(site, "Everything", items, "gallery/{}.html".format)
    for way in WAYS:
        terms = by_term(way, items)
        if not terms:
            continue
        entries = [
            {"label": term, "count": len(found), "href": term_page(way, term).rpartition("/")[2]}
            for term, found in terms.items()
        ]
        context = {"site": site.context(), "up": "../", "heading": way.heading, "terms": entries}
        render = partial(templates().get_template("site/terms.html").render, context)
        yield Planned(f"{way.folder}/index.html", repr((site, entries)), render)
        for term, found in terms.items():
            heading = term[:1].upper() + term[1:] if way.folder == "kinds" else term
            yield from gallery(site, heading, found, partial(_file, way.folder, slug(term)))


def lists_of(items: Sequence[Item], *, with_map: bool) -> tuple[tuple[str, str], ...]:
    """(label, path) of the lists that have something in them."""
    found = [(way.heading, f"{way.folder}/index.html") for way in WAYS if any(map(way.terms, items))]
    return tuple(found + ([("Map", "map.html")] if with_map else []))

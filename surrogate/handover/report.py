"""``report.html``: every original before and after, its condition in words, and what to do first.

The page is plain HTML without a script. It opens from the disk, asks nobody for anything, and leaves pictures
unloaded until they are scrolled to. Past :data:`PAGE` originals it goes on in ``report/page_2.html`` and so on.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from itertools import islice
from pathlib import Path
from typing import Any
from urllib.parse import quote

from markupsafe import Markup

from surrogate import film
from surrogate.collection import changes, paths
from surrogate.collection.files import replace_if_changed
from surrogate.handover.templating import templates
from surrogate.handover.words import KINDS, compared_words, date_words, fade_words, percent, sentence, stain_words
from surrogate.records import (
    CollectionInfo,
    Condition,
    Copy,
    Kind,
    Master,
    Original,
    SetAside,
    Side,
    Software,
    Triple,
    Use,
)

#: Originals on one page. 2,000 make about 6 MB of HTML, which Chromium shows within a second.
PAGE = 2000

#: Originals listed under "What to do first": a list longer than an afternoon's work is not a list of firsts.
FIRST = 25

_SIDE_NAMES = {Side.RECTO: "Front", Side.VERSO: "Back"}


@cache
def _style() -> Markup:
    # The only text that goes into the page unescaped: our own file.
    return Markup(files("surrogate.handover").joinpath("templates/report.css").read_text("utf-8"))  # noqa: S704


def anchor(reference: str) -> str:
    """An id for one original within its page."""
    return "r-" + quote(reference, safe="").replace("%", "_")


def _triple(values: Triple) -> str:
    return " ".join(f"{value:.2f}" for value in values)


def _figures(condition: Condition | None, master: Master | None, copies: Sequence[Copy]) -> Iterator[tuple[str, str]]:
    if condition is not None:
        fade, stain = condition.fade, condition.stain
        if fade.density_min is not None:
            yield "Lightest density R G B", _triple(fade.density_min)
        if fade.density_max is not None:
            yield "Darkest density R G B", _triple(fade.density_max)
        if fade.density_loss is not None:
            yield "Density lost C M Y", _triple(fade.density_loss)
        if fade.uncertainty is not None:
            yield "Uncertainty C M Y", _triple(fade.uncertainty)
        if stain.area_fraction is not None:
            yield "Stained surface", percent(stain.area_fraction)
        if stain.yellowness_index is not None:
            yield "Yellowness index (ASTM E313)", f"{stain.yellowness_index:.1f}"
        if stain.base_lab is not None:
            yield "Paper L* a* b*", " ".join(f"{value:.1f}" for value in stain.base_lab)
    if master is not None:
        ppi = f", {master.ppi:g} ppi" if master.ppi else ""
        yield "Master", f"{master.width} × {master.height} px, {master.bits} bits{ppi}"
        given = master.given_profile
        yield "Colour profile", master.profile or (f"{given.name}, from the settings" if given else "none")
    for copy in copies:
        if copy.fidelity is not None and copy.use is not Use.THUMBNAIL:
            name = f"{copy.use.value} copy" + (f", part {copy.part}" if copy.part else "")
            yield f"Largest contrast gain, {name}", f"{copy.fidelity.largest_gain:.2f}"
            yield f"Structure kept, {name}", f"{copy.fidelity.structure:.3f}"
            clipped = copy.fidelity.clipped_black + copy.fidelity.clipped_white
            yield f"Newly clipped, {name}", percent(clipped)


def _links(master: Master | None, copies: Sequence[Copy], to: str) -> list[dict[str, str]]:
    links = []
    if master is not None:
        links.append({"href": to + quote(master.file), "label": "master"})
    recipes = {}
    for copy in copies:
        part = f" {copy.part}" if copy.part else ""
        if copy.use is not Use.THUMBNAIL:
            links.append({"href": to + quote(copy.file), "label": f"{copy.use.value} copy{part}"})
            if copy.recipe:
                recipes[copy.recipe] = f"{copy.use.value} recipe{part}"
    return links + [{"href": to + quote(file), "label": label} for file, label in recipes.items()]


def _afters(copies: Sequence[Copy], to: str) -> list[dict[str, Any]]:
    """One picture per part: the thumbnail where there is one, leading to the best copy to look at."""
    order = {Use.VIEWING: 0, Use.READING: 1, Use.PRINT: 2, Use.THUMBNAIL: 3}
    afters = []
    for part in sorted({copy.part for copy in copies}, key=lambda part: part or 0):
        of_part = sorted((copy for copy in copies if copy.part == part), key=lambda copy: order[copy.use])
        shown = [copy for copy in of_part if copy.file.endswith(".jpg")] or of_part
        image = shown[-1]
        afters.append(
            {
                "part": part,
                "href": to + quote(shown[0].file),
                "image": to + quote(image.file),
                "width": image.width,
                "height": image.height,
            }
        )
    return afters


@dataclass(frozen=True)
class _Told:
    """What other files say: what recipes did, by copy, and what later scans showed, by number and side."""

    recipes: Mapping[str, Sequence[str]]
    compared: Mapping[tuple[str, str], Sequence[str]]


def _compared(folder: Path) -> dict[tuple[str, str], list[str]]:
    found: dict[tuple[str, str], list[str]] = {}
    for record in sorted(changes.readable(folder), key=lambda record: record.date):
        found.setdefault((record.report.reference, record.report.side), []).append(compared_words(record))
    return found


def _side(original: Original, side: Side, folder: Path, told: _Told, to: str) -> dict[str, Any]:
    master = next((master for master in original.masters if master.side is side), None)
    condition = next((condition for condition in original.condition if condition.side is side), None)
    copies = [copy for copy in original.copies if copy.side is side]
    before = paths.condition(original.reference, side, "png")
    said = dict.fromkeys(sentence(said) for copy in copies for said in told.recipes.get(copy.file, ()))
    lines = []
    if condition is not None:
        lines = [fade_words(condition.fade, original.kind), stain_words(condition.stain)]
    if original.kind is Kind.NEGATIVE and side is Side.RECTO:
        lines.append(film.caution(original.date, original.notes))
    lines += told.compared.get((original.reference, side.value), ())
    return {
        "name": _SIDE_NAMES[side],
        "before": to + quote(before) if (folder / before).is_file() else "",
        "marks": bool(condition and condition.stain.regions),
        "after": _afters(copies, to),
        "condition": [line for line in lines if line],
        "words": list(said),
        "links": _links(master, copies, to),
        "figures": list(_figures(condition, master, copies)),
    }


def _kind_words(original: Original) -> str:
    sure = original.kind_confidence
    words = KINDS[original.kind]
    if original.kind is Kind.UNKNOWN or sure is None or sure >= 0.999:
        return words
    return f"{words} ({percent(sure)} sure)"


def _entry(original: Original, folder: Path, told: _Told, to: str) -> dict[str, Any]:
    place = original.location
    facts = [
        _kind_words(original),
        date_words(original.date),
        original.place,
        ", ".join(original.people),
        *(
            f"{name} {value}"
            for name, value in (("box", place.box), ("folder", place.folder), ("enclosure", place.enclosure))
            if value
        ),
        f"same picture as {', '.join(original.same_picture_as)}" if original.same_picture_as else "",
        f"place {original.priority.rank} in the queue: {original.priority.reason}" if original.priority else "",
    ]
    present = {master.side for master in original.masters} | {copy.side for copy in original.copies}
    sides = [side for side in Side if side in present]
    return {
        "reference": original.reference,
        "anchor": anchor(original.reference),
        "title": original.title,
        "alt": original.title or original.reference,
        "facts": [fact for fact in facts if fact],
        "caption": original.caption,
        "inscription": original.inscription,
        "sides": [_side(original, side, folder, told, to) for side in sides],
    }


def _page_file(index: int) -> str:
    return paths.REPORT if index == 0 else f"report/page_{index + 1}.html"


def _lead(originals: int, copies: int, set_aside: int) -> str:
    counts = [(originals, "original", "originals"), (copies, "copy", "copies")]
    words = " and ".join(f"{n:,} {one if n == 1 else many}" for n, one, many in counts)
    return words + (f"; {set_aside:,} set aside." if set_aside else ".")


def write(
    folder: Path,
    collection: CollectionInfo,
    software: Software,
    originals: Iterable[Original],
    set_aside: Sequence[SetAside],
    words: Mapping[str, Sequence[str]],
    notes: Sequence[str] = (),
) -> None:
    """Write the report of the collection in ``folder``; a page whose bytes would not change is left untouched.

    ``originals`` are sorted by reference and are gone through twice, so pass a list or an object whose
    iteration starts anew. ``words`` tells for each copy's file what its recipe did, in sentences; ``notes`` are
    sentences about the run, such as pairs of front and back that were inferred.
    Raises :class:`surrogate.errors.CollectionUnusable` and :class:`surrogate.errors.DiskFull`.
    """
    starts: list[str] = []
    count = copies = 0
    urgent: list[tuple[int, str, int, str, str]] = []
    for count, original in enumerate(originals, start=1):
        if (count - 1) % PAGE == 0:
            starts.append(original.reference)
        copies += len(original.copies)
        if original.priority is not None and original.kind is not Kind.TARGET:
            rank = (original.priority.rank, original.reference, (count - 1) // PAGE)
            urgent.append((*rank, original.title, original.priority.reason))
            if len(urgent) > 4 * FIRST:
                urgent = heapq.nsmallest(FIRST, urgent)
    priorities = [
        {
            "rank": rank,
            "reference": reference,
            "title": title,
            "reason": reason,
            "href": ("" if page == 0 else _page_file(page)) + f"#{anchor(reference)}",
        }
        for rank, reference, page, title, reason in heapq.nsmallest(FIRST, urgent)
    ]
    template = templates().get_template("report.html")
    told = _Told(words, _compared(folder))
    stream = iter(originals)
    for page in range(max(1, len(starts))):
        to = "" if page == 0 else "../"
        pages = [
            {"label": f"from {start}", "href": to + _page_file(index), "here": index == page}
            for index, start in enumerate(starts)
        ]
        heading = f"{collection.name or 'Collection'}: report" + (f", page {page + 1}" if page else "")
        text = template.render(
            title=heading,
            style=_style(),
            lead=_lead(count, copies, len(set_aside)),
            collection=collection,
            software=software,
            priorities=priorities if page == 0 else [],
            set_aside=set_aside if page == 0 else [],
            notes=notes if page == 0 else [],
            pages=pages,
            entries=[_entry(original, folder, told, to) for original in islice(stream, PAGE)],
        )
        replace_if_changed(folder / _page_file(page), text.encode())
    _remove_old_pages(folder, max(1, len(starts)))


def _remove_old_pages(folder: Path, pages: int) -> None:
    """Take away pages of a longer report that this one replaces."""
    wanted = {_page_file(index) for index in range(pages)}
    for old in (folder / "report").glob("page_*.html"):
        if f"report/{old.name}" not in wanted:
            old.unlink()

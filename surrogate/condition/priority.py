"""Which original comes first: what is lost by waiting, times what is at stake.

Waiting costs what is going on now: film that decays, glue and plastic that go on acting, active damage, dyes
that fade in light. At stake is what could not be had again: a single copy, words that nobody has written
down, a strong loss already there that leaves little to save. Each source of loss has a share of the original
at risk in ten years if nothing is done (judgement, ordered by the handbooks' advice: film and self-stick
pages first); the largest one leads, the others add what is left of the remainder, so that two half-risks are
three quarters and nothing passes 1.

    urgency = 1 - (1 - w1)(1 - w2)...       stake = 0.5 + 0.2 single + 0.15 uncaptioned + 0.15 already fading
    score   = urgency * stake, rounded to 0.001; ties go by reference

What endangers its neighbours or the house (possible nitrate film, mould) counts in full, whatever it shows: stake 1.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from surrogate import film
from surrogate.records import Condition, Grade, Kind, Priority, Stain


@dataclass(frozen=True)
class Evidence:
    """What is known about one original when the queue is made.

    enclosure, notes: as people wrote them. date: EDTF. copies: how many originals show the same picture,
    itself included. fade, stain: the worst side's grades. marks: kinds of its regions. loss: largest dye or
    silver loss above base (0-1). captioned: someone has written a title or caption. on_display: it hangs or
    stands in light.
    """

    reference: str
    kind: Kind
    date: str = ""
    enclosure: str = ""
    notes: str = ""
    fade: Grade = Grade.NOT_MEASURABLE
    loss: float | None = None
    stain: Grade = Grade.NOT_MEASURABLE
    marks: frozenset[str] = field(default_factory=frozenset)
    captioned: bool = False
    copies: int = 1
    edge_marks: str = ""


@dataclass(frozen=True)
class _Risk:
    """One way to lose by waiting: share at risk in ten years, the words for it, and whether others are at risk too."""

    share: float
    reason: str
    spreads: bool = False


# Words of the enclosure or notes -> risk. The order of severity is the usual one of photograph care handbooks
# (common practice, no source); the shares only set the order.
_HOUSING: tuple[tuple[re.Pattern[str], _Risk], ...] = tuple(
    (re.compile(pattern, re.IGNORECASE), _Risk(share, reason))
    for pattern, share, reason in (
        (
            r"self[- ]?(?:stick|adhesive)|magnetic (?:album|page)|sticky (?:album|page)|cling (?:album|page)",
            0.60,
            "it lies in a self-stick album whose glue goes on staining it",
        ),
        (r"\bpvc\b|vinyl|plasticised|plasticized", 0.55, "it lies in soft plastic that gives off acid"),
        (r"rubber cement|glued|pasted", 0.40, "it is glued down"),
        (r"sealed (?:can|tin)", 0.60, "it is sealed in a can where its own vapours stay"),
        (r"glassine|kraft|acidic|newsprint|cardboard box|shoe ?box", 0.25, "its enclosure is acid"),
        (r"attic|loft|cellar|basement|garage|shed\b|damp|wet\b", 0.40, "it is kept where it is damp or hot"),
        (r"\bframed?\b|on (?:the )?wall|display|window ?sill|mantel", 0.35, "it hangs or stands in the light"),
        (r"rubber band|paper ?clip|staple|\bpins?\b", 0.20, "metal or rubber touches it"),
    )
)

_MARKS: dict[str, _Risk] = {
    "suspected mould": _Risk(
        0.70, "it may have mould, which spreads: keep it apart and ask a conservator", spreads=True
    ),
    "adhesive stripes": _Risk(0.45, "glue stripes go on staining it"),
    "tape": _Risk(0.35, "adhesive tape goes on staining it"),
    "rust": _Risk(0.30, "rust from metal eats into it"),
    "tear": _Risk(0.30, "it is torn and tears on with every touch"),
    "loss": _Risk(0.30, "pieces are missing and more can break off"),
    "tideline": _Risk(0.20, "it was wet"),
    "foxing": _Risk(0.15, "it has brown spots that grow in damp"),
    "show-through ink": _Risk(0.15, "ink comes through from its back"),
    "fold": _Risk(0.12, "it is folded and cracks along the fold"),
}

_FADE: dict[Grade, _Risk] = {
    Grade.SEVERE: _Risk(0.45, "it has faded badly and little is left to save"),
    Grade.MODERATE: _Risk(0.30, "it is fading"),
    Grade.SLIGHT: _Risk(0.12, "it has begun to fade"),
}

_STAIN: dict[Grade, _Risk] = {
    Grade.SEVERE: _Risk(0.20, "it is badly stained"),
    Grade.MODERATE: _Risk(0.10, "it is stained"),
}

# What a kind loses without any sign yet: dyes fade in the dark too (JAIC 21(1) 1981), newsprint embrittles.
_KIND: dict[Kind, _Risk] = {
    Kind.NEGATIVE: _Risk(0.15, "film changes unseen"),
    Kind.COLOUR_PRINT: _Risk(0.08, "its dyes fade even in the dark"),
    Kind.CLIPPING: _Risk(0.12, "newsprint turns brown and brittle"),
    Kind.ALBUM_PAGE: _Risk(0.08, "album pages act on what they hold"),
    Kind.SILVER_PRINT: _Risk(0.04, "nothing presses"),
    Kind.DOCUMENT: _Risk(0.04, "nothing presses"),
    Kind.UNKNOWN: _Risk(0.04, "nothing presses"),
    Kind.TARGET: _Risk(0.0, "a target is not an original"),
}

_NITRATE = _Risk(0.95, "it may be nitrate film: keep it cool, apart and vented, and ask who may judge it", spreads=True)
_VINEGAR = _Risk(0.75, "what people wrote sounds like acetate film that decays (vinegar smell, warping)")
_VINEGAR_WORDS = re.compile(r"vinegar|warp|shrunk|shrink|channell?ing|buckl", re.IGNORECASE)


def risks(evidence: Evidence) -> list[tuple[float, str]]:
    """Everything that waiting may cost this original: (share at risk, reason), the worst first."""
    return [(risk.share, risk.reason) for risk in _risks(evidence)]


def _risks(evidence: Evidence) -> list[_Risk]:
    found = [_KIND[evidence.kind]]
    words = f"{evidence.enclosure} {evidence.notes}"
    if evidence.kind is Kind.NEGATIVE:
        # Colour negatives were never made on nitrate, but a scan's kind is a guess: people's words decide, not colour.
        if film.nitrate(evidence.date, evidence.edge_marks, evidence.notes).suspected:
            found.append(_NITRATE)
        if _VINEGAR_WORDS.search(words):
            found.append(_VINEGAR)
    found.extend(risk for pattern, risk in _HOUSING if pattern.search(words))
    found.extend(_MARKS[mark] for mark in sorted(evidence.marks) if mark in _MARKS)
    found.extend(table[grade] for table, grade in ((_FADE, evidence.fade), (_STAIN, evidence.stain)) if grade in table)
    return sorted(found, key=lambda risk: (-risk.share, risk.reason))


def score(evidence: Evidence) -> float:
    """Urgency times stake, 0-1; see the module's text."""
    found, kept = _risks(evidence), 1.0
    for risk in found:
        kept *= 1.0 - risk.share
    lost = evidence.loss or 0.0
    stake = (
        0.5
        + 0.2 * (evidence.copies <= 1)
        + 0.15 * (not evidence.captioned)
        + 0.15 * min(max(lost, 0.0) / 0.5, 1.0)  # half the image gone: all that can be at stake is
    )
    if any(risk.spreads for risk in found):
        stake = 1.0
    return round((1.0 - kept) * stake, 3)


def reason(evidence: Evidence) -> str:
    """One sentence: the greatest risk, and what else is at stake."""
    worst = _risks(evidence)[0].reason
    if evidence.kind is Kind.TARGET:
        return "A target is not an original."
    also = []
    if evidence.copies <= 1:
        also.append("no other copy of the picture is known")
    if not evidence.captioned:
        also.append("nobody has written what it shows")
    return f"{worst[0].upper()}{worst[1:]}{'; ' + ' and '.join(also) if also else ''}."


def rank(originals: Sequence[Evidence]) -> list[tuple[str, Priority]]:
    """The queue: (reference, rank and reason), rank 1 first; equal scores go by reference."""
    ordered = sorted(originals, key=lambda evidence: (-score(evidence), evidence.reference))
    return [
        (evidence.reference, Priority(rank=place, reason=reason(evidence)))
        for place, evidence in enumerate(ordered, start=1)
    ]


_WORSE = (Grade.NOT_MEASURABLE, Grade.NONE, Grade.SLIGHT, Grade.MODERATE, Grade.SEVERE)


def worst(conditions: Iterable[Condition]) -> tuple[Grade, float | None, Grade, frozenset[str]]:
    """(fade grade, largest loss, stain grade, kinds of mark) over the sides of one original."""
    fade, stain, losses, marks = Grade.NOT_MEASURABLE, Grade.NOT_MEASURABLE, [], set[str]()
    for condition in conditions:
        fade = max(fade, condition.fade.grade, key=_WORSE.index)
        stain = max(stain, condition.stain.grade, key=_WORSE.index)
        if condition.fade.density_loss is not None:
            losses.append(max(condition.fade.density_loss))
        marks.update(_sure(condition.stain))
    return fade, (max(losses) if losses else None), stain, frozenset(marks)


def _sure(stain: Stain) -> set[str]:
    """Kinds of the regions that are more likely marks than picture."""
    return {region.kind for region in stain.regions if region.confidence is None or region.confidence >= 0.5}

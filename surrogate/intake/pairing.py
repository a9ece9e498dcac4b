"""Fronts and backs: which scans are the two sides of one original, by their names, their order and their looks.

A wrong pair hides an original behind another, so a doubtful pair is left apart and named in ``why``. Counters
(IMG_0001, IMG_0002), copy numbers that computers add (``photo (2)``) and numbers after a hyphen say nothing about
sides by themselves: they need the evidence of the pictures, given as :class:`Look`.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath

from surrogate.intake.evidence import PAIRED, Group, Look, back_odds, in_order, in_words, natural_key, size_odds
from surrogate.intake.ordering import pair_by_order, runs
from surrogate.intake.sidewords import Reading, Scheme, readings, side_of_folder, tokens
from surrogate.records import Side

__all__ = ["Group", "Look", "natural_key", "open_questions", "pair", "pair_by_name", "pair_by_order"]


#: Pairs of names at least this sure are not asked after in the pictures.
SURE = 0.9


@dataclass(frozen=True)
class _Named:
    """A scan's name taken apart."""

    name: str
    place: str
    suffix: str
    base: tuple[str, ...]
    marks: tuple[Reading, ...]
    folder_side: Side | None


def pair(names: Sequence[str], looks: Mapping[str, Look] | None = None) -> list[Group]:
    """Pair scans by name and, where looks are given, the rest by order; every name is in exactly one group.

    Args:
        names: paths of scans relative to the folder taken in, with forward slashes; all different.
        looks: the evidence of the pictures by name; may lack some names.

    """
    groups = pair_by_name(names, looks)
    if not looks:
        return groups
    alone = {group.recto: group for group in groups if group.recto and not group.verso}
    for run in runs(alone):
        known = [looks[name] for name in run if name in looks]
        for group in pair_by_order(known):
            if group.verso or (group.why and group.recto and not alone[group.recto].why):
                alone = {name: one for name, one in alone.items() if name not in {group.recto, group.verso}}
                groups = [one for one in groups if one.recto not in {group.recto, group.verso} or one.verso]
                groups.append(group)
    return in_order(groups)


def open_questions(groups: Iterable[Group]) -> tuple[list[str], list[list[str]]]:
    """What only the pictures can settle after names were read: doubtful names, and runs that may be in order."""
    doubtful = [
        name
        for group in groups
        if group.confidence < SURE or (group.why and not (group.recto and group.verso))
        for name in (group.recto, group.verso)
        if name
    ]
    settled = set(doubtful)
    single = [group.recto for group in groups if group.recto and not group.verso and group.recto not in settled]
    return doubtful, runs(single)


def pair_by_name(names: Sequence[str], looks: Mapping[str, Look] | None = None) -> list[Group]:
    """Pair scans by their names; looks, where given, confirm or overrule. The order of names does not matter.

    Args:
        names: as for :func:`pair`.
        looks: as for :func:`pair`.

    """
    looks = looks or {}
    scans = [_take_apart(name) for name in sorted(set(names), key=natural_key)]
    candidates = sorted(
        _candidates(scans, looks),
        key=lambda group: (-group.confidence, natural_key(group.recto or ""), natural_key(group.verso or "")),
    )
    groups: list[Group] = []
    taken: set[str] = set()
    doubts: dict[str, str] = {}
    for group in candidates:
        ends = {end for end in (group.recto, group.verso) if end}
        if group.confidence >= PAIRED and not ends & taken:
            groups.append(group)
            taken |= ends
        elif group.confidence < PAIRED:
            for end in ends:
                doubts.setdefault(end, f"not paired: {group.why}")
    systematic = {scan.place for scan in scans if scan.name in taken}
    groups += [
        _alone(scan, doubts.get(scan.name, ""), looks.get(scan.name), systematic=scan.place in systematic)
        for scan in scans
        if scan.name not in taken
    ]
    return in_order(groups)


def _take_apart(name: str) -> _Named:
    path = PurePosixPath(name)
    folder_side = side_of_folder(path.parent.name)
    place = path.parent.parent if folder_side else path.parent
    marks = () if folder_side else tuple(readings(path.stem))
    return _Named(name, str(place), path.suffix.casefold(), tokens(path.stem), marks, folder_side)


def _candidates(scans: list[_Named], looks: Mapping[str, Look]) -> Iterable[Group]:
    """Every pair that the names allow, with its confidence after the evidence."""
    plain: dict[tuple[str, tuple[str, ...]], list[_Named]] = defaultdict(list)
    marked: dict[tuple[str, tuple[str, ...], Scheme], list[tuple[_Named, Reading]]] = defaultdict(list)
    for scan in scans:
        if scan.folder_side is None:
            plain[scan.place, scan.base].append(scan)
        for mark in scan.marks:
            marked[scan.place, mark.base, mark.scheme].append((scan, mark))
    shares = _shares(scans, marked)
    present = {(scan.place, scan.base) for scan in scans}
    for (place, base, scheme), members in marked.items():
        fronts = [(scan, mark) for scan, mark in members if mark.side is Side.RECTO]
        bare: list[tuple[_Named, Reading | None]] = [(scan, None) for scan in plain.get((place, base), [])]
        for back, mark in members:
            if mark.side is Side.RECTO:
                continue
            for front, front_mark in [*fronts, *bare]:
                share = shares[place, scheme, front_mark is None]
                prior, words = _prior(mark, front_mark, share, crowded=_crowded(present, back, mark))
                if front.suffix != back.suffix:
                    prior -= 0.03
                yield _weighed(front, back, prior, words, looks)
    yield from _by_folder(scans, looks)


def _shares(
    scans: list[_Named],
    marked: Mapping[tuple[str, tuple[str, ...], Scheme], list[tuple[_Named, Reading]]],
) -> dict[tuple[str, Scheme, bool], tuple[int, float]]:
    """How many pairs a scheme makes in a folder and the share of the folder's files that they take."""
    in_place: dict[str, int] = defaultdict(int)
    for scan in scans:
        in_place[scan.place] += 1
    bases = {(scan.place, scan.base) for scan in scans}
    pairs: dict[tuple[str, Scheme, bool], int] = defaultdict(int)
    for (place, base, scheme), members in marked.items():
        sides = {mark.side for _, mark in members}
        if Side.VERSO in sides:
            pairs[place, scheme, False] += Side.RECTO in sides
            pairs[place, scheme, True] += (place, base) in bases
    shares: dict[tuple[str, Scheme, bool], tuple[int, float]] = defaultdict(lambda: (0, 0.0))
    shares.update({key: (count, 2 * count / in_place[key[0]]) for key, count in pairs.items()})
    return shares


def _crowded(present: set[tuple[str, tuple[str, ...]]], back: _Named, mark: Reading) -> bool:
    """Whether the letters or numbers go on beyond two (a, b, c; 1, 2, 3), so that they count and name no sides."""
    following = {"b": "cd", "2": "3"}.get(mark.mark, "")
    width = len(back.base[-1])
    return any((back.place, (*mark.base, further.zfill(width))) in present for further in following)


def _prior(mark: Reading, front: Reading | None, share: tuple[int, float], *, crowded: bool) -> tuple[float, str]:
    """Confidence in a pair from its names alone, and the words for it.

    The figures are judgements, ordered by how often each mark means something else; they are tested on lists of
    names that look real, not fitted.
    """
    numbered = any(part.isdigit() for part in mark.base)
    pairs, part_of_folder = share
    by_rule = pairs >= 3 and part_of_folder >= 0.9
    marks = f"“{front.mark}” and “{mark.mark}”" if front else f"“{mark.mark}”"
    words = f"the names differ only by {marks}"
    match mark.scheme:
        case Scheme.WORD:
            return 0.98, words
        case Scheme.DOUBTFUL_WORD:
            if numbered or by_rule:
                return 0.95, words
            # "front garden", "back garden": a place, not a side. "Aunt Mary back": a side.
            return (0.85 if mark.at_end and front is None else 0.5), words
        case Scheme.LETTER:
            return _prior_of_letters(mark, front, by_rule=by_rule, crowded=crowded), words
        case _:
            return (0.2 if crowded else 0.5), f"{words}, which computers and scanners also add by themselves"


#: Confidence of letters at the end of a name (front's letter, back's letter), after a number and after words.
_LETTERS_AT_END = {
    ("r", "v"): (0.95, 0.6),
    ("f", "b"): (0.95, 0.6),
    ("", "b"): (0.88, 0.5),
    ("", "v"): (0.88, 0.4),
    ("a", "b"): (0.5, 0.5),
}


def _prior_of_letters(mark: Reading, front: Reading | None, *, by_rule: bool, crowded: bool) -> float:
    letters = (front.mark if front else "", mark.mark)
    if crowded or letters not in _LETTERS_AT_END or (front is not None and front.at_end != mark.at_end):
        return 0.1
    after_number, after_words = _LETTERS_AT_END[letters]
    if not mark.at_end:
        return 0.85 if by_rule and letters in {("r", "v"), ("f", "b")} else 0.4
    if not any(part.isdigit() for part in mark.base):
        return after_words
    # Letters also name the parts of one object (1978.10a-b): a and b are sides only where all names have them.
    return 0.8 if letters == ("a", "b") and by_rule else after_number


def _by_folder(scans: list[_Named], looks: Mapping[str, Look]) -> Iterable[Group]:
    """Pairs of equal names in folders that are named for the sides."""
    fronts: dict[tuple[str, tuple[str, ...]], list[_Named]] = defaultdict(list)
    backs: dict[str, list[_Named]] = defaultdict(list)
    counts: dict[str, int] = defaultdict(int)
    plain_side = {(scan.place, scan.base) for scan in scans if scan.folder_side is Side.RECTO}
    with_fronts = {place for place, _ in plain_side}
    for scan in scans:
        if scan.folder_side is Side.VERSO:
            backs[scan.place].append(scan)
        elif scan.folder_side is Side.RECTO or (scan.place, scan.base) not in plain_side:
            fronts[scan.place, scan.base].append(scan)
            counts[scan.place] += scan.folder_side is Side.RECTO or scan.place not in with_fronts
    for place, members in backs.items():
        # Fewer backs than fronts, counted from the first: the backs may have a counter of their own.
        matched = [scan for scan in members if (place, scan.base) in fronts]
        ordered = sorted((key[1] for key in fronts if key[0] == place), key=lambda b: natural_key(" ".join(b)))
        first = {scan.base for scan in matched} == set(ordered[: len(matched)])
        own_counter = first and len(matched) < counts[place]
        prior = 0.5 if own_counter or len(matched) < len(members) else 0.93
        words = "same name in a folder of fronts and a folder of backs"
        for back in matched:
            for front in fronts[place, back.base]:
                yield _weighed(front, back, prior - 0.03 * (front.suffix != back.suffix), words, looks)


def _weighed(front: _Named, back: _Named, prior: float, words: str, looks: Mapping[str, Look]) -> Group:
    """Join the confidence from the names with the evidence of the pictures, as odds."""
    odds = math.log(prior / (1 - prior))
    if front.name in looks and back.name in looks:
        one, other = looks[front.name], looks[back.name]
        odds += back_odds(other) + size_odds(one, other)
        if one.back > other.back:
            odds -= 1.5
        words += f"; the second {in_words(one, other)}"
    return Group(front.name, back.name, words, round(1 / (1 + math.exp(-odds)), 3))


def _alone(scan: _Named, doubt: str, look: Look | None, *, systematic: bool) -> Group:
    """A scan without a partner: a lone back where its name says so, else a front."""
    marks = [mark for mark in scan.marks if mark.side is Side.VERSO and mark.at_end]
    sure = any(mark.scheme is Scheme.WORD for mark in marks) or scan.folder_side is Side.VERSO
    named = any(
        mark.scheme is Scheme.DOUBTFUL_WORD
        and (systematic or any(part.isdigit() for part in mark.base) or (look is not None and look.back >= 0.5))
        for mark in marks
    )
    pictured = look is not None and look.back < 0.1 and not sure
    if (sure or named) and not pictured:
        why = doubt or "named as a back, but no front with that name was found"
        return Group(None, scan.name, why, 0.9 if sure else PAIRED)
    return Group(scan.name, None, doubt, 1.0 if not doubt else 0.8)

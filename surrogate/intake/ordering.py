"""Fronts and backs by the order of scanning: front, back, front, back; or all fronts, then all backs.

Order alone proves nothing: a letter after a photograph looks like its back. So the scans must be numbered by a
counter, and the whole run must keep to the order so well that chance would not bring it about.
"""

from __future__ import annotations

import itertools
import math
import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import PurePosixPath

from surrogate.intake.evidence import (
    SAME_SIZE,
    Group,
    Look,
    back_odds,
    in_words,
    natural_key,
    size_difference,
)

#: What looks like a back at least this much is one; what looks like one less than the second is a front.
BACK, FRONT = 0.75, 0.5

#: Largest probability that a shuffled run would keep to the order by chance: where sizes speak too, and where only
#: the order does. At the second, five pairs without any exception are needed. Judgements, tested on shuffled folders.
_CHANCE_WITH_SIZES, _CHANCE_WITHOUT = 1 / 20, 1 / 100

#: The same frame in at least so many scans is the scanner's bed or the camera's sensor, not an original.
_BEDS = 3

#: In a long run one back in ten may be out of order.
_LONG_RUN, _TOLERATED = 10, 0.1

_COPY_NUMBER = re.compile(r" ?\((\d+)\)$")
#: A date and a time to the second, as scanner programs and telephones write them.
_TIMESTAMP = re.compile(r"(?:19|20)\d{6}[-_ T]?\d{6}")


def runs(names: Iterable[str]) -> list[list[str]]:
    """Scans of one folder that one counter numbered, in its order; scans with names of their own are in none.

    ``Scan.jpg``, ``Scan (2).jpg``, ``Scan (3).jpg`` are a run too: computers count so.
    """
    found: dict[tuple[str, str], list[str]] = defaultdict(list)
    counted = list(names)
    for name in counted:
        found[_skeleton(name)].append(name)
    for key in list(found):
        first = (key[0], key[1].removesuffix("(#)").rstrip())
        if key[1].endswith("(#)") and len(found.get(first, ())) == 1 and "#" not in first[1]:
            found[key] += found.pop(first)
    return [sorted(run, key=natural_key) for key, run in sorted(found.items()) if "#" in key[1] and len(run) > 1]


def _skeleton(name: str) -> tuple[str, str]:
    path = PurePosixPath(name)
    stem = _COPY_NUMBER.sub(" (#)", path.stem.casefold())
    return str(path.parent), re.sub(r"\d+", "#", stem)


def _follows(one: str, other: str) -> bool:
    """Whether the counter went from one name straight to the other; times only need to go on."""
    first, second = PurePosixPath(one).stem, PurePosixPath(other).stem
    if _TIMESTAMP.search(first) and _TIMESTAMP.search(second) and not _COPY_NUMBER.search(second):
        return True
    if _COPY_NUMBER.search(second) and not _COPY_NUMBER.search(first):
        first += " (1)"
    numbers, following = ([int(n) for n in re.findall(r"\d+", stem)] for stem in (first, second))
    return numbers[:-1] == following[:-1] and bool(numbers) and following[-1] == numbers[-1] + 1


def pair_by_order(looks: Sequence[Look]) -> list[Group]:
    """Pair the scans of one run, in its order; all come back, most of them alone.

    Three readings are weighed: each back after its front where there is one; the second half the backs of the first
    half; the same with the stack turned over, so that the backs come in reverse.
    """
    sized = _without_beds(looks)
    chance, pairs = _each_after_its_front(sized)
    words = "the scan after it"
    halves = _halves(sized)
    if halves and (not pairs or halves[0] < chance):
        chance, pairs, words = halves
    groups: list[Group] = []
    backs = {back for _, back in pairs}
    partner = dict(pairs)
    for place, look in enumerate(sized):
        if place in partner:
            other = sized[partner[place]]
            why = f"{words} {in_words(look, other)}; the run of {len(looks)} scans keeps to this order"
            groups.append(Group(look.name, other.name, why, round(1 - chance, 3)))
        elif place not in backs:
            lone = look.back >= 0.9
            why = "looks like a back, but which front it belongs to is not sure" if lone else ""
            groups.append(Group(look.name, None, why, 0.6 if lone else 1.0))
    return groups


def _without_beds(looks: Sequence[Look]) -> list[Look]:
    """Sizes of frames that come again and again say nothing of what lay in them."""
    frames = Counter(look.size for look in looks if look.frame and look.size)
    return [
        replace(look, size=None) if look.frame and look.size and frames[look.size] >= _BEDS else look for look in looks
    ]


def _fit(front: Look, back: Look) -> bool:
    difference = size_difference(front, back)
    return front.back < FRONT and back.back >= BACK and (difference is None or difference <= SAME_SIZE)


def _size_chance(fronts: Sequence[Look], front: Look, back: Look) -> float:
    """Share of the run's fronts that this back fits as well."""
    if front.size is None or back.size is None:
        return 1.0
    return sum((size_difference(one, back) or 0.0) <= SAME_SIZE for one in fronts) / len(fronts)


def _each_after_its_front(looks: Sequence[Look]) -> tuple[float, list[tuple[int, int]]]:
    """(probability by chance, pairs). No pairs when too many backs lie elsewhere than after a front that fits."""
    backs = [place for place, look in enumerate(looks) if look.back >= BACK]
    fronts = [look for look in looks if look.back < FRONT]
    pairs = [
        (place - 1, place)
        for place in backs
        if place and _fit(looks[place - 1], looks[place]) and _follows(looks[place - 1].name, looks[place].name)
    ]
    strays = len(backs) - len(pairs)
    if not pairs or strays > (_TOLERATED * len(backs) if len(backs) >= _LONG_RUN else 0):
        return 1.0, []
    # Of all orders of n fronts and m backs, those in which every back follows a front of its own.
    chance = math.comb(len(fronts), len(pairs)) / math.comb(len(fronts) + len(pairs), len(pairs))
    by_size = math.prod(_size_chance(fronts, looks[front], looks[back]) for front, back in pairs)
    every_size_known = all(looks[place].size for pair in pairs for place in pair)
    # Where only the order speaks, every front must have its back: a picture that looks like paper would else be one.
    if not every_size_known and 2 * len(pairs) < (1 - _TOLERATED) * len(looks):
        return 1.0, []
    limit = _CHANCE_WITH_SIZES if every_size_known else _CHANCE_WITHOUT
    return (chance * by_size, pairs) if chance * by_size <= limit else (1.0, [])


def _halves(looks: Sequence[Look]) -> tuple[float, list[tuple[int, int]], str] | None:
    """All fronts, then as many backs. Letters after photographs look the same, so the sizes must fit one by one, and
    only in one of the two directions.
    """
    half = len(looks) // 2
    if len(looks) < 4 or len(looks) % 2 or not all(look.size for look in looks):
        return None
    if not all(_follows(one.name, other.name) for one, other in itertools.pairwise(looks)):
        return None
    readings = []
    for order, said in ((range(half, 2 * half), ""), (range(2 * half - 1, half - 1, -1), " in reverse")):
        pairs = list(zip(range(half), order, strict=True))
        if all(_fit(looks[front], looks[back]) for front, back in pairs):
            readings.append((pairs, f"the second half of the run holds the backs{said}, and this one"))
    if len(readings) != 1:
        return None
    pairs, words = readings[0]
    chance = math.prod(_size_chance(looks[:half], looks[front], looks[back]) for front, back in pairs)
    certain = sum(back_odds(looks[back]) - back_odds(looks[front]) for front, back in pairs) / half > 2.0
    return (chance, pairs, words) if chance <= _CHANCE_WITH_SIZES and certain else None

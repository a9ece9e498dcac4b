"""Which scans are the two sides of one original: the caption sheet's word, then names, then the pictures themselves."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path

from surrogate.intake import looks
from surrogate.intake.evidence import Group, Look, in_order
from surrogate.intake.ordering import BACK
from surrogate.intake.pairing import open_questions, pair
from surrogate.records import Side

#: Scans of a run that are looked at first. Where they show no back, the run is not scanned in an order of fronts and
#: backs (with a tenth of backs, 40 scans show none in 1.5 % of all cases), and the rest need not be opened.
SAMPLE = 40

#: Names told one by one in a note; more are counted.
_TOLD = 5

Looker = Callable[[Sequence[str]], Mapping[str, Look]]


@dataclass(frozen=True)
class Stated:
    """What a person wrote about a scan: its side and number, where they did."""

    side: Side | None
    reference: str | None


@dataclass(frozen=True)
class Sides:
    """Originals in the order of their names, and what there is to say of how they were found.

    ``seen`` are those that only the pictures could pair: a later run, which sees fewer of them, must not judge anew.
    """

    groups: list[Group]
    seen: list[Group]
    notes: list[str]


def settle(
    names: Sequence[str],
    fresh: Sequence[str],
    stated: Mapping[str, Stated],
    look: Looker | None,
    remembered: Sequence[Group] = (),
) -> Sides:
    """Pair scans. ``fresh`` are the names no earlier run dealt with; only they are looked at, by ``look`` if given.

    ``remembered`` are pairs that earlier runs saw in the pictures.
    """
    told = _by_the_sheet(names, stated)
    settled = {name for group in told for name in _names(group)}
    for group in remembered:
        if not settled.intersection(_names(group)) and set(names).issuperset(_names(group)):
            told.append(group)
            settled.update(_names(group))
    left = [name for name in names if name not in settled]
    groups = pair(left)
    seen: list[Group] = []
    if look is not None:
        looked = _looked_at(groups, set(fresh) - settled, look)
        if looked:
            groups = pair(left, looked)
            seen = [group for group in groups if group.recto in looked and group.verso in looked]
    groups = in_order([*told, *_as_stated(groups, stated)])
    return Sides(groups, [group for group in seen if group in groups], _notes(groups, set(fresh)))


def _names(group: Group) -> list[str]:
    return [name for name in (group.recto, group.verso) if name]


def looker(executor: Executor, paths: Mapping[str, Path], told: Callable[[str], None]) -> Looker:
    """Look at scans in workers; those that cannot be read have no look. ``told`` hears each name."""

    def look(names: Sequence[str]) -> Mapping[str, Look]:
        futures = [(name, executor.submit(looks.look, paths[name], name)) for name in names]
        found = {}
        for name, future in futures:
            told(name)
            try:
                found[name] = future.result()
            except Exception:  # noqa: BLE001, S112  (it is set aside, with its reason, when it is taken in)
                continue
        return found

    return look


def _by_the_sheet(names: Sequence[str], stated: Mapping[str, Stated]) -> list[Group]:
    """Scans to which the caption sheet gives one number and two sides."""
    fronts: dict[str, str] = {}
    backs: dict[str, str] = {}
    for name in names:
        word = stated.get(name)
        if word is not None and word.reference:
            (backs if word.side is Side.VERSO else fronts).setdefault(word.reference, name)
    return [
        Group(fronts[reference], back, "the caption sheet says so", 1.0)
        for reference, back in backs.items()
        if reference in fronts
    ]


def _as_stated(groups: Sequence[Group], stated: Mapping[str, Stated]) -> list[Group]:
    """Groups in which no scan lies on another side than the caption sheet says."""
    out = []
    for group in groups:
        wrong = [
            name
            for name, side in ((group.recto, Side.RECTO), (group.verso, Side.VERSO))
            if name and name in stated and stated[name].side not in {None, side}
        ]
        if not wrong:
            out.append(group)
            continue
        for name in (group.recto, group.verso):
            if name and name in stated and stated[name].side is Side.VERSO:
                out.append(Group(None, name, "the caption sheet calls it a back", 1.0))
            elif name:
                out.append(Group(name, None, "", 1.0))
    return out


def _looked_at(groups: Sequence[Group], fresh: set[str], look: Looker) -> dict[str, Look]:
    doubtful, runs = open_questions(groups)
    seen = dict(look([name for name in doubtful if name in fresh]))
    for run in runs:
        new = [name for name in run if name in fresh]
        if len(new) < 2:
            continue
        sample = random.Random(len(new)).sample(new, min(SAMPLE, len(new)))  # noqa: S311  (no secret)
        first = look(sample)
        if any(one.back >= BACK for one in first.values()):
            seen |= {**first, **look([name for name in new if name not in first])}
    return seen


def _notes(groups: Sequence[Group], fresh: set[str]) -> list[str]:
    lone = [group.verso for group in groups if group.verso in fresh and group.recto is None and group.verso]
    apart = [group for group in groups if group.recto in fresh and group.verso is None and group.why]
    notes = [
        f"{name} is a back without a front: it has a number of its own, as the back of an original whose front is not "
        "here. When the front turns up, name it alike and take it in; it then joins that number."
        for name in lone[:_TOLD]
    ]
    if len(lone) > _TOLD:
        notes.append(f"So are {len(lone) - _TOLD} more: {', '.join(lone[_TOLD:])}.")
    notes += [f"{group.recto}: {group.why}." for group in apart[:_TOLD]]
    if len(apart) > _TOLD:
        notes.append(f"The same holds for {len(apart) - _TOLD} more scans that were left apart.")
    return notes

"""Which originals show the same picture: another print, a second scan. They are linked, never merged."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from concurrent.futures import Executor
from functools import partial
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.collection.catalogue import Catalogue
from surrogate.exporting import same_picture_note
from surrogate.intake import lookalike
from surrogate.intake.lookalike import Look, Signature
from surrogate.records import Kind, Side, Use
from surrogate.running import in_turn

_Pair = tuple[str, str]

#: Long edge at which two pictures are compared feature by feature.
LONG_EDGE_PX = 640

#: Kinds that are compared: text pages are all alike to a hash, and a target is no picture.
PICTURES = frozenset({Kind.COLOUR_PRINT, Kind.SILVER_PRINT, Kind.NEGATIVE, Kind.UNKNOWN})


def link(folder: Path, catalogue: Catalogue, executor: Executor, window: int) -> list[str]:
    """Compare the originals that have no signature yet with all others, by their viewing copies; returns notes.

    Pictures are looked at by workers, ``window`` calls at a time.
    """
    signatures = _signatures(catalogue)
    unseen = [row for row in catalogue.originals() if row.kind in PICTURES and row.reference not in signatures]
    files = {row.reference: _viewing_copy(folder, catalogue, row.reference) for row in unseen}
    looked_at = in_turn(executor, window, signature_of, [(file,) for file in files.values()])
    new = {reference: found for reference, found in zip(files, looked_at, strict=True) if found is not None}
    if not new:
        return []
    signatures |= new
    candidates = lookalike.candidates(signatures, set(new))
    pairs = _confirmed(folder, catalogue, candidates, set(new), partial(in_turn, executor, window))
    with catalogue.transaction():
        for reference, found in new.items():
            catalogue.put_signature(reference, json.dumps([found.windows, found.turns]))
        for one, other in pairs:
            catalogue.put_same_picture(one, other)
    return [same_picture_note(one, other) for one, other in pairs]


def signature_of(file: Path | None) -> Signature | None:
    """The signature of a viewing copy; None when there is none or it cannot be read. Runs in a worker."""
    picture = _grey(file)
    return None if picture is None else lookalike.signature(picture)


def _confirmed(
    folder: Path,
    catalogue: Catalogue,
    candidates: list[_Pair],
    new: set[str],
    ask: Callable[..., Iterator[list[bool] | None]],
) -> list[_Pair]:
    """The candidates that do show the same picture, in their order; those of one new picture go to one worker."""
    together: dict[str, list[_Pair]] = {}
    for pair in candidates:
        together.setdefault(pair[1] if pair[1] in new else pair[0], []).append(pair)
    calls = [
        ([(_viewing_copy(folder, catalogue, one), _viewing_copy(folder, catalogue, other)) for one, other in pairs],)
        for pairs in together.values()
    ]
    same: set[_Pair] = set()
    for pairs, answers in zip(together.values(), ask(are_same, calls), strict=True):
        same.update(pair for pair, answer in zip(pairs, answers or [False] * len(pairs), strict=True) if answer)
    return [pair for pair in candidates if pair in same]


def are_same(pairs: list[tuple[Path | None, Path | None]]) -> list[bool]:
    """Whether the two viewing copies of each pair show the same picture; looks once at each. Runs in a worker."""
    seen = {file: _look(file) for file in dict.fromkeys(file for pair in pairs for file in pair)}
    found = [(seen[one], seen[other]) for one, other in pairs]
    return [one is not None and other is not None and lookalike.agree(one, other) for one, other in found]


def _look(file: Path | None) -> Look | None:
    grey = _grey(file)
    return None if grey is None else lookalike.look(grey)


def _signatures(catalogue: Catalogue) -> dict[str, Signature]:
    known = {reference: json.loads(text) for reference, text in catalogue.signatures().items()}
    return {reference: Signature(tuple(windows), tuple(turns)) for reference, (windows, turns) in known.items()}


def _viewing_copy(folder: Path, catalogue: Catalogue, reference: str) -> Path | None:
    """The front's viewing copy; None for what is not compared."""
    row = catalogue.original(reference)
    if row is None or row.kind not in PICTURES:
        return None
    for each in catalogue.copies(reference):
        if each.copy.use is Use.VIEWING and each.copy.side is Side.RECTO and each.copy.part is None:
            return folder / each.copy.file
    return None


def _grey(file: Path | None) -> npt.NDArray[np.uint8] | None:
    """A viewing copy in grey, at most ``LONG_EDGE_PX`` long."""
    grey = None if file is None else cv2.imdecode(np.fromfile(file, np.uint8), cv2.IMREAD_GRAYSCALE)
    if grey is None:
        return None
    factor = min(1.0, LONG_EDGE_PX / max(grey.shape))
    small = cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    return np.asarray(small, dtype=np.uint8)

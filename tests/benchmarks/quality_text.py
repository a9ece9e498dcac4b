"""Character error of recognised text on the sample clippings: read on the scan, and on the reading copy.

Run: ``python tests/benchmarks/quality_text.py``. The truth is the text that the sample scans were printed from; what
did not fit on the page is not counted. Error: edit distance (Levenshtein) over the letters of the truth.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Sequence
from itertools import groupby
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from simulate import village

from surrogate.collection import listing
from surrogate.demonstrating import demo
from surrogate.handover import alto, text
from surrogate.records import Use

TRUTH = {
    "choir outing clipping.jpg": " ".join((*village.CLIPPING_HEAD, village.CLIPPING_DECK, village.CLIPPING_BODY)),
    "harvest show, newspaper.jpg": f"{village.SHOW_HEAD} {village.SHOW_CAPTION} {village.SHOW_BODY}",
}


def plain(said: str) -> str:
    """One line without paragraph marks and hyphens at line ends, blanks as one."""
    return " ".join(said.replace("¶", " ").replace("-\n", "").split())


def as_text(words: Sequence[alto.Word]) -> str:
    """Recognised words as lines."""
    lines = groupby(words, key=lambda word: word.line)
    return "\n".join(" ".join(word.text for word in line) for _, line in lines)


def character_error(read: str, truth: str) -> float:
    """Edit distance to that beginning of the truth which fits best, per letter of it."""
    above = list(range(len(truth) + 1))
    for n, letter in enumerate(read, start=1):
        row = [n]
        for m, wanted in enumerate(truth, start=1):
            row.append(min(above[m] + 1, row[-1] + 1, above[m - 1] + (letter != wanted)))
        above = row
    best = min(range(1, len(truth) + 1), key=lambda m: above[m] / m)
    return above[best] / best


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name, "demo")
        demo(folder, workers=1)
        print(f"{'clipping':32} {'scan':>8} {'reading copy':>14}")
        for original in listing.read(folder).originals:
            master = original.masters[0]
            truth = TRUTH.get(Path(master.scanned_as).name)
            if truth is None:
                continue
            reading = next(copy for copy in original.copies if copy.use is Use.READING)
            errors = [
                character_error(plain(as_text(text.recognise(folder / file))), plain(truth))
                for file in (master.file, reading.file)
            ]
            print(f"{Path(master.scanned_as).name:32} {errors[0]:8.1%} {errors[1]:14.1%}")


if __name__ == "__main__":
    main()

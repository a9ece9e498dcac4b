"""Text of clippings, documents and typed backs: recognised with Tesseract where it is installed, corrected by people.

``texts/GROUP/NAME_r.xml`` holds what was recognised, with places and confidences. Whoever corrects it writes the whole
text into ``texts/GROUP/NAME_r.txt``; that text then wins everywhere, and recognition never overwrites it.
"""

from __future__ import annotations

import csv
import io
import os
import shutil
import subprocess
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cache
from itertools import groupby
from pathlib import Path

from surrogate.collection import paths
from surrogate.collection.files import replacing
from surrogate.collection.numbering import group_of
from surrogate.errors import SurrogateError, WrongUse
from surrogate.handover import alto
from surrogate.handover.corrections import places
from surrogate.records import Copy, Kind, Side, Text, Use

#: Kinds that are read on both sides; of all others only the back is.
READ = frozenset({Kind.CLIPPING, Kind.DOCUMENT})

#: Lines below this mean confidence are kept in the file but not shown or searched. On the handwritten sample letter and
#: pencilled back, the one line of nonsense lies at 0.40, 16 of the 17 others at 0.67 or more (measured).
LEGIBLE = 0.5

#: Seconds after which recognition of one page is given up.
_PATIENCE_S = 300

_WORD_LEVEL = "5"


@dataclass(frozen=True)
class Line:
    """One line of text; ``box`` is left, top, width, height as shares of the picture, or None when not known."""

    text: str
    box: tuple[float, float, float, float] | None

    def with_text(self, text: str) -> Line:
        """The same line with other words."""
        return replace(self, text=text)


@cache
def tesseract_version() -> str | None:
    """Version of the installed Tesseract, or None."""
    if shutil.which("tesseract") is None:
        return None
    shown = subprocess.run(["tesseract", "--version"], capture_output=True, text=True, check=False)
    words = (shown.stdout or shown.stderr).split()
    return words[1] if len(words) > 1 else ""


@cache
def languages() -> frozenset[str]:
    """Languages that the installed Tesseract reads, by its own three-letter codes."""
    if tesseract_version() is None:
        return frozenset()
    shown = subprocess.run(["tesseract", "--list-langs"], capture_output=True, text=True, check=False)
    return frozenset(shown.stdout.split("\n")[1:]) - {"", "osd"}


def check_language(language: str) -> None:
    """Raise :class:`WrongUse` when an installed Tesseract does not know ``language`` (``eng`` or ``deu+eng``)."""
    if tesseract_version() is None:
        return
    missing = [code for code in language.split("+") if code not in languages()]
    if missing:
        raise WrongUse(
            f"Tesseract has no data for the language {missing[0]!r}; it reads {', '.join(sorted(languages()))}. "
            f"Install tesseract-ocr-{missing[0]}, or name another language in collection.toml."
        )


def text_file(reference: str, side: Side) -> str:
    """Path of the recognised text of one side."""
    return f"texts/{group_of(reference)}/{paths.stem(reference, side)}.xml"


def copy_to_read(kind: Kind, copies: Iterable[Copy], side: Side) -> Copy | None:
    """The copy of one side to recognise text on, or None when this side is not read."""
    if kind not in READ and side is Side.RECTO:
        return None
    of_side = [copy for copy in copies if copy.side is side and copy.part is None]
    return next((copy for use in (Use.READING, Use.VIEWING) for copy in of_side if copy.use is use), None)


class NotRecognised(SurrogateError):
    """Tesseract could not read one picture. Nothing else is lost by it."""


def recognise(picture: Path, language: str = "eng") -> tuple[alto.Word, ...]:
    """The words that Tesseract reads on a picture. It must be installed; nothing legible gives no words.

    Raises :class:`NotRecognised`.
    """
    try:
        done = subprocess.run(
            ["tesseract", str(picture), "stdout", "-l", language, "--dpi", "300", "tsv"],
            capture_output=True,
            timeout=_PATIENCE_S,
            check=True,
            env=os.environ | {"OMP_THREAD_LIMIT": "1"},
        )
    except subprocess.SubprocessError as error:
        raise NotRecognised(
            f"The text on {picture.name} could not be recognised: Tesseract failed. "
            "Type it into the captions, or try again with the same command."
        ) from error
    rows = csv.DictReader(io.StringIO(done.stdout.decode("utf-8")), delimiter="\t", quoting=csv.QUOTE_NONE)
    words = []
    lines: dict[tuple[str, str, str], int] = {}
    blocks: dict[str, int] = {}
    for row in rows:
        if row["level"] != _WORD_LEVEL or not row["text"].strip():
            continue
        block = blocks.setdefault(row["block_num"], len(blocks) + 1)
        line = lines.setdefault((row["block_num"], row["par_num"], row["line_num"]), len(lines) + 1)
        box = (int(row["left"]), int(row["top"]), int(row["width"]), int(row["height"]))
        words.append(alto.Word(row["text"].strip(), box, max(0.0, float(row["conf"])) / 100, block, line))
    return tuple(words)


def pending(collection: Path, reference: str, kind: Kind, copies: Sequence[Copy]) -> list[Copy]:
    """Copies of one original whose text is not recognised yet, or was on a copy that has changed since."""
    waiting = []
    for side in Side:
        copy = copy_to_read(kind, copies, side)
        page = alto.read_if_whole(collection / text_file(reference, side))
        if copy is not None and (page is None or page.sha256 != copy.sha256):
            waiting.append(copy)
    return waiting


def refresh(collection: Path, reference: str, kind: Kind, copies: Sequence[Copy], language: str = "eng") -> list[Text]:
    """Recognise what is pending of one original; returns all its texts.

    Without Tesseract what was recognised before is returned. Raises :class:`NotRecognised` when Tesseract fails.
    """
    version = tesseract_version()
    for copy in pending(collection, reference, kind, copies) if version is not None else ():
        words = recognise(collection / copy.file, language)
        page = alto.Page(copy.file, copy.sha256, copy.width, copy.height, language, f"tesseract {version}", words)
        with replacing(collection / text_file(reference, copy.side)) as stream:
            alto.write(stream, page)
    return found(collection, reference)


def refresh_all(
    collection: Path, originals: Iterable[tuple[str, Kind, Sequence[Copy]]], language: str, workers: int
) -> list[str]:
    """Recognise what is pending of all originals (reference, kind, copies); returns a sentence for each failure.

    Raises :class:`WrongUse` when Tesseract does not know the language.
    """
    if tesseract_version() is None:
        return []
    check_language(language)

    def one(original: tuple[str, Kind, Sequence[Copy]]) -> str:
        try:
            refresh(collection, *original, language)
        except NotRecognised as failure:
            return f"{original[0]}: {failure}"
        return ""

    waiting = (original for original in originals if pending(collection, *original))
    with ThreadPoolExecutor(max_workers=workers) as pool:  # each only waits for a process of Tesseract's
        return [note for note in pool.map(one, waiting) if note]


def found(collection: Path, reference: str) -> list[Text]:
    """The texts of one original that lie in the collection: recognised, or only written by people.

    Pages on which no word was recognised and none was written are left out.
    """
    texts = []
    for side in Side:
        file = text_file(reference, side)
        page = alto.read_if_whole(collection / file)
        if page is not None and page.words:
            texts.append(Text(side=side, file=file, language=page.language, mean_confidence=page.mean_confidence))
        elif (collection / corrected(file)).is_file():
            texts.append(Text(side=side, file=corrected(file), language="", mean_confidence=None))
    return texts


def _recognised_lines(page: alto.Page) -> list[Line]:
    lines = []
    for _, in_line in groupby(page.words, key=lambda word: word.line):
        words = list(in_line)
        letters = sum(len(word.text) for word in words)
        if sum(word.confidence * len(word.text) for word in words) < LEGIBLE * letters:
            continue
        left, top, width, height = alto.hull([word.box for word in words])
        box = (left / page.width, top / page.height, width / page.width, height / page.height)
        lines.append(Line(" ".join(word.text for word in words), box))
    return lines


def corrected(file: str) -> str:
    """Path of the text that people wrote, by the path of the recognised text or of that text itself."""
    return f"{file.rpartition('.')[0]}.txt"


def lines_of(collection: Path, file: str) -> list[Line]:
    """The text of one side by its file: what people wrote, else the legible recognised lines.

    What people wrote takes the places of the recognised lines that it replaces (:mod:`.corrections`).
    """
    recognised = alto.read_if_whole(collection / f"{file.rpartition('.')[0]}.xml")
    lines = [] if recognised is None else _recognised_lines(recognised)
    correction = collection / corrected(file)
    if not correction.is_file():
        return lines
    written = [text.strip() for text in correction.read_text("utf-8-sig").splitlines() if text.strip()]
    placed = places([(line.text, line.box) for line in lines], written)
    return [Line(text, box) for text, box in zip(written, placed, strict=True)]

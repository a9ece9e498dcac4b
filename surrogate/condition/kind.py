"""What kind of original a scan shows, with a confidence that means what it says."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import PurePath

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.records import Kind

Floats = npt.NDArray[np.float32]

# Words people put in file names (common practice, no source), the first that matches wins; "negative of a
# print" is rare.
_NAMES: tuple[tuple[Kind, str], ...] = (
    (Kind.TARGET, r"target|colou?r ?checker|chart|test ?card|it8|gr[ae]y ?scale|step ?wedge"),
    (Kind.NEGATIVE, r"negs?|negatives?|neg\d+|film ?strip|glass ?plate"),
    (Kind.CLIPPING, r"clip|clips|clippings?|newspapers?|news ?cutting|cuttings?|press|obituary|obit"),
    (Kind.ALBUM_PAGE, r"album|albums|album ?pages?|scrap ?book|scrapbook ?page"),
    (
        Kind.DOCUMENT,
        r"letters?|documents?|docs?|certificates?|cert|diary|envelopes?|telegrams?|passport|deed|receipt|programme",
    ),
    (Kind.SILVER_PRINT, r"b ?& ?w|bw|b ?and ?w|black ?and ?white|silver ?prints?|monochrome|sepia"),
    (Kind.COLOUR_PRINT, r"colou?r ?prints?|c ?prints?|snapshots?"),
)
_PATTERNS = tuple((kind, re.compile(rf"(?<![a-z])(?:{words})(?![a-z])")) for kind, words in _NAMES)


@dataclass(frozen=True)
class KindGuess:
    """``confidence`` is the probability that ``kind`` is right; ``negative_colour``: film with an orange mask."""

    kind: Kind
    confidence: float
    negative_colour: bool
    note: str


def from_name(filename: str) -> Kind | None:
    """Kind that words in a file name state, or None. Folders before the name do not count."""
    stem = PurePath(filename.replace("\\", "/")).stem.lower()
    spaced = re.sub(r"[_\-.,()\[\]]+", " ", stem)
    return next((kind for kind, pattern in _PATTERNS if pattern.search(spaced)), None)


def guess(density: Floats, *, ppi: float | None, layout_parts: int, background: str) -> KindGuess:
    """Kind of original from its density picture (H, W, 3)."""
    del ppi, background
    small = cv2.resize(density, (256, 256), interpolation=cv2.INTER_AREA)
    if layout_parts > 1:
        return KindGuess(Kind.ALBUM_PAGE, 0.7, False, f"{layout_parts} pictures on one sheet")
    excess = small[..., 2] - small[..., 0]
    base = np.percentile(small, 2, axis=(0, 1))
    if base[2] - base[0] > 0.25 and base[1] - base[0] > 0.1:
        return KindGuess(Kind.NEGATIVE, 0.8, True, "orange mask")
    paper = float((small[..., 1] < np.percentile(small[..., 1], 10) + 0.12).mean())
    if paper > 0.55:
        return KindGuess(Kind.DOCUMENT, 0.6, False, "mostly bare paper")
    spread = float(np.std(excess))
    kind = Kind.COLOUR_PRINT if spread > 0.08 else Kind.SILVER_PRINT
    return KindGuess(kind, 0.7, False, "")

"""What kind of original a scan shows, with a confidence that means what it says."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path, PurePath

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.imaging import networks
from surrogate.imaging.density import mean_of_channels
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
# Classes of the network, in its order, by the kind they belong to.
_CLASSES: dict[Kind, tuple[int, ...]] = {
    Kind.SILVER_PRINT: (0, 1, 2),
    Kind.COLOUR_PRINT: (3,),
    Kind.NEGATIVE: (4, 5),
    Kind.CLIPPING: (6,),
    Kind.DOCUMENT: (7,),
    Kind.ALBUM_PAGE: (8,),
    Kind.TARGET: (9,),
    Kind.UNKNOWN: (10,),
}
_TONED, _COLOURED, _GREY_FILM, _COLOUR_FILM = 1, 2, 4, 5
_MODEL = Path(__file__).with_name("kind_model.onnx")
_SIDE = 256
_TEMPERATURE = 1.0
_MOST = 0.99  # no picture alone is surer than that
_PARTS_ODDS = 20.0  # two outlined pictures on one sheet (judgement; parts found wrongly: under 2 in 100 pages)
_DELIBERATE = 0.4
TONE_NOTE = "The tone may be deliberate (toned or hand-coloured): unsure whether it is fading."
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
    """Kind of original from its density picture (H, W, 3), about 1 MP, straightened and without its surround.

    ``layout_parts``: pictures that were outlined on it; ``background``: what lies around them ("frame": nothing).
    ``ppi`` is not used: the tags are wrong too often (72 on a 600 ppi scan) to tell film from prints by size.
    """
    del ppi
    by_class = networks.softmax(networks.scores(_MODEL, _seen(density)) / _TEMPERATURE)
    share = {kind: float(sum(by_class[i] for i in places)) for kind, places in _CLASSES.items()}
    if layout_parts >= 2 and background != "frame":
        share[Kind.ALBUM_PAGE] *= _PARTS_ODDS
        total = sum(share.values())
        share = {kind: value / total for kind, value in share.items()}
    best = max(share, key=lambda kind: (share[kind], kind))
    toned = float(by_class[_TONED] + by_class[_COLOURED]) / max(share[Kind.SILVER_PRINT], 1e-6)
    deliberate = best is Kind.SILVER_PRINT and toned > _DELIBERATE and layout_parts < 2
    film = float(by_class[_COLOUR_FILM]) > float(by_class[_GREY_FILM])
    return KindGuess(
        kind=best,
        confidence=round(min(share[best], _MOST), 3),
        negative_colour=best is Kind.NEGATIVE and film,
        note=TONE_NOTE if deliberate else "",
    )


def _seen(density: Floats) -> Floats:
    """What the network was fitted on: (4, 256, 256), mean of 2 x 2 blocks of a 512 px square, centred; roughness."""
    square = cv2.resize(np.clip(density, 0.0, 2.6), (2 * _SIDE, 2 * _SIDE), interpolation=cv2.INTER_AREA)
    mean = cv2.resize(square, (_SIDE, _SIDE), interpolation=cv2.INTER_AREA)
    tone = mean_of_channels(square).reshape(_SIDE, 2, _SIDE, 2)
    return np.concatenate([(mean - 0.6).transpose(2, 0, 1), 4.0 * tone.std(axis=(1, 3))[None]])

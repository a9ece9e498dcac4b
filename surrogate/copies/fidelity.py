"""Proof, measured on the copy, that it stayed true to its scan."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import numpy.typing as npt

from surrogate.imaging.density import Pixels
from surrogate.records import Fidelity
from surrogate.recovery.play import play_density
from surrogate.recovery.recipe import Curves, Matrix, Step

#: Side of the window in which structure is compared: that of the structural similarity index (Wang et al. 2004).
_WINDOW = 11

#: A viewing copy keeps at least this structure, and clips at most this share of the picture (judgement: of the sample
#: scans' viewing copies none is below 0.978 or clips more than 0.003, so that beyond these something is wrong).
LEAST_STRUCTURE, MOST_CLIPPED = 0.93, 0.02
#: It raises contrast at most so many times: plans stop at 5 (silver) or 8 in the lights (colour), thin negatives come
#: to 8.7; of the sample scans' viewing copies none reaches 3.
MOST_GAIN = 10.0


def faults(found: Fidelity) -> str:
    """What makes a viewing copy unfit to be kept, in words; empty when nothing does."""
    said = []
    for share, what in ((found.clipped_black, "black"), (found.clipped_white, "white")):
        if share > MOST_CLIPPED:
            said.append(f"turn {100 * share:.1f} % of the picture plain {what}")
    if found.structure < LEAST_STRUCTURE:
        said.append(f"keep only {100 * found.structure:.0f} % of its structure")
    if found.largest_gain > MOST_GAIN:
        said.append(f"raise contrast {found.largest_gain:.1f} times")
    return " and ".join(said)


def measure(before: Pixels, after: npt.NDArray[np.uint8], steps: Sequence[Step]) -> Fidelity:
    """Compare a copy with the scan it was made from, both (H, W, 3) of the same size.

    ``structure`` is the structure term of the structural similarity index (Wang, Bovik, Sheikh, Simoncelli 2004):
    the correlation of both pictures in small windows, blind to changes of tone and contrast, weighted by how much
    there is to see in the window. A negative turned into a positive counts by its absolute value.
    """
    if not steps:
        return Fidelity(clipped_black=0.0, clipped_white=0.0, largest_gain=1.0, structure=1.0)
    first, second = _small(before), _small(after)
    top = 255.0
    black = float(np.mean((_over_channels(np.minimum, second) <= 0) & (_over_channels(np.minimum, first) > 0)))
    white = float(np.mean((_over_channels(np.maximum, second) >= top) & (_over_channels(np.maximum, first) < top)))
    return Fidelity(
        clipped_black=round(black, 5),
        clipped_white=round(white, 5),
        largest_gain=round(_largest_gain(steps), 3),
        structure=round(_structure(first, second), 4),
    )


def _over_channels(choose: np.ufunc, pixels: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """The least or largest of three channels; twenty times as fast as numpy's own along so short an axis."""
    return np.asarray(choose(choose(pixels[..., 0], pixels[..., 1]), pixels[..., 2]))


def _small(pixels: Pixels) -> npt.NDArray[np.float32]:
    """At most 640 px long, as floats 0-255: structure is judged at the size it is looked at on a page."""
    factor = min(1.0, 640 / max(pixels.shape[:2]))
    size = (max(1, round(pixels.shape[1] * factor)), max(1, round(pixels.shape[0] * factor)))
    small = cv2.resize(pixels, size, interpolation=cv2.INTER_NEAREST)
    return np.asarray(small, dtype=np.float32) / np.float32(1.0 if pixels.dtype == np.uint8 else 257.0)


def _structure(first: npt.NDArray[np.float32], second: npt.NDArray[np.float32]) -> float:
    one = cv2.cvtColor(first, cv2.COLOR_RGB2GRAY)
    two = cv2.cvtColor(second, cv2.COLOR_RGB2GRAY)
    window = (_WINDOW, _WINDOW)
    mean_one, mean_two = cv2.blur(one, window), cv2.blur(two, window)
    var_one = np.maximum(cv2.blur(one * one, window) - mean_one**2, 0)
    var_two = np.maximum(cv2.blur(two * two, window) - mean_two**2, 0)
    shared = cv2.blur(one * two, window) - mean_one * mean_two
    # the index's own constant C2 / 2 keeps flat windows from counting noise (K2 = 0.03, L = 255)
    calm = (0.03 * 255) ** 2 / 2
    similar = (np.abs(shared) + calm) / (np.sqrt(var_one * var_two) + calm)
    weight = var_one + 1e-3
    return float(np.clip((similar * weight).sum() / weight.sum(), 0.0, 1.0))


def _largest_gain(steps: Sequence[Step]) -> float:
    """Largest slope of output against input density along the grey axis, over densities 0 to 2.5."""
    grey = np.repeat(np.linspace(0, 2.5, 126, dtype=np.float32)[None, :, None], 3, axis=2)
    out = play_density([step for step in steps if isinstance(step, Curves | Matrix)], grey)
    return float(np.abs(np.diff(out, axis=1)).max() / (2.5 / 125))

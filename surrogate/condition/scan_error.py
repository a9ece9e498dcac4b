"""What the scan itself adds to the uncertainty of a loss: no profile, clipped ends, eight bits.

The share of a density that is left is measured between the base and the picture's tones. A wrong tone curve stretches
that range, a clipped end hides part of it, coarse codes blur its dark end; each is a share of the range, and with it of
what is left: u = (1 - loss) * share. Independent errors add as squares (JCGM 100:2008, 5.1.2).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from surrogate.imaging.density import FLOOR_DENSITY, density_table, to_srgb
from surrogate.records import Fade, Triple

Floats = npt.NDArray[np.float32]

#: A tone curve that nothing states: gamma 2.1 or 2.3 taken for 2.2 stretches densities by a twentieth (judgement).
NO_PROFILE = 0.05

#: Density that may lie unseen beyond a clipped end: flare and noise end prints' scales within it (judgement).
BEYOND_CLIPPED = 0.05

#: Share of pixels at the end of a channel from which it counts as clipped: more than dust and highlights of edges.
CLIPPED_FROM = 0.005

#: Picture of less range than this has no share of it worth stating.
_LEAST_RANGE = 0.1


def widened(fade: Fade, density: Floats, *, profile: str, bits: int) -> Fade:
    """The same finding with the scan's own error in ``uncertainty`` and, where it matters, in the note.

    ``density`` is the (H, W, 3) picture that was measured, ``profile`` as :class:`surrogate.imaging.read.Raster` names
    it, ``bits`` those of the scan's channels. What was not measurable stays so.
    """
    if fade.density_loss is None or fade.uncertainty is None or fade.density_min is None or fade.density_max is None:
        return fade
    unstated = profile == "sRGB assumed" or profile.endswith("without a profile")
    clipped = [_clipped_ends(density[::3, ::3, channel]) for channel in range(3)]
    found = []
    for channel in range(3):
        reach = max(fade.density_max[channel] - fade.density_min[channel], _LEAST_RANGE)
        parts = [
            NO_PROFILE if unstated else 0.0,
            BEYOND_CLIPPED / reach * clipped[channel],
            _step(fade.density_max[channel], bits) / np.sqrt(12) / reach,  # uniform within a code
        ]
        left = 1 - fade.density_loss[channel]
        found.append(round(float(np.hypot(fade.uncertainty[channel], left * np.linalg.norm(parts))), 4))
    said = [fade.note]
    if unstated:
        said.append("the scan states no colour profile, which widens the interval")
    if any(clipped):
        said.append("the scan is clipped, which widens the interval")
    spread: Triple = (found[0], found[1], found[2])
    return fade.model_copy(update={"uncertainty": spread, "note": "; ".join(filter(None, said))})


def _clipped_ends(channel: Floats) -> int:
    """How many of the two ends of a channel, (H, W) density, hold more than a few pixels."""
    return sum(float((channel == end).mean()) > CLIPPED_FROM for end in (0.0, FLOOR_DENSITY))


def _step(density: float, bits: int) -> float:
    """How far apart in density two neighbouring sRGB codes lie at a density."""
    depth = 8 if bits <= 8 else 16
    table = density_table(depth)
    code = int(np.clip(to_srgb(np.array([density]), depth)[0], 1, len(table) - 2))
    return float(table[code - 1] - table[code + 1]) / 2

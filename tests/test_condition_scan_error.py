"""The scan's own error stands in the uncertainty of a loss."""

import numpy as np
import pytest

from surrogate.condition import scan_error
from surrogate.records import Fade, Grade

PICTURE = np.random.default_rng(2).uniform(0.1, 1.6, (90, 120, 3)).astype(np.float32)
FOUND = Fade(grade=Grade.SLIGHT, density_min=(0.1,) * 3, density_max=(1.6,) * 3, density_loss=(0.2, 0.1, 0.0),
             uncertainty=(0.03, 0.04, 0.05), note="white border at left")  # fmt: skip


def test_a_good_scan_adds_next_to_nothing() -> None:
    found = scan_error.widened(FOUND, PICTURE, profile="Adobe RGB (1998)", bits=16)
    assert found.uncertainty == FOUND.uncertainty
    assert found.note == FOUND.note


def test_a_missing_profile_adds_its_share_of_what_is_left_as_squares() -> None:
    # JCGM 100:2008, 5.1.2: independent parts add as squares
    found = scan_error.widened(FOUND, PICTURE, profile="sRGB assumed", bits=16)
    wanted = [np.hypot(u, (1 - loss) * 0.05) for u, loss in zip((0.03, 0.04, 0.05), (0.2, 0.1, 0.0), strict=True)]
    assert found.uncertainty == pytest.approx(wanted, abs=1e-4)
    assert "no colour profile" in found.note


def test_clipped_channels_are_less_sure_than_others() -> None:
    clipped = PICTURE.copy()
    clipped[:, :10, 0] = 0.0
    found = scan_error.widened(FOUND, clipped, profile="sRGB IEC61966-2.1", bits=16)
    assert found.uncertainty is not None
    assert found.uncertainty[0] > 0.03
    assert found.uncertainty[1:] == FOUND.uncertainty[1:]
    assert "clipped" in found.note


def test_eight_bits_blur_dark_ends() -> None:
    # IEC 61966-2-1: at D 2.2 (R 0.0063) code 18 of 255 is 0.00605 and code 19 is 0.00651: 0.032 apart in density
    dark = FOUND.model_copy(update={"density_max": (2.2,) * 3, "uncertainty": (0.001,) * 3})
    eight, sixteen = (scan_error.widened(dark, PICTURE, profile="sRGB", bits=bits).uncertainty for bits in (8, 16))
    assert eight is not None
    assert sixteen == (0.001, 0.001, 0.001)
    assert eight[2] == pytest.approx(np.hypot(0.001, 0.032 / np.sqrt(12) / 2.1), abs=3e-4)


def test_what_was_not_measurable_stays_so() -> None:
    none = Fade(grade=Grade.NOT_MEASURABLE, density_min=None, density_max=None, density_loss=None, uncertainty=None)
    assert scan_error.widened(none, PICTURE, profile="sRGB assumed", bits=8) == none

"""The same picture twice: hashes by their published definition, geometry on real pictures."""

import cv2
import numpy as np
import pytest
from scipy.fft import dctn
from skimage import data

from surrogate.intake.lookalike import MOST_CANDIDATES, candidates, confirm, hash_of, signature


def grey(picture):
    return cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY) if picture.ndim == 3 else picture


PICTURES = {"astronaut": grey(data.astronaut()), "camera": data.camera(), "coffee": grey(data.coffee())}


def second_scan(picture, quarter):
    """Cropped, faded, brighter, turned."""
    h, w = picture.shape
    part = picture[int(0.05 * h) : int(0.97 * h), int(0.02 * w) : int(0.94 * w)] / 255.0
    faded = 0.55 * part**0.8 + 0.35
    return np.ascontiguousarray(np.rot90(np.round(faded * 255).astype(np.uint8), quarter))


def test_the_hash_is_the_published_one():
    # Signs of the 8 x 8 lowest frequencies of the cosine transform of a 32 x 32 picture against their median
    # (Zauner 2010, from memory), with SciPy's transform instead of OpenCV's.
    small = np.random.default_rng(1).integers(0, 256, (32, 32), dtype=np.uint8)
    low = dctn(small.astype(float), type=2, norm="ortho")[:8, :8].ravel()
    expected = int("".join("1" if value > np.median(low) else "0" for value in low), 2)
    assert hash_of(small) == expected


@pytest.mark.parametrize("quarter", range(4))
def test_a_second_scan_is_found_and_confirmed(quarter):
    pictures = PICTURES | {f"{name} again": second_scan(one, quarter) for name, one in PICTURES.items()}
    pairs = candidates({name: signature(one) for name, one in pictures.items()})
    confirmed = {pair for pair in pairs if confirm(pictures[pair[0]], pictures[pair[1]])}
    assert confirmed == {(name, f"{name} again") for name in PICTURES}


def test_different_pictures_are_not_confirmed():
    names = sorted(PICTURES)
    assert not any(confirm(PICTURES[a], PICTURES[b]) for a in names for b in names if a < b)


def test_another_sitter_before_the_same_backdrop_is_another_picture():
    backdrop, sitter = PICTURES["coffee"], cv2.resize(PICTURES["astronaut"], PICTURES["coffee"].shape[::-1])
    mask = np.zeros(backdrop.shape, np.uint8)
    cv2.ellipse(mask, (300, 260), (160, 190), 0, 0, 360, 1, -1)
    assert confirm(backdrop, second_scan(backdrop, 0))
    assert not confirm(backdrop, second_scan(np.where(mask > 0, sitter, backdrop), 0))


def test_bare_paper_is_no_picture():
    blank = np.full((300, 200), 230, np.uint8)
    assert not confirm(blank, blank)
    assert candidates({}) == []
    assert candidates({"one": signature(blank)}) == []


def test_only_the_new_are_compared():
    signatures = {name: signature(one) for name, one in PICTURES.items()}
    signatures["camera again"] = signature(second_scan(PICTURES["camera"], 0))
    assert ("camera", "camera again") in candidates(signatures, {"camera again"})
    assert candidates(signatures, set()) == []


def test_a_run_broken_off_compares_the_same_pairs():
    camera, rng = PICTURES["camera"], np.random.default_rng(3)
    many = {
        f"P{place}": signature(np.clip(camera + rng.normal(0, 12, camera.shape), 0, 255).astype(np.uint8))
        for place in range(1, 3 * MOST_CANDIDATES)
    }
    at_once = set(candidates(many))
    assert len(at_once) < len(many) * MOST_CANDIDATES
    names, resumed = list(many), set()
    for start, end in ((0, 5), (5, 6), (6, 17), (17, len(names))):
        there = {name: many[name] for name in names[:end]}
        resumed |= set(candidates(there, set(names[start:end])))
    assert resumed == at_once


def test_a_number_given_by_hand_before_the_others_is_compared_with_them():
    signatures = {"P5": signature(PICTURES["camera"]), "P2": signature(second_scan(PICTURES["camera"], 1))}
    assert candidates(signatures, {"P2"}) == [("P2", "P5")]

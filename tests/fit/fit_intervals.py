"""Set the width of the estimator's intervals: `python tests/fit/fit_intervals.py PHOTOGRAPHS [--draws 6]`.

Runs the program's own estimator on photographs and on an ageing (tests/benchmarks/plain_ageing.py) that the fit did
not see, and writes into its weights the factors that make each 68 % interval hold 68 %: without and with border, at
four amounts of estimated loss, for each of six numbers.
"""

import argparse
import sys
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from surrogate.condition import fade_colour, fade_network
from surrogate.imaging.density import to_density
from tests.benchmarks import plain_ageing
from tests.fit.parts import split
from tests.simulate import LEVELS
from tests.simulate.tone import decode_srgb, encode_srgb

WEIGHTS = Path(__file__).resolve().parents[2] / "surrogate/condition/fade_model.npz"
EDGES = (-1.0, 0.03, 0.15, 0.36, 2.0)
#: Fewest prints from which a factor is read; with fewer the neighbour's is kept.
FEWEST = 40


def scan_of(
    light: np.ndarray, level: str, border: bool, rng: np.random.Generator
) -> tuple[np.ndarray, plain_ageing.Ageing]:
    """8-bit scan of one aged print, and what happened to it."""
    edge = round(0.05 * max(light.shape)) if border else 0
    framed = np.ones((light.shape[0] + 2 * edge, light.shape[1] + 2 * edge, 3), np.float32)
    framed[edge : edge + light.shape[0], edge : edge + light.shape[1]] = light
    happened = plain_ageing.sample(rng, level)
    seen = plain_ageing.scan(plain_ageing.age(framed, happened), happened, rng)
    return np.round(encode_srgb(seen) * 255).astype(np.uint8), happened


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("photographs", type=Path)
    parser.add_argument("--draws", type=int, default=6)
    chosen = parser.parse_args()
    rng = np.random.default_rng(11)
    fade_network.weights()["intervals"] = np.ones((2, 4, 6), np.float32)
    rows = []
    for name in sorted(split(chosen.photographs / "index.tsv")["interval"]):
        codes = cv2.imread(str(chosen.photographs / name))[:, :, ::-1]
        light = decode_srgb(
            cv2.resize(codes, None, fx=0.6, fy=0.6, interpolation=cv2.INTER_AREA).astype(np.float32) / 255
        )
        for draw in range(chosen.draws):
            border = draw % 2 == 1
            scan, happened = scan_of(light, LEVELS[int(rng.integers(4))], border, rng)
            e = fade_colour.estimate(to_density(scan))
            found = "no white border: the base is judged from the lightest tones" not in e.evidence
            error = np.concatenate(
                [np.log(e.dye_share) - np.log(happened.share), np.subtract(e.base_density, happened.base)]
            )
            rows.append([border, found, 1 - np.mean(e.dye_share), *(np.abs(error) / np.sqrt(np.diag(e.covariance)))])
    data = np.array(rows)
    found = [data[data[:, 0] == flag, 1].mean() for flag in (1, 0)]
    print(f"border found where there is one {found[0]:.3f}, where there is none {found[1]:.3f}")
    table = np.ones((2, 4, 6), np.float32)
    for flag in (0, 1):
        for row in range(4):
            inside = (data[:, 1] == flag) & (data[:, 2] > EDGES[row]) & (data[:, 2] <= EDGES[row + 1])
            enough = inside.sum() >= FEWEST
            table[flag, row] = np.quantile(data[inside, 3:], 0.6827, axis=0) if enough else table[flag, max(row - 1, 0)]
    # half of the print-to-print scatter of these factors is chance: pull each towards the mean of its kind
    for kind in (slice(0, 3), slice(3, 6)):
        table[:, :, kind] = 0.5 * table[:, :, kind] + 0.5 * table[:, :, kind].mean(axis=2, keepdims=True)
    print(table.round(2))
    with np.load(WEIGHTS, allow_pickle=False) as stored:
        arrays = {k: stored[k] for k in stored.files}
    np.savez_compressed(WEIGHTS, **{**arrays, "intervals": table})


if __name__ == "__main__":
    main()

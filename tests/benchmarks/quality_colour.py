"""Colour prints: fade measured and undone on photographs and on an ageing that the fit never saw.

    python tests/benchmarks/quality_colour.py [PHOTOGRAPHS] [--lots N] [--each N] [--seed S]
        [--scanner good|ordinary] [--kept mixed|lossless|jpeg95] [--ageing spectral|plain]

PHOTOGRAPHS (or SURROGATE_PHOTOGRAPHS) holds the photographs and their `index.tsv`; only the part kept for reporting is
used (split by source, see tests/fit/parts.py). Prints are aged by tests/simulate, with spectral dyes, which the fit
never saw. A good scanner is one with a profile that holds to a hundredth of density; an ordinary one adds casts, a
wrong tone curve and flare that no estimate can tell from the print. Intervals in brackets are 90 %, by bootstrap.
``--ageing plain`` takes the densitometric simulation of `plain_ageing.py` with its own scanner instead: the weights
never saw it either, but the width of the intervals was set on it (with other photographs).
"""

import argparse
import os
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from skimage.color import deltaE_ciede2000, rgb2lab

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from surrogate.condition import fade_colour
from surrogate.copies.fidelity import measure
from surrogate.imaging.density import to_density, to_srgb
from surrogate.recovery import colour_print
from surrogate.recovery.play import play_density
from tests.benchmarks import automatic, plain_ageing
from tests.fit.parts import split
from tests.simulate import LEVELS, scanner
from tests.simulate import colour_print as prints
from tests.simulate.spectra import DyeSet, Sensor, dye_amounts, seen, stain_curve
from tests.simulate.tone import decode_srgb, encode_srgb

LONG_EDGE_PX = 360
SUBSAMPLING = (cv2.IMWRITE_JPEG_SAMPLING_FACTOR, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444)
BORDER = 0.05
#: How scans were kept, lot by lot: 8 bits without loss, as JPEG of quality 98 or 95. On pictures this small JPEG alone
#: costs 0.4 to 0.7 CIEDE2000 that no recovery can take back (docs/fade-model.md).
KEPT: dict[str, tuple[int | None, ...]] = {"mixed": (None, 98, 95), "lossless": (None,), "jpeg95": (95,)}


@dataclass(frozen=True)
class Case:
    """One aged print: its scan, the print as it was, what is true of it."""

    scan: np.ndarray  # (H, W, 3) uint8 sRGB
    fresh: np.ndarray  # (H, W, 3) linear light
    loss: np.ndarray  # (3,) density lost at 1.0 above base, cyan magenta yellow
    base: np.ndarray  # (3,) density of base with stain, now
    inner: tuple[slice, slice]  # the picture without border


def _once(amounts: Callable[..., np.ndarray]) -> Callable[..., np.ndarray]:
    """The simulation's inversion of its dyes, which is the same table for each pair of dyes and sensor, made once."""
    kept: dict[tuple[str, str, int], np.ndarray] = {}

    def again(density: np.ndarray, dyes: DyeSet, sensor: Sensor) -> np.ndarray:
        key = (dyes.name, sensor.name, len(density))
        if key not in kept:
            kept[key] = amounts(density, dyes, sensor)
        return kept[key]

    return again


prints.dye_amounts = _once(dye_amounts)


def photographs(folder: Path, long_edge: int) -> list[np.ndarray]:
    """Linear pictures of the reporting part, long edge at most `long_edge`."""
    made = []
    for name in sorted(split(folder / "index.tsv")["report"]):
        codes = cv2.imread(str(folder / name))[:, :, ::-1]
        light = decode_srgb(codes.astype(np.float32) / 255)
        scale = long_edge / max(light.shape[:2])
        if scale < 1:
            size = (round(light.shape[1] * scale), round(light.shape[0] * scale))
            light = cv2.resize(light, size, interpolation=cv2.INTER_AREA)
        made.append(light)
    return made


def with_border(photo: np.ndarray, border: bool) -> tuple[np.ndarray, tuple[slice, slice]]:
    height, width = photo.shape[:2]
    edge = round(BORDER * max(height, width)) if border else 0
    framed = np.ones((height + 2 * edge, width + 2 * edge, 3), np.float32)
    inner = (slice(edge, edge + height), slice(edge, edge + width))
    framed[inner] = photo
    return framed, inner


def truth_of(original: prints.ColourPrint) -> tuple[np.ndarray, np.ndarray]:
    """Density lost by a neutral of 1.0 above base, per dye, and the base now, from the simulation's own parameters."""
    amounts = dye_amounts(np.ones((1, 3)), original.dyes, original.sensor)
    left = prints.fade(amounts, original.dark_share, original.light_dose)
    base = np.asarray(original.base_density) + seen(
        original.stain * stain_curve(original.stain_decay_nm), original.sensor
    )
    return 1 - (left / amounts)[0], base


def spectral(
    photo: np.ndarray, original: prints.ColourPrint, device: scanner.Scanner, border: bool, quality: int | None
) -> Case:
    """A print of the simulation that the fit never saw, as an 8-bit scan, through JPEG of a quality or not."""
    framed, inner = with_border(photo, border)
    fresh, now = prints.print_of(framed, original)
    loss, base = truth_of(original)
    return Case(kept_as(scanner.scan(now, device), quality), fresh, loss, base, inner)


def plain(
    photo: np.ndarray, happened: plain_ageing.Ageing, rng: np.random.Generator, border: bool, quality: int | None
) -> Case:
    """The same of the densitometric simulation."""
    framed, inner = with_border(photo, border)
    seen_by_scanner = plain_ageing.scan(plain_ageing.age(framed, happened), happened, rng)
    fresh = np.asarray(plain_ageing.fresh_print(framed, happened), np.float32)
    return Case(kept_as(seen_by_scanner, quality), fresh, 1 - happened.share, happened.base, inner)


def kept_as(scan: np.ndarray, quality: int | None) -> np.ndarray:
    """Linear light (H, W, 3) as 8-bit codes, through JPEG of a quality or not."""
    codes = np.round(encode_srgb(scan) * 255).astype(np.uint8)
    if quality is None:
        return codes
    ok, packed = cv2.imencode(".jpg", codes[:, :, ::-1], (cv2.IMWRITE_JPEG_QUALITY, quality, *SUBSAMPLING))
    assert ok
    return np.ascontiguousarray(cv2.imdecode(packed, cv2.IMREAD_COLOR)[:, :, ::-1])


def reduced(device: scanner.Scanner) -> scanner.Scanner:
    """The same scanner as a picture shows it that was reduced about eight times: its blur is below a pixel."""
    return replace(device, blur_px=0.05, read_noise=0.5 * device.read_noise, shot_noise=0.5 * device.shot_noise)


def good(device: scanner.Scanner) -> scanner.Scanner:
    """The same scanner with a profile: a quarter of its cast, tone error and flare."""
    return replace(
        device,
        flare=0.25 * device.flare,
        gain=tuple(1 + 0.25 * (g - 0.99) for g in device.gain),
        gamma=1 + 0.25 * (device.gamma - 1),
        falloff=0.25 * device.falloff,
    )


def difference(scan_density: np.ndarray, case: Case) -> float:
    """Mean CIEDE2000 of a recovered density (H, W, 3) to the print as it was, border left out."""
    return code_difference(to_srgb(scan_density[case.inner], 16).astype(np.float64) / 65535, case)


def code_difference(codes: np.ndarray, case: Case) -> float:
    """The same of the inner part's sRGB codes, 0..1."""
    wanted = encode_srgb(case.fresh[case.inner]).astype(np.float64)
    return float(deltaE_ciede2000(rgb2lab(codes), rgb2lab(wanted)).mean())


@dataclass(frozen=True)
class Score:
    """Figures of one print."""

    level: str
    nothing: float
    recovered: float
    loss_error: np.ndarray
    base_error: float
    inside: np.ndarray
    grade: str
    structure: float
    automatic: tuple[float, ...]  # CIEDE2000 of each of `automatic.COLOUR`


def score(level: str, case: Case, density: np.ndarray, e: fade_colour.FadeEstimate) -> Score:
    planned = colour_print.plan(density, e, 1.0)
    loss, spread, grade = fade_colour.density_loss(e)
    error = np.abs(np.array(loss) - case.loss)
    copy = play_density(planned.steps, density)
    return Score(
        level=level,
        nothing=difference(density, case),
        recovered=difference(copy, case),
        loss_error=error,
        base_error=float(np.median(np.abs(np.array(e.base_density) - case.base))),
        inside=error <= np.array(spread),
        grade=str(grade),
        structure=measure(case.scan[case.inner], to_srgb(copy[case.inner], 8), []).structure,
        automatic=tuple(
            code_difference(correct(case.scan)[case.inner] / 255.0, case) for correct in automatic.COLOUR.values()
        ),
    )


def lots(
    pictures: list[np.ndarray], seed: int, count: int, each: int, border: bool, ordinary: bool, kept: str
) -> Iterator[tuple[str, list[Case]]]:
    """`count` lots of `each` prints per level: one ageing and one scanner, many scenes."""
    rng = np.random.default_rng([seed, int(border)])
    for number in range(count):
        level = LEVELS[number % len(LEVELS)]
        original, device = prints.sample(rng, level), scanner.sample(rng)
        device = reduced(device if ordinary else good(device))
        chosen = rng.choice(len(pictures), each, replace=False)
        quality = KEPT[kept][number // len(LEVELS) % len(KEPT[kept])]
        yield (
            level,
            [
                spectral(
                    pictures[i],
                    replace(original, seed=original.seed + int(i)),
                    replace(device, seed=device.seed + int(i)),
                    border,
                    quality,
                )
                for i in chosen
            ],
        )


def plain_lots(
    pictures: list[np.ndarray], seed: int, count: int, each: int, border: bool, kept: str
) -> Iterator[tuple[str, list[Case]]]:
    """The same lots of the densitometric simulation."""
    rng = np.random.default_rng([seed, 2 + int(border)])
    for number in range(count):
        level = LEVELS[number % len(LEVELS)]
        happened = plain_ageing.sample(rng, level)
        chosen = rng.choice(len(pictures), each, replace=False)
        quality = KEPT[kept][number // len(LEVELS) % len(KEPT[kept])]
        yield level, [plain(pictures[i], happened, rng, border, quality) for i in chosen]


def interval(values: np.ndarray, statistic: object, rng: np.random.Generator) -> str:
    """A statistic with its 90 % bootstrap interval over prints."""
    again = [statistic(values[rng.integers(len(values), size=len(values))]) for _ in range(400)]
    low, high = np.quantile(again, [0.05, 0.95])
    return f"{statistic(values):5.2f} ({low:.2f}-{high:.2f})"


def table(title: str, scores: list[Score]) -> None:
    rng = np.random.default_rng(0)
    print(f"\n{title}: CIEDE2000 nothing | recovered | 90th percentile", end="")
    print(" || loss error C M Y, median | base | inside C M Y | graded none")
    for level in LEVELS:
        mine = [s for s in scores if s.level == level]
        if not mine:
            continue
        got = np.array([s.recovered for s in mine])
        errors, inside = np.stack([s.loss_error for s in mine]), np.stack([s.inside for s in mine])
        print(
            f"{level:8s} {len(mine):4d} | {np.median([s.nothing for s in mine]):5.2f} |"
            f" {interval(got, np.median, rng)} |"
            f" {interval(got, lambda v: np.quantile(v, 0.9), rng)} ||"
            f" {' '.join(f'{x:.3f}' for x in np.median(errors, axis=0))}  {np.median(np.median(errors, axis=1)):.3f} |"
            f" {np.median([s.base_error for s in mine]):.3f} | {' '.join(f'{x:.2f}' for x in inside.mean(axis=0))} |"
            f" {np.mean([s.grade == 'none' for s in mine]):.2f}"
        )


def comparison(scores: list[Score]) -> None:
    """Median and 90th percentile of the recovery beside automatic corrections, and how much structure was kept."""
    print("  automatic corrections, median (90th percentile)  " + "  ".join(LEVELS))
    rows = {"surrogate": [s.recovered for s in scores]}
    rows |= {name: [s.automatic[i] for s in scores] for i, name in enumerate(automatic.COLOUR)}
    for name, values in rows.items():
        cells = []
        for level in LEVELS:
            mine = [v for v, s in zip(values, scores, strict=True) if s.level == level]
            cells.append(f"{np.median(mine):5.2f} ({np.quantile(mine, 0.9):5.2f})" if mine else "-")
        print(f"  {name:27}" + "  ".join(cells))
    print(f"  structure, 5th percentile {np.quantile([s.structure for s in scores], 0.05):.3f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("photographs", nargs="?", default=os.environ.get("SURROGATE_PHOTOGRAPHS"))
    parser.add_argument("--lots", type=int, default=96)
    parser.add_argument("--each", type=int, default=8)
    parser.add_argument("--scanner", choices=("good", "ordinary"), default="good")
    parser.add_argument("--kept", choices=tuple(KEPT), default="mixed")
    parser.add_argument("--ageing", choices=("spectral", "plain"), default="spectral")
    parser.add_argument("--seed", type=int, default=2026)
    chosen = parser.parse_args()
    if chosen.photographs is None:
        print("skipped: SURROGATE_PHOTOGRAPHS does not say where the photographs are")
        return
    cv2.setNumThreads(1)
    pictures = photographs(Path(chosen.photographs), LONG_EDGE_PX)
    for border in (True, False):
        alone, together = [], []
        ordinary = chosen.scanner == "ordinary"
        if chosen.ageing == "plain":
            made = plain_lots(pictures, chosen.seed, chosen.lots, chosen.each, border, chosen.kept)
        else:
            made = lots(pictures, chosen.seed, chosen.lots, chosen.each, border, ordinary, chosen.kept)
        for level, cases in made:
            densities = [to_density(c.scan) for c in cases]
            alone += [score(level, c, d, fade_colour.estimate(d)) for c, d in zip(cases, densities, strict=True)]
            if chosen.each > 1:
                joint = fade_colour.estimate_jointly(densities)
                together += [score(level, c, d, e) for c, d, e in zip(cases, densities, joint, strict=True)]
        name = "with white border" if border else "without border"
        table(f"{name}, one print", alone)
        comparison(alone)
        if together:
            table(f"{name}, lots of {chosen.each}", together)


if __name__ == "__main__":
    main()

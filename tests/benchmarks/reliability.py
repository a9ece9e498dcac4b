"""The reliability plot of `docs/fade-model.md`: how often the truth lies inside intervals of every width.

    python tests/benchmarks/reliability.py PHOTOGRAPHS docs/pictures/fade_reliability.png [--lots N]

One print after another, aged as in quality_colour.py, on photographs kept for reporting.
"""

import argparse
import sys
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont
from scipy.stats import norm

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from surrogate.condition import fade_colour
from surrogate.imaging.density import to_density
from tests.benchmarks.quality_colour import LONG_EDGE_PX, lots, photographs
from tests.simulate import LEVELS

SIDE, MARGIN = 560, 80
COLOURS = {"unfaded": (120, 120, 120), "mild": (30, 110, 180), "medium": (200, 120, 0), "severe": (170, 20, 50)}


def ratios(folder: Path, count: int) -> dict[str, np.ndarray]:
    """Error over half-width of the 68 % interval, per level, of all three dyes, with and without border."""
    made: dict[str, list[np.ndarray]] = {level: [] for level in LEVELS}
    pictures = photographs(folder, LONG_EDGE_PX)
    for border in (True, False):
        for level, cases in lots(pictures, 77, count, 3, border, ordinary=False, kept="mixed"):
            for case in cases:
                loss, spread, _ = fade_colour.density_loss(fade_colour.estimate(to_density(case.scan)))
                made[level].append(np.abs(np.array(loss) - case.loss) / np.array(spread))
    return {level: np.concatenate(rows) for level, rows in made.items()}


def draw(data: dict[str, np.ndarray], out: Path) -> None:
    size = SIDE + 2 * MARGIN
    picture = Image.new("RGB", (size, size), "white")
    pen, font = ImageDraw.Draw(picture), ImageFont.load_default(16)

    def at(x: float, y: float) -> tuple[float, float]:
        return MARGIN + x * SIDE, MARGIN + (1 - y) * SIDE

    pen.rectangle([at(0, 1), at(1, 0)], outline=(160, 160, 160))
    pen.line([at(0, 0), at(1, 1)], fill=(190, 190, 190), width=1)
    for tick in (0.0, 0.25, 0.5, 0.75, 1.0):
        pen.text((at(tick, 0)[0] - 10, at(0, 0)[1] + 8), f"{tick:.2f}", fill="black", font=font)
        pen.text((MARGIN - 44, at(0, tick)[1] - 9), f"{tick:.2f}", fill="black", font=font)
    wanted = np.linspace(0.02, 0.98, 49)
    for number, (level, values) in enumerate(data.items()):
        inside = [(values <= norm.ppf(0.5 + p / 2)).mean() for p in wanted]
        pen.line([at(p, s) for p, s in zip(wanted, inside, strict=True)], fill=COLOURS[level], width=3)
        pen.text(at(0.72, 0.28 - 0.055 * number), f"{level} ({len(values)})", fill=COLOURS[level], font=font)
    pen.text((MARGIN, size - 34), "interval that was promised", fill="black", font=font)
    pen.text((MARGIN, 30), "share of cases in which the truth lies inside", fill="black", font=font)
    picture.save(out)
    for level, values in data.items():
        print(f"{level:8s} inside 50 % {np.mean(values <= norm.ppf(0.75)):.2f}  68 % {np.mean(values <= 1):.2f}"
              f"  95 % {np.mean(values <= norm.ppf(0.975)):.2f}")  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("photographs", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--lots", type=int, default=80)
    chosen = parser.parse_args()
    draw(ratios(chosen.photographs, chosen.lots), chosen.out)


if __name__ == "__main__":
    main()

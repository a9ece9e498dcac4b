"""Fit the network that tells originals from the lid or page: ``python fit_originals.py DATA OUT --seconds 400``.

DATA holds photographs (``*.jpg``). Pages and full frames are composed by tests/simulate with seeds of their own; of
single sheets and full frames a part is seen amid more of what runs along the edge, as the program looks at them a
second time. Needs torch and, for more than a trial, an accelerator; everything at run time is OpenCV.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import cv2
import numpy as np
import torch
from nets import MarksNet, Stream, dice, fit, flipped, fn, warm, write_onnx

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

from simulate import frames, pages  # noqa: E402

from surrogate.intake import bed  # noqa: E402
from surrogate.intake.sheetmap import GROUND, HEIGHT, INSIDE, RIM, RIM_PX, WIDTH, planes  # noqa: E402

SEED = 20261125
_FRAMES = 0.38  # share of samples that one original fills
_SNUG = 0.1  # share of samples that are one sheet with little of the bed around it, beyond those among all pages
_WIDENED, _WIDENED_FRAMES = 0.4, 0.25  # shares of single sheets and of full frames seen as in a second look
_WEIGHTS = torch.tensor([1.0, 1.0, 1.6])


def labels_of(corners: list[np.ndarray], size: tuple[int, int]) -> np.ndarray:
    """Classes (384, 512) uint8 of a page of a size (width, height); no corners: one original fills it."""
    if not corners:
        return np.full((HEIGHT, WIDTH), INSIDE, np.uint8)
    owner = np.zeros((HEIGHT, WIDTH), np.uint8)
    scale = np.array([WIDTH / size[0], HEIGHT / size[1]])
    for place, one in enumerate(corners, 1):
        points = np.round((one * scale - 0.5) * 16).astype(np.int32)
        cv2.fillConvexPoly(owner, points, place, cv2.LINE_8, 4)
    labels = np.where(owner > 0, INSIDE, GROUND).astype(np.uint8)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * RIM_PX + 1, 2 * RIM_PX + 1))
    for place in range(1, len(corners) + 1):
        own = np.pad((owner == place).astype(np.uint8), RIM_PX, mode="edge")  # no rim along the scan's own edge
        core = cv2.erode(own, kernel)[RIM_PX:-RIM_PX, RIM_PX:-RIM_PX]
        labels[(owner == place) & (core == 0)] = RIM
    return labels


def second_look(rgb: np.ndarray, corners: list[np.ndarray]) -> tuple[np.ndarray, list[np.ndarray]]:
    """The scan amid more of what runs along its edge, where something even does, and its corners there."""
    wide = bed.widened(rgb)
    if wide is None:
        return rgb, corners
    return wide.rgb, [one + np.array([wide.left, wide.top]) for one in corners]


def sample(rng: np.random.Generator, pictures: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Planes (4, 384, 512) and classes (384, 512) of one lying scan."""
    chosen = [pictures[i] for i in rng.integers(len(pictures), size=9)]
    long_edge = int(rng.integers(900, 1301))
    drawn = rng.random()
    if drawn < _FRAMES:
        rgb, corners = frames.full_frame(rng, chosen, long_edge=long_edge), []
    else:
        snug = "snug" if drawn < _FRAMES + _SNUG else None
        page = pages.compose(rng, chosen, arrangement=snug, long_edge=long_edge, finer=1)
        rgb, corners = page.rgb, page.corners
    if len(corners) < 2 and rng.random() < (_WIDENED if corners else _WIDENED_FRAMES):
        rgb, corners = second_look(rgb, corners)
    if rgb.shape[0] > rgb.shape[1]:
        height = rgb.shape[0]
        rgb = np.ascontiguousarray(np.rot90(rgb, -1))  # (x, y) goes to (height - y, x)
        corners = [np.stack([height - one[:, 1], one[:, 0]], 1) for one in corners]
    return planes(rgb), labels_of(corners, rgb.shape[1::-1])


def loss(scores: torch.Tensor, truth: torch.Tensor) -> torch.Tensor:
    """Weighted cross entropy plus Dice at full size (scores come at half)."""
    scores = fn.interpolate(scores, size=truth.shape[1:], mode="bilinear", align_corners=False)
    hot = fn.one_hot(truth, 3).permute(0, 3, 1, 2).float()
    return fn.cross_entropy(scores, truth, _WEIGHTS.to(scores.device)) + 0.5 * dice(scores.softmax(1), hot)


def draw(pool: torch.Tensor, truth: torch.Tensor, batch: int) -> tuple[torch.Tensor, torch.Tensor]:
    """Any sample of the pool, mirrored, its colour and tone shifted."""
    which = torch.randint(len(pool), (batch,), device=pool.device)
    x, y = flipped(pool[which].float(), truth[which].long(), planes=True)
    size = (batch, 1, 1, 1)
    device = x.device
    colour = (x[:, :3] + 0.5).clamp(1e-3) ** (0.15 * torch.randn(size, device=device)).exp()
    colour = colour * (0.05 * torch.randn((batch, 3, 1, 1), device=device)).exp()
    steps = (x[:, 3:] + 0.5) * (0.1 * torch.randn(size, device=device)).exp()
    return torch.cat([colour.clamp(0, 1), steps], 1) - 0.5, y


def main() -> None:
    """Fit and write."""
    parser = argparse.ArgumentParser()
    parser.add_argument("data", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--seconds", type=float, default=400)
    parser.add_argument("--workers", type=int, default=15)
    parser.add_argument("--weights", type=Path, help="npz of an earlier fit to go on from")
    parser.add_argument("--batch", type=int, default=32)
    parser.add_argument("--fresh", type=int, default=1, help="another number draws other samples")
    arguments = parser.parse_args()
    torch.manual_seed(SEED)
    cv2.setNumThreads(1)
    pictures = [np.ascontiguousarray(cv2.imread(str(file))[..., ::-1]) for file in sorted(arguments.data.glob("*.jpg"))]
    net = MarksNet(3, planes=4)
    warm(net, arguments.weights)
    stream = Stream(lambda rng: sample(rng, pictures), SEED + arguments.fresh)
    fit(
        net, stream, loss, seconds=arguments.seconds, workers=arguments.workers, batch=arguments.batch, hold=12000,
        rate=2.5e-3 if arguments.weights is None else 1.5e-3, reuse=5, draw=draw,
    )  # fmt: skip
    write_onnx(net, (1, 4, HEIGHT, WIDTH), arguments.out / "originals_model.onnx")


if __name__ == "__main__":
    main()

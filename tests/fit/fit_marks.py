"""Fit the network that finds marks: ``python fit_marks.py DATA OUT --seconds 400 --workers 10``.

DATA holds ``photos/``, ``fonts/`` and ``hands/`` (faces drawn after handwriting, woff). Needs torch and an
accelerator; everything at run time is OpenCV.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import torch
from damage import CLASSES, distracted, layer
from nets import MarksNet, Stream, dice, fit, flipped, fn, warm, write_onnx
from pages import album_page, clipping, document
from sheets import Material, colour_print, hand_coloured, silver_print

HEIGHT, WIDTH = 384, 512
CENTRE = 0.6  # density; about the middle of a print
SEED = 20261128
IGNORE = 255
_WEIGHTS = torch.tensor([0.4, 1.0, 1.2, 1.2, 1.0, 1.5, 1.5, 1.0, 1.0, 1.5, 1.2])
_SHEETS = (colour_print, silver_print, document, clipping, album_page, hand_coloured)
_OFTEN = (0.36, 0.24, 0.2, 0.12, 0.06, 0.02)
_OPAQUE = torch.tensor([CLASSES.index(name) for name in ("fold", "tear", "loss")])
_BLOCKS = torch.tensor([CLASSES.index(name) for name in ("show-through ink", "suspected mould")])


def sample(rng: np.random.Generator, material: Material) -> tuple[np.ndarray, np.ndarray]:
    """A clean original and a layer of marks, to be combined at random: (7, 384, 512) and classes (384, 512).

    Planes: density of the original 3, share that the marks take of it 1, density that they add 3.
    """
    sheet = _SHEETS[int(rng.choice(len(_SHEETS), p=_OFTEN))](rng, material, (HEIGHT, WIDTH))
    share, added, labels = layer(rng, (HEIGHT, WIDTH), material)
    planes = [distracted(rng, sheet, material), share[..., None], added]
    return np.clip(np.concatenate(planes, axis=2).transpose(2, 0, 1), -3, 3.2), labels


def loss(scores: torch.Tensor, truth: torch.Tensor) -> torch.Tensor:
    """Weighted cross entropy plus Dice at full size (scores come at half); marks that cannot be seen do not count."""
    scores = fn.interpolate(scores, size=truth.shape[1:], mode="bilinear", align_corners=False)
    counted = (truth != IGNORE)[:, None]
    hot = fn.one_hot(truth * counted[:, 0], len(CLASSES)).permute(0, 3, 1, 2).float()
    cross = fn.cross_entropy(scores, truth, _WEIGHTS.to(scores.device), ignore_index=IGNORE)
    return cross + 0.5 * dice(scores.softmax(1) * counted, hot * counted)


def draw(pool: torch.Tensor, truth: torch.Tensor, batch: int) -> tuple[torch.Tensor, torch.Tensor]:
    """Any original with any layer of marks, or with none; mirrored apart from one another; scanned."""
    device = pool.device
    below = pool[torch.randint(len(pool), (batch,), device=device), :3].float()
    which = torch.randint(len(pool), (batch,), device=device)
    above, labels = pool[which, 3:].float(), truth[which].long()
    below, _ = flipped(below, labels, planes=True)
    above, labels = flipped(above, labels, planes=True)
    bare = torch.rand((batch, 1, 1, 1), device=device) < 0.35
    above = torch.where(bare, torch.zeros((), device=device), above)
    labels = torch.where(bare[:, 0], 0, labels)
    marked = (1 - above[:, :1]) * below + above[:, 1:]
    flare = 0.001 + 0.006 * torch.rand((batch, 1, 1, 1), device=device)
    clean, light = 10 ** -below.clamp(-0.1, 3.2) + flare, 10 ** -marked.clamp(-0.1, 3.2) + flare
    change = (clean.log10() - light.log10()).abs().amax(1)
    opaque = (labels[..., None] == _OPAQUE.to(device)).any(-1)
    blocks = (labels[..., None] == _BLOCKS.to(device)).any(-1)  # outlined as a whole, gaps and all
    change = torch.where(blocks, fn.max_pool2d(change[:, None], 21, 1, 10)[:, 0], change)
    labels = torch.where((labels > 0) & (change < 0.02) & ~opaque, IGNORE, labels)
    return _scan(light) - CENTRE, labels


def _scan(light: torch.Tensor) -> torch.Tensor:
    """Exposure, cast, contrast, blur, noise, 8 bits; density as the program reads it."""
    batch, device = len(light), light.device
    size = (batch, 1, 1, 1)
    gain = 0.06 * torch.randn(size, device=device) + 0.015 * torch.randn((batch, 3, 1, 1), device=device)
    light = (light * gain.exp()).clamp(1e-4) ** (1 + 0.05 * torch.randn(size, device=device))
    if torch.rand(()) < 0.5:
        at = torch.arange(-2, 3, device=device)
        kernel = torch.exp(-(at**2) / (2 * (0.3 + 0.6 * torch.rand((), device=device)) ** 2))
        kernel = (kernel / kernel.sum()).expand(3, 1, 1, 5)
        light = fn.conv2d(fn.pad(light, (2, 2, 2, 2), mode="replicate"), kernel, groups=3)
        light = fn.conv2d(light, kernel.transpose(2, 3), groups=3)
    noise = 0.0005 + 0.005 * torch.rand(size, device=device)
    shared = torch.randn((batch, 1, *light.shape[2:]), device=device) * 2 * torch.rand(size, device=device)
    light = light + noise * (torch.randn_like(light) + shared) * (light + 0.02).sqrt()
    code = (light.clamp(0, 1).sqrt() * 255).round() / 255
    return -2 * code.clamp(10**-1.3).log10()


def main() -> None:
    """Fit and write."""
    parser = argparse.ArgumentParser()
    parser.add_argument("data", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--seconds", type=float, default=400)
    parser.add_argument("--workers", type=int, default=10)
    parser.add_argument("--rate", type=float, default=2.5e-3, help="highest rate of learning")
    parser.add_argument("--reuse", type=int, default=5, help="steps for every 16 new samples")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--weights", type=Path, help="npz of an earlier fit to go on from")
    arguments = parser.parse_args()
    torch.manual_seed(arguments.seed)
    material = Material(arguments.data)
    net = MarksNet(len(CLASSES))
    warm(net, arguments.weights)
    stream = Stream(lambda rng: sample(rng, material), arguments.seed)
    fit(
        net, stream, loss, seconds=arguments.seconds, workers=arguments.workers, batch=32, hold=16000,
        rate=arguments.rate, reuse=arguments.reuse, draw=draw,
    )  # fmt: skip
    write_onnx(net, (1, 3, HEIGHT, WIDTH), arguments.out / "marks.onnx")


if __name__ == "__main__":
    main()

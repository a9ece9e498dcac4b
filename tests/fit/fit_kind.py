"""Fit the network that tells kinds of original apart: ``python fit_kind.py DATA OUT --seconds 400 --workers 5``.

DATA holds ``photos/``, ``fonts/`` and ``hands/``. Needs torch and an accelerator; everything at run time is OpenCV.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

import numpy as np
import torch
from damage import harmed
from nets import KindNet, Stream, fit, fn, warm, write_onnx
from pages import album_page, clipping, document, negative, scanned, target, unknown
from sheets import Array, Material, Size, colour_print, hand_coloured, silver_print

SIDE = 512
SEED = 20261127
_Maker = Callable[[np.random.Generator, Material, Size], Array]
MAKERS: dict[str, tuple[_Maker, float]] = {
    "silver-print": (lambda r, m, s: silver_print(r, m, s, toned=False), 0.20),
    "silver-print toned": (lambda r, m, s: silver_print(r, m, s, toned=True), 0.06),
    "silver-print coloured": (hand_coloured, 0.08),
    "colour-print": (colour_print, 0.17),
    "negative": (lambda r, m, s: negative(r, m, s, colour=False), 0.17),
    "negative colour": (lambda r, m, s: negative(r, m, s, colour=True), 0.07),
    "clipping": (clipping, 0.10),
    "document": (document, 0.10),
    "album-page": (album_page, 0.05),
    "target": (target, 0.03),
    "unknown": (unknown, 0.02),
}


def seen(density: Array) -> np.ndarray:
    """(512, 512, 3) density -> (4, 256, 256): mean of every 2 x 2 block, centred, and the block's roughness."""
    blocks = np.clip(density, 0, 2.6).reshape(SIDE // 2, 2, SIDE // 2, 2, 3)
    mean = blocks.mean((1, 3))
    rough = blocks.mean(4).std((1, 3))
    return np.concatenate([(mean - 0.6).transpose(2, 0, 1), 4 * rough[None]])


def sample(rng: np.random.Generator, material: Material) -> tuple[np.ndarray, np.ndarray]:
    """One original of a random class, sometimes with marks, sometimes a few per cent of surround left on."""
    shares = np.array([share for _, share in MAKERS.values()])
    which = int(rng.choice(len(MAKERS), p=shares / shares.sum()))
    name, (make, _) = list(MAKERS.items())[which]
    density = make(rng, material, (SIDE, SIDE))
    if rng.random() < 0.35 and not name.startswith(("negative", "target", "unknown")):
        density = harmed(rng, density, material)[0]
    if rng.random() < 0.12:
        edge = int(rng.integers(2, 24))
        ground = np.float32(rng.choice([0.04, 0.1, 1.4, 2.4]))
        for part in rng.choice(4, int(rng.integers(1, 5)), replace=False):
            density = np.rot90(density, int(part)).copy()
            density[:edge] = ground
    return seen(scanned(rng, density)), np.array(which)


def loss(scores: torch.Tensor, truth: torch.Tensor) -> torch.Tensor:
    """Cross entropy, a little smoothed so that it stays unsure."""
    return fn.cross_entropy(scores, truth, label_smoothing=0.02)


def draw(pool: torch.Tensor, truth: torch.Tensor, batch: int) -> tuple[torch.Tensor, torch.Tensor]:
    """Mirror left to right only (skies are above), quarter turns for some; exposure."""
    chosen = torch.randint(len(pool), (batch,), device=pool.device)
    x, y = pool[chosen].float(), truth[chosen]
    if torch.rand(()) < 0.5:
        x = x.flip(3)
    if torch.rand(()) < 0.2:
        x = x.rot90(int(torch.randint(1, 4, ())), (2, 3))
    shift = torch.zeros((len(x), 4, 1, 1), device=x.device)
    shift[:, :3] = 0.04 * torch.randn((len(x), 1, 1, 1), device=x.device) + 0.008 * torch.randn(
        (len(x), 3, 1, 1), device=x.device
    )
    return x * (1 + 0.05 * torch.randn((len(x), 1, 1, 1), device=x.device)) + shift, y


def main() -> None:
    """Fit and write."""
    parser = argparse.ArgumentParser()
    parser.add_argument("data", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--seconds", type=float, default=400)
    parser.add_argument("--workers", type=int, default=5)
    parser.add_argument("--weights", type=Path, help="npz of an earlier fit to go on from")
    arguments = parser.parse_args()
    torch.manual_seed(SEED)
    material = Material(arguments.data)
    net = KindNet(len(MAKERS))
    warm(net, arguments.weights)
    stream = Stream(lambda rng: sample(rng, material), SEED)
    fit(
        net,
        stream,
        loss,
        seconds=arguments.seconds,
        workers=arguments.workers,
        batch=96,
        hold=24000,
        rate=1.5e-3,
        reuse=8,
        draw=draw,
    )
    write_onnx(net, (1, 4, SIDE // 2, SIDE // 2), arguments.out / "kind.onnx")


if __name__ == "__main__":
    main()

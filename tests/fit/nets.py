"""The two small networks of the condition room, and how they are fed, fitted and written as ONNX."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import torch
from torch import Tensor, nn
from torch.nn import functional as fn
from torch.utils.data import DataLoader, IterableDataset


def conv(inside: int, outside: int, *, stride: int = 1, dilation: int = 1) -> nn.Sequential:
    """3x3 convolution, normalised over the batch, rectified."""
    return nn.Sequential(
        nn.Conv2d(inside, outside, 3, stride, dilation, dilation, bias=False),
        nn.BatchNorm2d(outside),
        nn.ReLU(inplace=True),
    )


class Residual(nn.Module):
    """Two convolutions beside a straight way."""

    def __init__(self, width: int, dilation: int = 1) -> None:
        super().__init__()
        self.one, self.two = conv(width, width, dilation=dilation), conv(width, width, dilation=dilation)

    def forward(self, x: Tensor) -> Tensor:
        return x + self.two(self.one(x))


class MarksNet(nn.Module):
    """Planes (B, 3, 384, 512), centred -> class scores (B, classes, 192, 256). Sees the whole sheet at 1/32."""

    def __init__(self, classes: int, planes: int = 3) -> None:
        super().__init__()
        a, b, c, d, e = 12, 24, 40, 64, 96
        self.stem = nn.Sequential(conv(planes, a, stride=2), conv(a, a))
        self.down4 = nn.Sequential(conv(a, b, stride=2), conv(b, b))
        self.down8 = nn.Sequential(conv(b, c, stride=2), Residual(c))
        self.down16 = nn.Sequential(conv(c, d, stride=2), Residual(d), Residual(d, 2))
        self.down32 = nn.Sequential(conv(d, e, stride=2), Residual(e), Residual(e, 2), Residual(e, 4))
        self.whole = nn.Conv2d(e, e, 1)
        self.up16, self.join16 = nn.ConvTranspose2d(e, d, 2, 2), conv(2 * d, d)
        self.up8, self.join8 = nn.ConvTranspose2d(d, c, 2, 2), conv(2 * c, c)
        self.up4, self.join4 = nn.ConvTranspose2d(c, b, 2, 2), conv(2 * b, b)
        self.up2, self.join2 = nn.ConvTranspose2d(b, a, 2, 2), conv(2 * a, a)
        self.head = nn.Conv2d(a, classes, 1)

    def forward(self, x: Tensor) -> Tensor:
        s2 = self.stem(x)
        s4 = self.down4(s2)
        s8 = self.down8(s4)
        s16 = self.down16(s8)
        s32 = self.down32(s16)
        s32 = s32 + self.whole(s32.mean((2, 3), keepdim=True)).expand_as(s32)
        y = self.join16(torch.cat([self.up16(s32), s16], 1))
        y = self.join8(torch.cat([self.up8(y), s8], 1))
        y = self.join4(torch.cat([self.up4(y), s4], 1))
        y = self.join2(torch.cat([self.up2(y), s2], 1))
        return self.head(y)


class KindNet(nn.Module):
    """Mean density and roughness (B, 4, 256, 256) -> class scores (B, classes)."""

    def __init__(self, classes: int) -> None:
        super().__init__()
        widths = (16, 32, 48, 64, 96)
        layers: list[nn.Module] = []
        before = 4
        for width in widths:
            layers += [conv(before, width, stride=2), Residual(width)]
            before = width
        self.body = nn.Sequential(*layers)
        self.head = nn.Sequential(nn.Linear(2 * before, 64), nn.ReLU(), nn.Dropout(0.2), nn.Linear(64, classes))

    def forward(self, x: Tensor) -> Tensor:
        y = self.body(x)
        return self.head(torch.cat([y.mean((2, 3)), y.amax((2, 3))], 1))


class Stream(IterableDataset[tuple[Tensor, Tensor]]):
    """Samples without end; every worker draws from its own generator."""

    def __init__(self, make: Callable[[np.random.Generator], tuple[np.ndarray, np.ndarray]], seed: int) -> None:
        self.make, self.seed = make, seed

    def __iter__(self) -> Iterator[tuple[Tensor, Tensor]]:
        worker = torch.utils.data.get_worker_info()
        rng = np.random.default_rng((self.seed, 0 if worker is None else worker.id))
        while True:
            picture, label = self.make(rng)
            yield torch.from_numpy(picture.astype(np.float16)), torch.from_numpy(np.asarray(label))


def fit(
    net: nn.Module, stream: Stream, loss: Callable[[Tensor, Tensor], Tensor], *,
    seconds: float, workers: int, batch: int, hold: int, rate: float, reuse: int,
    draw: Callable[[Tensor, Tensor, int], tuple[Tensor, Tensor]],
) -> None:  # fmt: skip
    """Fit by the clock: fresh samples go into a pool of ``hold`` on the accelerator, ``draw`` makes batches of it.

    ``reuse`` steps are taken for every 16 fresh samples: workers draw slower than the accelerator learns.
    """
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    net.to(device, memory_format=torch.channels_last).train()
    loader = iter(DataLoader(stream, batch_size=16, num_workers=workers, prefetch_factor=4))
    pictures, labels = (part.to(device) for part in next(loader))
    pool = torch.empty((hold, *pictures.shape[1:]), dtype=torch.float16, device=device)
    truth = torch.empty((hold, *labels.shape[1:]), dtype=labels.dtype, device=device)
    optimiser = torch.optim.AdamW(net.parameters(), rate, weight_decay=0.02)
    start, step, drawn, shown = time.monotonic(), 0, 0, 0.0
    while True:
        passed = (time.monotonic() - start) / seconds
        if passed >= 1:
            break
        while drawn < 20 * batch or step % reuse == 0:
            pictures, labels = next(loader)
            where = ((drawn + torch.arange(len(pictures))) % hold).to(device)
            pool[where], truth[where] = pictures.to(device), labels.to(device)
            drawn += len(pictures)
            if drawn >= 20 * batch:
                break
        for group in optimiser.param_groups:
            group["lr"] = rate * min(1.0, passed * 20, 0.01 + (1 - passed) ** 1.0 * 1.3)
        x, y = draw(pool[: min(drawn, hold)], truth[: min(drawn, hold)], batch)
        with torch.autocast(device.type, torch.bfloat16):
            scores = net(x.contiguous(memory_format=torch.channels_last))
        value = loss(scores.float(), y)
        optimiser.zero_grad(set_to_none=True)
        value.backward()
        nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        optimiser.step()
        step += 1
        if passed - shown > 0.05:
            shown = passed
            print(f"{passed:.2f} of the time, step {step}, {drawn} samples drawn, loss {value.item():.4f}", flush=True)


def warm(net: nn.Module, weights: Path | None) -> None:
    """Go on from the arrays of an earlier fit, when there is one."""
    if weights is not None:
        with np.load(weights) as stored:
            net.load_state_dict({name: torch.from_numpy(stored[name]) for name in stored.files})


def write_onnx(net: nn.Module, shape: tuple[int, ...], path: Path) -> None:
    """The fitted network in evaluation mode as ONNX with a fixed input shape, and its arrays beside it as npz."""
    net = net.to("cpu", memory_format=torch.contiguous_format).float().eval()
    np.savez(path.with_suffix(".npz"), **{name: value.numpy() for name, value in net.state_dict().items()})
    torch.onnx.export(
        net,
        (torch.zeros(shape),),
        str(path),
        input_names=["density"],
        output_names=["scores"],
        opset_version=17,
        dynamo=False,
    )


def flipped(x: Tensor, y: Tensor, *, planes: bool) -> tuple[Tensor, Tensor]:
    """Mirror the whole batch at random; ``planes`` says that the labels are pictures too."""
    for axis in (2, 3):
        if torch.rand(()) < 0.5:
            x = x.flip(axis)
            y = y.flip(axis - 1) if planes else y
    return x, y


def dice(probability: Tensor, truth: Tensor) -> Tensor:
    """1 - soft Dice over the classes but the first, over the batch; truth one-hot."""
    both = (probability * truth).sum((0, 2, 3))
    either = (probability + truth).sum((0, 2, 3))
    return (1 - (2 * both + 20) / (either + 20))[1:].mean()


__all__ = ["KindNet", "MarksNet", "Stream", "dice", "fit", "flipped", "fn", "warm", "write_onnx"]

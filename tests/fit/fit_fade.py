"""Fit the fade estimator: `python fit_fade.py PHOTOGRAPHS OUT.npz [--seconds 480] [--seed 1]`.

PHOTOGRAPHS is a folder of JPEG pictures with an `index.tsv` (file, source, ...). Sources are split into three parts:
one to fit on, one to set the width of the intervals, one only for reporting. Needs torch and an accelerator (it runs
on a processor too, slowly). Prints the figures on the reporting part and writes the weights as an .npz of half floats.
"""

import argparse
import hashlib
import math
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import torch
from family import PROXY, Batch, Draw, aged, colour_difference, constant
from network import ROOT_SCALE, STEP, THETA, Estimator, gated, moved, recover
from parts import split
from torch import Tensor


def load(folder: Path, names: list[str], device: str) -> Tensor:
    """(N,3,256,256) uint8 R, G, B, each picture squeezed to a square."""
    pictures = []
    for name in names:
        picture = cv2.cvtColor(cv2.imread(str(folder / name)), cv2.COLOR_BGR2RGB)
        if picture.shape[:2] != (256, 256):
            picture = cv2.resize(picture, (256, 256), interpolation=cv2.INTER_AREA)
        pictures.append(torch.from_numpy(picture).permute(2, 0, 1))
    return torch.stack(pictures).to(device)


def errors(theta: Tensor, gate: Tensor, batch: Batch, optics: torch.nn.Module) -> tuple[Tensor, Tensor]:
    """(B,) mean colour difference after recovery and (B,6) errors of log share and base."""
    final = gated(theta, gate)
    difference = colour_difference(recover(batch.clean, final, optics), batch.truth).mean(1)
    return difference, torch.cat([final[:, :3] - batch.log_share, final[:, 3:6] - batch.base], 1)


def student(error: Tensor, root: Tensor, freedom: float = 6.0) -> Tensor:
    """(B,) negative log likelihood of a heavy-tailed multivariate error under precision root @ root.T."""
    whitened = (root.transpose(1, 2) @ error[:, :, None]).square().sum((1, 2))
    logdet = torch.log(torch.diagonal(root, dim1=1, dim2=2)).sum(1)
    return 0.5 * (freedom + 6) * torch.log1p(whitened / freedom) - logdet


def losses(theta: Tensor, gate: Tensor, root: Tensor, batch: Batch, optics: torch.nn.Module) -> Tensor:
    """(B,) what is to be small: colour difference after recovery, errors of shares and base, surprise."""
    difference, error = errors(theta, gate, batch, optics)
    loss_kept = torch.exp(batch.log_share) * error[:, :3]  # error of the share itself, to first order
    size = 12 * loss_kept.abs().mean(1) + 2 * error[:, :3].abs().mean(1) + 15 * error[:, 3:].abs().mean(1)
    return difference + size + 0.15 * student(error.detach(), root)


def loss_of_all(made: list, batch: Batch, optics: torch.nn.Module) -> Tensor:
    """The weighted loss of all estimates on the way, in one pass."""
    made = [m for m in made if m[3]]
    theta, gate, root = (torch.cat([m[i] for m in made]) for i in range(3))
    many = Batch(*(torch.cat([getattr(batch, n)] * len(made)) for n in batch.__dataclass_fields__))
    each = losses(theta, gate, root, many, optics).reshape(len(made), -1).mean(1)
    return (each * constant(tuple(m[3] for m in made), str(each.device))).sum()


def lot_loss(model: Estimator, made: list, hidden: Tensor, batch: Batch, each: int, draw: Draw, detach: bool) -> tuple:
    """Loss of the shared estimate of lots of `each` prints of which a random two or more are present."""
    theta, _, root = made[-1][:3]
    lots = len(theta) // each
    if detach:
        theta, root, hidden = theta.detach(), root.detach(), hidden.detach()
    diagonal = torch.log(torch.diagonal(root, dim1=1, dim2=2) / constant(ROOT_SCALE, str(root.device)))
    count = 2 + draw.index(each - 1, lots, 1)
    present = (torch.arange(each, device=root.device)[None] < count).float()
    out, mean = model.lot(
        hidden.reshape(lots, each, -1), theta.reshape(lots, each, THETA), diagonal.reshape(lots, each, 6), present
    )
    theta, gate, root = (x.repeat_interleave(each, 0) for x in moved(mean, out))
    return losses(theta, gate, root, batch, model.optics).mean(), theta, gate


def part_of(batch: Batch, where: slice) -> Batch:
    return Batch(*(getattr(batch, name)[where] for name in batch.__dataclass_fields__))


def joined(one: Batch, other: Batch) -> Batch:
    return Batch(*(torch.cat([getattr(one, n), getattr(other, n)]) for n in one.__dataclass_fields__))


def set_scales(model: Estimator, photographs: Tensor, draw: Draw) -> None:
    """Centre and spread of the facts, from a few batches at the first theta."""
    from network import features, start

    facts = []
    for _ in range(4):
        batch = aged(photographs, draw, 256, 1)
        before = features(batch.scan)
        theta = start(batch.scan, batch.border)
        facts.append(model.facts(model.recovered(batch.scan, theta), before, theta, batch.border))
    data = torch.cat(facts)
    centre, spread = data.mean(0), data.std(0).clamp(min=0.02)
    spread[-THETA - 4 : -4], centre[-THETA - 4 : -4] = 1.0, 0.0
    for member in [model.guess, *model.members]:
        member.centre.copy_(centre)
        member.spread.copy_(spread)


@torch.no_grad()
def go_on_from(model: Estimator, path: Path) -> None:
    """Take over the weights of an earlier fit."""
    with np.load(path, allow_pickle=False) as stored:
        for name, value in model.state_dict().items():
            if not name.startswith("optics"):
                value.copy_(torch.from_numpy(stored[name].astype(np.float32)))
        model.optics.off.copy_(torch.from_numpy(stored["off"]))
        model.optics.beta.copy_(torch.tensor(float(stored["beta"])))


def fit(
    photographs: Tensor,
    seconds: float,
    seed: int,
    device: str,
    singles: int,
    lots: int,
    *,
    without: str,
    peak: float,
    begin: Path | None = None,
) -> Estimator:
    torch.manual_seed(seed)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    draw = Draw(seed, device)
    model = Estimator(without=without).to(device)
    if begin is None:
        with torch.no_grad():
            set_scales(model, photographs, draw)
    else:
        go_on_from(model, begin)
    weights = list(model.parameters())
    smooth = [w.detach().clone() for w in weights]
    rate = torch.tensor(1e-6, device=device)
    optimiser = torch.optim.AdamW(weights, lr=rate, weight_decay=0.04, capturable=device == "cuda")
    running = torch.zeros(2, device=device)

    def step() -> None:
        with torch.no_grad():
            batch = joined(aged(photographs, draw, singles, 1), aged(photographs, draw, lots, 8))
        made, hidden = model(batch.scan, batch.border)
        loss = loss_of_all(made, batch, model.optics)
        tail = [tuple(x[singles:] if isinstance(x, Tensor) else x for x in made[-1])]
        together, *_ = lot_loss(
            model, tail, hidden[singles:], part_of(batch, slice(singles, None)), 8, draw, detach=True
        )
        optimiser.zero_grad(set_to_none=True)
        (loss + 0.5 * together).backward()
        torch.nn.utils.clip_grad_norm_(weights, 5.0)
        optimiser.step()
        with torch.no_grad():
            torch._foreach_lerp_(smooth, weights, 0.0015)
            running.lerp_(torch.stack([loss / 1.7, together]), 0.01)

    advance = captured(step, draw) if device == "cuda" else step
    begun, count, shown = time.time(), 0, 0.0
    while (used := (time.time() - begun) / seconds) < 1:
        rate.fill_(peak * min(1, (count + 1) / 500) * (0.5 + 0.5 * math.cos(math.pi * used)) + 1e-6)
        advance()
        count += 1
        if count % 20 == 0:
            torch.cuda.synchronize() if device == "cuda" else None
        if time.time() - begun - shown > seconds / 16:
            shown = time.time() - begun
            print(f"{shown:5.0f} s  step {count}  loss {running[0]:.3f}  lot {running[1]:.3f}", flush=True)
    with torch.no_grad():
        for weight, mean in zip(weights, smooth, strict=True):
            weight.copy_(mean)
    return model.eval()


def captured(step: Callable[[], None], draw: Draw) -> Callable[[], None]:
    """One step of the fit as a graph of the accelerator, replayed without the cost of starting each operation."""
    side = torch.cuda.Stream()
    side.wait_stream(torch.cuda.current_stream())
    with torch.cuda.stream(side):
        for _ in range(4):
            step()
    torch.cuda.current_stream().wait_stream(side)
    graph = torch.cuda.CUDAGraph()
    graph.register_generator_state(draw.generator)
    with torch.cuda.graph(graph):
        step()
    return graph.replay


@torch.no_grad()
def intervals(model: Estimator, photographs: Tensor, draw: Draw) -> np.ndarray:
    """(2,4,6): without and with border, by loss estimated (0, .08, .25, .5): factor that makes intervals hold 68 %."""
    made = {0: ([], []), 1: ([], [])}
    for _ in range(24):
        batch = aged(photographs, draw, 256, 1)
        theta, gate, root, _ = model(batch.scan, batch.border)[0][-1]
        _, error = errors(theta, gate, batch, model.optics)
        covariance = torch.linalg.inv(root @ root.transpose(1, 2))
        ratio = error.abs() / torch.diagonal(covariance, dim1=1, dim2=2).sqrt()
        loss = 1 - torch.exp(gated(theta, gate)[:, :3]).mean(1)
        for flag in (0, 1):
            chosen = (batch.border[:, 0] > 0.5) == bool(flag)
            made[flag][0].append(loss[chosen].cpu().numpy())
            made[flag][1].append(ratio[chosen].cpu().numpy())
    table = np.ones((2, 4, 6), dtype=np.float32)
    edges = (-1.0, 0.03, 0.15, 0.36, 2.0)
    for flag in (0, 1):
        loss, ratio = np.concatenate(made[flag][0]), np.concatenate(made[flag][1])
        for row in range(4):
            inside = (loss > edges[row]) & (loss <= edges[row + 1])
            if inside.sum() > 50:
                table[flag, row] = np.quantile(ratio[inside], 0.6827, axis=0)
    return table


@torch.no_grad()
def report(model: Estimator, photographs: Tensor, draw: Draw, name: str) -> None:
    rows: list[list[Tensor]] = []
    for _ in range(8):
        batch = aged(photographs, draw, 32, 8)
        made, hidden = model(batch.scan, batch.border)
        final = made[-1]
        guess = errors(*made[0][:2], batch, model.optics)[0]
        difference, error = errors(final[0], final[1], batch, model.optics)
        nothing = colour_difference(batch.clean, batch.truth).mean(1)
        diagonal = torch.full((32, 8), 1.0, device=batch.scan.device)
        root = final[2]
        logs = torch.log(torch.diagonal(root, dim1=1, dim2=2) / constant(ROOT_SCALE, str(root.device)))
        out, mean = model.lot(
            hidden.reshape(32, 8, -1), final[0].reshape(32, 8, THETA), logs.reshape(32, 8, 6), diagonal
        )
        theta, gate, _ = (x.repeat_interleave(8, 0) for x in moved(mean, out))
        lot_difference, _ = errors(theta, gate, batch, model.optics)
        share = torch.exp(batch.log_share)
        loss_error = (torch.exp(gated(final[0], final[1])[:, :3]) - share).abs().median(1).values
        lot_loss_error = (torch.exp(gated(theta, gate)[:, :3]) - share).abs().median(1).values
        covariance = torch.linalg.inv(root @ root.transpose(1, 2))
        inside = (error.abs() < torch.diagonal(covariance, dim1=1, dim2=2).sqrt()).float()[:, :3].mean(1)
        grade = (1 - torch.exp(gated(final[0], final[1])[:, :3])).amax(1)
        rows.append([batch.level, batch.border[:, 0], nothing, guess, difference, lot_difference, loss_error,
                     lot_loss_error, error[:, 3:].abs().median(1).values, inside, grade])  # fmt: skip
    columns = [torch.cat(c).float().cpu().numpy() for c in zip(*rows, strict=True)]
    print(f"{name}: border level | nothing guess dE p90 lot | loss lot-loss base inside none")
    for border in (1, 0):
        for level in range(4):
            k = (columns[0] == level) & (columns[1] == border)
            m = [np.median(c[k]) for c in columns[2:9]]
            print(
                f"{border} {level} | {m[0]:.2f} {m[1]:.2f} {m[2]:.2f} {np.quantile(columns[4][k], 0.9):.2f} {m[3]:.2f}"
                f" | {m[4]:.3f} {m[5]:.3f} {m[6]:.3f} {columns[9][k].mean():.2f} {(columns[10][k] < 0.05).mean():.2f}",
                flush=True,
            )


def check_scan() -> Tensor:
    """A picture made of waves, for which the weights file carries the answer."""
    y, x = torch.meshgrid(torch.arange(PROXY) / PROXY, torch.arange(PROXY) / PROXY, indexing="ij")
    waves = [
        0.75 + 0.45 * torch.sin(9 * x + 2 * c) * torch.cos((7 + c) * y) + 0.2 * x * y + 0.1 * c * y for c in range(3)
    ]
    return torch.stack(waves)[None]


@torch.no_grad()
def save(model: Estimator, table: np.ndarray, path: Path) -> None:
    model = model.cpu()
    arrays = {k: v.half().numpy() for k, v in model.state_dict().items() if not k.startswith("optics")}
    arrays["off"] = model.optics.off.numpy()
    arrays["beta"] = model.optics.beta.clamp(1.0, 6.0).numpy()
    arrays["step"] = np.array(STEP, dtype=np.float32)
    arrays["intervals"] = table
    # the answer that half floats give, for the test that holds numpy and torch together
    model.load_state_dict(
        {k: v.half().float() if not k.startswith("optics") else v for k, v in model.state_dict().items()}
    )
    made, _ = model(check_scan(), torch.tensor([[1.0, 0.09, 0.12, 0.2]]))
    arrays["check"] = torch.cat([made[-1][0], made[-1][1], made[-1][2].flatten(1)], 1).numpy()
    np.savez_compressed(path, **arrays)
    print(path, path.stat().st_size, "bytes", hashlib.sha256(path.read_bytes()).hexdigest())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("photographs", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--seconds", type=float, default=480)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--singles", type=int, default=128)
    parser.add_argument("--lots", type=int, default=22)
    parser.add_argument("--rate", type=float, default=1.5e-3, help="highest rate of learning, falling by a cosine")
    parser.add_argument("--begin", type=Path, help="weights of an earlier fit to go on from")
    parser.add_argument("--without", choices=("", "convolutions", "features", "dyes"), default="")
    chosen = parser.parse_args()
    device = "cuda" if torch.cuda.is_available() else "cpu"
    parts = split(chosen.photographs / "index.tsv")
    print({k: len(v) for k, v in parts.items()})
    pictures = {k: load(chosen.photographs, v, device) for k, v in parts.items()}
    model = fit(
        pictures["fit"],
        chosen.seconds,
        chosen.seed,
        device,
        chosen.singles,
        chosen.lots,
        without=chosen.without,
        peak=chosen.rate,
        begin=chosen.begin,
    )
    table = intervals(model, pictures["interval"], Draw(7, device))
    print(table.round(2))
    save(model, table, chosen.out)
    model.to(device)
    report(model, pictures["fit"], Draw(5, device), "fitted photographs")
    report(model, pictures["report"], Draw(5, device), "photographs never seen")


if __name__ == "__main__":
    main()

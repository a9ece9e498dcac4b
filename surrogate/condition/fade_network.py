"""The fitted estimator's arithmetic in numpy: features, small convolutions, rounds of looking at the picture again.

`tests/fit/network.py` is the same in torch, where the weights come from; a test holds the two together.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from io import BytesIO

import cv2
import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]

#: Edge of the square picture that the networks look at, px (any print is squeezed to it).
PROXY_PX = 112
#: Density floor of the pictures that the networks were fitted on.
FLOOR = 2.8

QUANTILES = (
    0.002, 0.005, 0.01, 0.02, 0.035, 0.05, 0.08, 0.12, 0.16, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5,
    0.55, 0.6, 0.65, 0.7, 0.75, 0.8, 0.84, 0.88, 0.92, 0.95, 0.965, 0.98, 0.99, 0.995, 0.998,
)  # fmt: skip
BINS = 14
#: Output unit of each part of theta: log share C M Y, base R G B, fresh base R G B, light C M Y, and how far the dyes'
#: six side absorptions differ from the mean of all prints.
STEP = np.array([0.3] * 3 + [0.05] * 3 + [0.03] * 3 + [0.4] * 3 + [0.06] * 6, dtype=np.float32)
THETA = len(STEP)
#: Theta before anything was seen; the base is replaced by what the border or the lightest part reads.
START = np.array([0.0] * 6 + [0.07] * 3 + [0.0] * 9, dtype=np.float32)
#: Unit of the root of the precision of log shares and base.
ROOT_SCALE = np.array([1 / 0.06] * 3 + [1 / 0.02] * 3, dtype=np.float32)
#: Rounds in which the members look at the picture as recovered so far.
ROUNDS = 2


@dataclass(frozen=True)
class Look:
    """What the networks say of one print.

    ``theta`` (THETA,) see STEP; ``gate`` 0..1, how much of it is to be believed against "nothing happened"; ``root``
    (6, 6) lower triangle, precision of (log share, base) = root @ root.T; ``hidden`` what a lot's head needs.
    """

    theta: Floats
    gate: float
    root: Floats
    hidden: Floats


@lru_cache(maxsize=1)
def weights() -> dict[str, Floats]:
    """The fitted numbers, float32, read once."""
    data = files("surrogate.condition").joinpath("fade_model.npz").read_bytes()
    with np.load(BytesIO(data), allow_pickle=False) as stored:
        return {name: stored[name].astype(np.float32) for name in stored.files}


@lru_cache(maxsize=1)
def _layers() -> dict[str, tuple[tuple[Floats, Floats], ...]]:
    """Per network, its convolutions as (filters (out, in*k*k), bias)."""
    w = weights()
    nets = ["guess", *sorted({".".join(k.split(".")[:2]) for k in w if k.startswith("members.")})]
    made = {}
    for net in nets:
        numbers = sorted({int(k.split(".")[-2]) for k in w if k.startswith(f"{net}.convolutions.")})
        keys = [f"{net}.convolutions.{n}" for n in numbers]
        made[net] = tuple((w[f"{k}.weight"], w[f"{k}.bias"]) for k in keys)
    return made


def proxy(density: Floats) -> Floats:
    """(H, W, 3) density to (3, PROXY_PX, PROXY_PX), averaged in linear light; large pictures first in density."""
    if min(density.shape[:2]) > 4 * PROXY_PX:
        density = np.asarray(cv2.resize(density, (4 * PROXY_PX,) * 2, interpolation=cv2.INTER_AREA), dtype=np.float32)
    density = np.clip(density, 0.0, FLOOR)
    light = np.exp(np.float32(-np.log(10)) * density)
    small = cv2.resize(light, (PROXY_PX, PROXY_PX), interpolation=cv2.INTER_AREA)
    return np.ascontiguousarray(-np.log10(np.maximum(small, 10.0**-FLOOR)).transpose(2, 0, 1), dtype=np.float32)


def features(picture: Floats) -> Floats:
    """(3, H, W) density to quantiles, colour against tone and covariance of every second pixel."""
    d = np.ascontiguousarray(picture[:, ::2, ::2]).reshape(3, -1)
    pixels = d.shape[1]
    at = [round(q * (pixels - 1)) for q in QUANTILES]
    quantile = np.sort(d, axis=1)[:, at]
    order = np.argsort(d.mean(axis=0), kind="stable")
    chroma = np.stack([d[0] - d[1], d[2] - d[1]])[:, order].reshape(2, BINS, pixels // BINS)
    centred = d - d.mean(axis=1, keepdims=True)
    covariance = (centred @ centred.T / pixels)[np.triu_indices(3)]
    return np.concatenate([quantile.ravel(), chroma.mean(axis=2).ravel(), chroma.std(axis=2).ravel(), covariance])


def start(picture: Floats, border: tuple[float, float, float] | None) -> Floats:
    """First theta: nothing lost, the base read from the border or, without one, from the lightest part."""
    theta = START.copy()
    if border is not None:
        theta[3:6] = border
    else:
        light = np.sort(picture[:, ::2, ::2].reshape(3, -1), axis=1)
        theta[3:6] = light[:, round(0.005 * (light.shape[1] - 1))]
    return theta


def light_fade(amount: Floats, tau: Floats, beta: float) -> Floats:
    """Dye amount left after a dose ``tau`` of light (before it, with -tau); see docs/fade-model.md."""
    faded = np.log1p(np.expm1(beta * np.maximum(amount, 0)) * np.exp(-tau)) / beta
    return np.asarray(np.where(amount > 0, faded, amount * np.exp(-tau)))


def dye_matrix(own: Floats | None = None) -> Floats:
    """(3, 3) R, G, B density of unit amounts of C, M, Y, rows summing to 1: the mean of all prints, or that of a print
    whose side absorptions (magenta, yellow in R; cyan, yellow in G; cyan, magenta in B) differ by ``own`` (6,).
    """
    off = np.clip(weights()["off"] + (0 if own is None else own), -0.05, 0.6)
    matrix = np.array([[1, off[0], off[1]], [off[2], 1, off[3]], [off[4], off[5], 1]], dtype=np.float32)
    return np.asarray(matrix / matrix.sum(axis=1, keepdims=True))


def recover(density: Floats, theta: Floats) -> Floats:
    """(3, N) density as scanned to that of the print before it aged."""
    matrix, beta = dye_matrix(theta[12:]), float(weights()["beta"])
    amount = np.linalg.inv(matrix) @ (density - theta[3:6, None])
    tau = np.clip(theta[9:12, None], -0.5, 3.0)
    dark = light_fade(np.exp(np.clip(theta[:3, None], -2.5, 0.3)), -tau, beta)
    undone = light_fade(np.clip(amount, -4, 6), -tau, beta) / dark
    return np.asarray(theta[6:9, None] + matrix @ undone, dtype=np.float32)


def gated(theta: Floats, gate: float) -> Floats:
    """Theta drawn towards "leave it alone"."""
    out = theta.copy()
    out[:3] *= gate
    out[6:9] = theta[3:6] + gate * (theta[6:9] - theta[3:6])
    out[9:12] *= gate
    return out


def look(picture: Floats, border: tuple[float, float, float] | None) -> Look:
    """Estimate one print from its (3, PROXY_PX, PROXY_PX) density without border, and its border's density."""
    edge = np.array([1.0, *border] if border is not None else [0.0] * 4, dtype=np.float32)
    before = features(picture)
    theta = start(picture, border)
    members = [name for name in _layers() if name != "guess"]
    out, hidden = np.zeros(0, dtype=np.float32), np.zeros(0, dtype=np.float32)
    for number in range(1 + ROUNDS):
        now = np.clip(recover(picture.reshape(3, -1), theta), -0.5, 3.5).reshape(picture.shape)
        facts = np.concatenate([features(now), before, (theta - START) / STEP, edge])
        answers = [_member(net, now, facts) for net in (members if number else ["guess"])]
        out = np.mean([a[0] for a in answers], axis=0)
        hidden = np.mean([a[1] for a in answers], axis=0)
        if number < ROUNDS:
            theta = theta + out[:THETA] * STEP
    moved, gate, root = _moved(theta, out)
    return Look(moved, gate, root, hidden)


def look_together(looks: list[Look]) -> Look:
    """One shared estimate of two to eight prints that aged alike."""
    w = weights()
    hidden = np.stack([x.hidden for x in looks])
    theta = np.stack([x.theta for x in looks])
    diagonal = np.log(np.stack([np.diag(x.root) for x in looks]) / ROOT_SCALE)
    x = np.concatenate([hidden, (theta - START) / STEP, diagonal], axis=1)
    x = _dense(np.maximum(_dense(x, "lot.each"), 0), "lot.each2")
    x = np.maximum(x, 0)
    weight = np.exp(2 * np.clip(diagonal, -4, 4))
    mean = np.concatenate([(weight * theta[:, :6]).sum(axis=0) / weight.sum(axis=0), theta[:, 6:].mean(axis=0)])
    pooled = np.concatenate([x.mean(axis=0), x.max(axis=0), (mean - START) / STEP, [np.log(len(looks))]])
    out = _dense(np.maximum(_dense(pooled.astype(np.float32), "lot.both"), 0), "lot.last")
    moved, gate, root = _moved(mean, out)
    return Look(moved, gate, root, w["lot.both.bias"][:0])


def _moved(theta: Floats, out: Floats) -> tuple[Floats, float, Floats]:
    """New theta, gate and root of precision from a network's output."""
    gate = float(np.clip(1.2 / (1 + np.exp(-(out[THETA] + 2.0))) - 0.1, 0, 1))
    root = np.zeros((6, 6), dtype=np.float32)
    root[np.tril_indices(6)] = out[THETA + 1 :]
    root[np.diag_indices(6)] = np.exp(np.clip(np.diag(root), -4, 4))
    return np.asarray(theta + out[:THETA] * STEP, dtype=np.float32), gate, ROOT_SCALE[:, None] * root


def _member(net: str, picture: Floats, facts: Floats) -> tuple[Floats, Floats]:
    """One network's output (THETA + 22,) and hidden layer."""
    w = weights()
    seen = picture - np.float32(0.7)
    for filters, bias in _layers()[net]:
        seen = _convolved(seen, filters, bias)
    pooled = np.concatenate([seen.mean(axis=(1, 2)), seen.max(axis=(1, 2))])
    x = np.concatenate([(facts - w[f"{net}.centre"]) / w[f"{net}.spread"], pooled]).astype(np.float32)
    x = np.maximum(_dense(x, f"{net}.first"), 0)
    x = np.maximum(_dense(x, f"{net}.second"), 0)
    return _dense(x, f"{net}.last"), x


def _dense(x: Floats, layer: str) -> Floats:
    w = weights()
    return np.asarray(x @ w[f"{layer}.weight"].T + w[f"{layer}.bias"], dtype=np.float32)


def _convolved(picture: Floats, filters: Floats, bias: Floats) -> Floats:
    """(C, H, W) by (out, C, k, k) at every second place, zeros around, negative results cut."""
    size = filters.shape[2]
    padded = np.pad(picture, ((0, 0), (size // 2,) * 2, (size // 2,) * 2))
    windows = np.lib.stride_tricks.sliding_window_view(padded, (size, size), axis=(1, 2))[:, ::2, ::2]
    channels, high, wide = windows.shape[:3]
    columns = windows.transpose(0, 3, 4, 1, 2).reshape(channels * size * size, high * wide)
    result = filters.reshape(len(filters), -1) @ columns + bias[:, None]
    return np.asarray(np.maximum(result, 0).reshape(-1, high, wide))

"""Fit the silver estimate: `python tests/fit/fit_silver.py PHOTOGRAPHS [--draws 16] [--seed 1]`.

Needs nothing but the project's own dependencies; some ten minutes on two cores. Photographs are split by source, by
the hash of its name: one part to fit on, one to report on. Writes surrogate/condition/fade_silver.npz.
"""

import argparse
import hashlib
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np
from ageing_silver import SHARES, draw
from numpy.typing import NDArray

from surrogate.condition import fade_silver as fs

Floats = NDArray[np.float32]
RANKS = 40
WEIGHTS = Path(fs.__file__).with_name("fade_silver.npz")
PARTS = 5
#: Noise on the standardised facts while fitting: keeps the answer from hanging on fine detail of the simulator.
NOISE = 0.08
#: Colour difference that following the estimate must save before it is followed: first do no harm.
TRUST_COST = 0.1


def source_of(line: str) -> str:
    """The repository a picture came from; pictures of one collection in several repositories share a name."""
    name = line.split("\t")[1].split("@", maxsplit=1)[0].lower()
    return next((c for c in ("coco", "openimages", "openstax") if c in name), name)


def part_of(source: str) -> int:
    """0 to PARTS - 1 by the hash of the name; part 0 is only reported on."""
    return int(hashlib.sha256(source.encode()).hexdigest(), 16) % PARTS


def pictures(folder: Path, *, report: bool) -> list[Path]:
    """The pictures of one part. Half of the large black-and-white source is on either side (by picture)."""
    chosen = []
    for line in (folder / "index.tsv").read_text().splitlines()[1:]:
        name, source = line.partition("\t")[0], source_of(line)
        key = name if source.endswith("dvexplorer") else source
        if (part_of(key) == 0) == report:
            chosen.append(folder / name)
    return chosen


def load(path: Path) -> NDArray[np.uint8]:
    """An sRGB picture at the proxy's size, (h, w, 3)."""
    picture = cv2.cvtColor(cv2.imread(str(path)), cv2.COLOR_BGR2RGB)
    scale = fs.PROXY_PX / max(picture.shape[:2])
    size = (round(picture.shape[1] * scale), round(picture.shape[0] * scale))
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA))


def rows(path: Path, seed: int, draws: int) -> list[dict[str, NDArray[np.float64]]]:
    """What the fit needs of ``draws`` aged prints of one picture."""
    photo = load(path)
    rng = np.random.default_rng((seed, int(hashlib.sha256(str(path.name).encode()).hexdigest()[:8], 16)))
    kinds = rng.choice(list(SHARES), size=draws, p=list(SHARES.values()))
    return [row_of(draw(photo if rng.random() < 0.5 else photo[:, ::-1], rng, str(k)), str(k)) for k in kinds]


def row_of(example, kind):
    small = example.scan
    flat, fresh = small.reshape(-1, 3).astype(np.float64), example.fresh.reshape(-1, 3).astype(np.float64)
    grey = flat @ fs.MIX
    order = np.argsort(grey, kind="stable")
    parts = np.array_split(order, RANKS)
    found = np.array([flat[p].mean(axis=0) for p in parts])
    truth = np.array([fresh[p].mean(axis=0) for p in parts])
    nodes, _ = fs.line_of(small)
    step = nodes[1] - nodes[0]
    at = (found @ fs.MIX)[:, None]
    inside = np.clip((at - nodes[None, :-1]) / step, 0, 1)
    # beyond the end nodes the end segments continue
    inside[:, 0] = np.minimum((at[:, 0] - nodes[0]) / step, inside[:, 0])
    inside[:, -1] = np.maximum((at[:, 0] - nodes[-2]) / step * (at[:, 0] > nodes[-1]), inside[:, -1])
    return {
        "facts": fs.features(small), "found": found, "truth": truth, "inside": inside * step,
        "low": np.array([nodes[0]]), "toned": np.array([float(example.toned)]), "loss": np.array([example.loss]),
        "kind": np.array([list(SHARES).index(kind)]),
    }  # fmt: skip


def gather(paths: list[Path], seed: int, draws: int) -> dict[str, NDArray[np.float64]]:
    with ProcessPoolExecutor(2) as pool:
        found = [r for rs in pool.map(partial(rows, seed=seed, draws=draws), paths, chunksize=8) for r in rs]
    return {name: np.stack([r[name] for r in found]) for name in found[0]}


def prints(out, data):
    """Predicted R, G, B densities (N, RANKS, 3) before trust, trust, and what their gradient needs."""
    n = fs.NODES
    steep = np.exp(np.clip(out[:, 1:n], -3, 3))
    grey = data["low"] + 0.1 * out[:, :1] + np.einsum("nrk,nk->nr", data["inside"], steep)
    red = 0.02 * (out[:, n : n + 1] + out[:, n + 1 : n + 2] * grey)
    blue = 0.05 * (out[:, n + 2 : n + 3] + out[:, n + 3 : n + 4] * grey)
    s = 1 / (1 + np.exp(-out[:, n + 4 : n + 5]))
    trust = np.clip(1.2 * s - 0.1, 0, 1)
    return grey, red, blue, steep, s, trust


def loss_and_gradient(out, data):
    """Mean colour difference (a quadratic form in density with CIELAB's own slopes) and its gradient."""
    n = fs.NODES
    grey, red, blue, steep, s, trust = prints(out, data)
    mix = fs.MIX.astype(np.float64)
    found, truth = data["found"], data["truth"]
    found_g, truth_g = found @ mix, truth @ mix
    found_rb = found[..., [0, 2]] - found_g[..., None]
    truth_rb = truth[..., [0, 2]] - truth_g[..., None]
    # slopes of L*, a*, b* against density at the true tone: 116/3 ln10 Y^(1/3), and 500/3, 200/3 likewise;
    # a* moves with R - G: (R-G) = e_r(1 + .5/.4) + e_b(.1/.4); weighted by what CIEDE2000 makes of chroma near grey
    cube = 10 ** (-np.clip(truth_g, 0, 3) / 3)
    w_l, w_a, w_b = 89 * cube, 110 * cube, 110 * cube
    gradient = np.zeros_like(out)
    # twice: as trusted, and (lightly) as if wholly trusted, so that what is not trusted is sensible all the same
    for t, weight in ((trust, 1.0), (np.ones_like(trust), 0.15)):
        e_l = found_g + t * (grey - found_g) - truth_g
        e_r = found_rb[..., 0] + t * (red - found_rb[..., 0]) - truth_rb[..., 0]
        e_b = found_rb[..., 1] + t * (blue - found_rb[..., 1]) - truth_rb[..., 1]
        a = 2.25 * e_r + 0.25 * e_b
        b = e_b - 0.3 * e_r
        difference = np.sqrt((w_l * e_l) ** 2 + (w_a * a) ** 2 * 0.25 + (w_b * b) ** 2 + 0.05)
        if weight == 1.0:
            mean = difference.mean(axis=1)
        share = weight / difference / RANKS
        d_l, d_a, d_b = w_l**2 * e_l * share, 0.25 * w_a**2 * a * share, w_b**2 * b * share
        d_er, d_eb = 2.25 * d_a - 0.3 * d_b, 0.25 * d_a + d_b
        d_grey = t * d_l + t * (d_er * 0.02 * out[:, n + 1 : n + 2] + d_eb * 0.05 * out[:, n + 3 : n + 4])
        gradient[:, 0] += 0.1 * d_grey.sum(1)
        gradient[:, 1:n] += np.einsum("nr,nrk->nk", d_grey, data["inside"]) * steep * (np.abs(out[:, 1:n]) < 3)
        gradient[:, n] += (0.02 * t * d_er).sum(1)
        gradient[:, n + 1] += (0.02 * t * d_er * grey).sum(1)
        gradient[:, n + 2] += (0.05 * t * d_eb).sum(1)
        gradient[:, n + 3] += (0.05 * t * d_eb * grey).sum(1)
        if weight == 1.0:
            towards = d_l * (grey - found_g) + d_er * (red - found_rb[..., 0]) + d_eb * (blue - found_rb[..., 1])
            free = (trust > 0) & (trust < 1)
            gradient[:, n + 4] = (towards.sum(1, keepdims=True) + TRUST_COST)[:, 0] * 1.2 * (s * (1 - s) * free)[:, 0]
    # toned: cross-entropy; loss: Laplace likelihood with its own scale
    p = 1 / (1 + np.exp(-out[:, n + 5]))
    gradient[:, n + 5] = p - data["toned"][:, 0]
    miss, scale = out[:, n + 6] - data["loss"][:, 0], np.exp(np.clip(out[:, n + 7], -4, 0))
    gradient[:, n + 6] = np.sign(miss) / scale * 0.3
    gradient[:, n + 7] = (1 - np.abs(miss) / scale) * 0.3
    return mean, gradient


def start(facts, hidden, rng):
    centre, spread = facts.mean(0), facts.std(0) + 0.01
    sizes = [facts.shape[1], hidden, hidden, fs.OUTPUTS]
    weights = [rng.standard_normal((a, b)) * np.sqrt(2 / a) for a, b in pairwise(sizes)]
    weights[-1] *= 0.1
    biases = [np.zeros(b) for b in sizes[1:]]
    biases[-1][fs.NODES + 7] = -2
    return centre, spread, weights, biases


def fit(data, check, hidden=96, epochs=60, seed=1, decay=2e-4):
    rng = np.random.default_rng(seed)
    centre, spread, weights, biases = start(data["facts"], hidden, rng)
    parameters = [*weights, *biases]
    first, second = [np.zeros_like(p) for p in parameters], [np.zeros_like(p) for p in parameters]
    count, batch, step = len(data["facts"]), 256, 0
    total = epochs * (count // batch)
    for epoch in range(epochs):
        order = rng.permutation(count)
        for at in range(0, count - batch + 1, batch):
            pick = order[at : at + batch]
            part = {k: v[pick] for k, v in data.items()}
            x0 = np.clip((part["facts"] - centre) / spread, -6, 6)
            x0 = x0 + NOISE * rng.standard_normal(x0.shape)
            h1 = np.maximum(x0 @ weights[0] + biases[0], 0)
            h2 = np.maximum(h1 @ weights[1] + biases[1], 0)
            out = h2 @ weights[2] + biases[2]
            _, g = loss_and_gradient(out, part)
            g = np.clip(g, -50, 50) / batch
            g2 = (g @ weights[2].T) * (h2 > 0)
            g1 = (g2 @ weights[1].T) * (h1 > 0)
            grads = [x0.T @ g1, h1.T @ g2, h2.T @ g, g1.sum(0), g2.sum(0), g.sum(0)]
            step += 1
            rate = 2e-3 * min(1, step / 200) * 0.5 * (1 + np.cos(np.pi * step / total))
            for i, (p, d) in enumerate(zip(parameters, grads, strict=True)):
                first[i] = 0.9 * first[i] + 0.1 * d
                second[i] = 0.999 * second[i] + 0.001 * d * d
                corrected = (first[i] / (1 - 0.9**step)) / (np.sqrt(second[i] / (1 - 0.999**step)) + 1e-8)
                np.subtract(p, rate * (corrected + (decay * 50 * p if p.ndim == 2 else 0)), out=p)
        if epoch % 10 == 9:
            net = fs.Network(centre, spread, tuple(weights), tuple(biases))
            print(epoch, figures(net, data)[:2], "|", figures(net, check), flush=True)
    return fs.Network(centre, spread, tuple(weights), tuple(biases))


def figures(net, data):
    """Median difference by kind, and before."""
    out = net.answer(data["facts"])
    mean, _ = loss_and_gradient(out, data)
    text = []
    for i, kind in enumerate(SHARES):
        chosen = data["kind"][:, 0] == i
        text.append(f"{kind} {np.median(mean[chosen]):.2f}/{np.quantile(mean[chosen], 0.9):.2f}")
    return mean.mean().round(3), "  ".join(text)


def save(net: fs.Network) -> None:
    np.savez_compressed(
        WEIGHTS, centre=net.centre.astype(np.float32), spread=net.spread.astype(np.float32),
        **{f"weight{i}": w.astype(np.float16) for i, w in enumerate(net.weights)},
        **{f"bias{i}": b.astype(np.float32) for i, b in enumerate(net.biases)},
    )  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("photographs", type=Path)
    parser.add_argument("--draws", type=int, default=16)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cache", type=Path)
    options = parser.parse_args()
    if options.cache and options.cache.exists():
        stored = np.load(options.cache)
        data, check = ({k[2:]: stored[k] for k in stored.files if k[0] == which} for which in "dc")
    else:
        data = gather(pictures(options.photographs, report=False), options.seed, options.draws)
        check = gather(pictures(options.photographs, report=True), options.seed + 100, 6)
        if options.cache:
            np.savez(options.cache, **{"d_" + k: v for k, v in data.items()}, **{"c_" + k: v for k, v in check.items()})
    print({k: v.shape for k, v in data.items()})
    save(fit(data, check, seed=options.seed))


if __name__ == "__main__":
    main()

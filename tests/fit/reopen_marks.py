"""Weights of a finished marks network as a fit can go on from: ``python reopen_marks.py ARRAYS.npz DATA OUT.npz``.

An ONNX file holds every batch normalisation folded into its convolution. ARRAYS.npz holds the weights and biases of the
file's convolutions in their order, named w0, b0, w1, b1 ... (read with ``onnx.numpy_helper``). The normalisations are
unfolded again with the mean and spread that batches of DATA have there.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import torch
from damage import CLASSES
from fit_marks import HEIGHT, WIDTH, draw, sample
from nets import MarksNet
from sheets import Material
from torch import nn

_SAMPLES, _BATCHES, _BATCH = 160, 24, 32


def folded(path: Path) -> MarksNet:
    """The network with the stored convolutions; its normalisations do nothing but add the stored biases."""
    net, order = MarksNet(len(CLASSES)).eval(), []
    layers = [m for m in net.modules() if isinstance(m, nn.Conv2d | nn.ConvTranspose2d)]
    hooks = [layer.register_forward_hook(lambda m, *_: order.append(m)) for layer in layers]
    net(torch.zeros(1, 3, HEIGHT, WIDTH))
    for hook in hooks:
        hook.remove()
    follows = {m[0]: m[1] for m in net.modules() if isinstance(m, nn.Sequential) and isinstance(m[1], nn.BatchNorm2d)}
    with np.load(path) as stored, torch.no_grad():
        for number, layer in enumerate(order):
            layer.weight.copy_(torch.from_numpy(stored[f"w{number}"]))
            bias = torch.from_numpy(stored[f"b{number}"])
            if layer not in follows:
                layer.bias.copy_(bias)
                continue
            norm = follows[layer]
            norm.running_mean.zero_()
            norm.running_var.fill_(1 - norm.eps)
            norm.weight.fill_(1)
            norm.bias.copy_(bias)
    return net


@torch.no_grad()
def unfolded(net: MarksNet, batches: list[torch.Tensor]) -> MarksNet:
    """The same network, each normalisation with the mean and variance that the batches have before it."""
    sums = {m: [0.0, 0.0, 0] for m in net.modules() if isinstance(m, nn.BatchNorm2d)}

    def add(norm: nn.Module, given: tuple[torch.Tensor]) -> None:
        flat = given[0].transpose(0, 1).flatten(1).double()
        for place, value in enumerate((flat.sum(1), flat.square().sum(1), flat.shape[1])):
            sums[norm][place] += value

    hooks = [norm.register_forward_pre_hook(add) for norm in sums]
    for batch in batches:
        net(batch)
    for hook in hooks:
        hook.remove()
    for norm, (total, squares, count) in sums.items():
        mean = total / count
        variance = squares / count - mean**2
        spread = (variance + norm.eps).sqrt()
        norm.running_mean.copy_(mean)
        norm.running_var.copy_(variance)
        norm.weight.copy_(spread)
        norm.bias.add_(mean)
    return net


def main() -> None:
    """Read, unfold, check that nothing changed, write."""
    arrays, data, out = map(Path, sys.argv[1:4])
    torch.manual_seed(0)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    rng, material = np.random.default_rng(0), Material(data)
    pictures, labels = zip(*(sample(rng, material) for _ in range(_SAMPLES)), strict=True)
    pool = torch.from_numpy(np.stack(pictures)).half().to(device)
    truth = torch.from_numpy(np.stack(labels)).to(device)
    batches = [draw(pool, truth, _BATCH)[0] for _ in range(_BATCHES)]
    net = folded(arrays).to(device)
    with torch.no_grad():
        before = net(batches[0])
        net = unfolded(net, batches)
        change = (net(batches[0]) - before).abs().max().item()
    print(f"largest change of a score {change:.5f}, of scores up to {before.abs().max().item():.1f}")
    np.savez(out, **{name: value.cpu().numpy() for name, value in net.state_dict().items()})


if __name__ == "__main__":
    main()

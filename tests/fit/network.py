"""The estimator as torch sees it: features, one first guess, refining members, a head for lots.

`surrogate.condition.fade_network` is the same arithmetic in numpy; a test holds the two together by figures that
the fit writes beside the weights.
"""

import torch
from family import constant, inverse, light_fade
from torch import Tensor, nn

QUANTILES = (
    0.002, 0.005, 0.01, 0.02, 0.035, 0.05, 0.08, 0.12, 0.16, 0.2, 0.25, 0.3, 0.35, 0.4, 0.45, 0.5,
    0.55, 0.6, 0.65, 0.7, 0.75, 0.8, 0.84, 0.88, 0.92, 0.95, 0.965, 0.98, 0.99, 0.995, 0.998,
)  # fmt: skip
BINS = 14
FEATURES = 3 * len(QUANTILES) + 4 * BINS + 6
# theta: log share 3, base 3, fresh base 3, light 3, the dyes' own side absorptions 6; the step of each that one unit of
# output makes
STEP = (0.3, 0.3, 0.3, 0.05, 0.05, 0.05, 0.03, 0.03, 0.03, 0.4, 0.4, 0.4, *(0.06,) * 6)
START = (*(0.0,) * 6, 0.07, 0.07, 0.07, *(0.0,) * 9)
THETA = len(STEP)
ROOT_SCALE = (1 / 0.06, 1 / 0.06, 1 / 0.06, 1 / 0.02, 1 / 0.02, 1 / 0.02)
LOWER = tuple((row, column) for row in range(6) for column in range(row + 1))
PLACE = tuple(tuple(float(6 * r + c == at) for at in range(36)) for r, c in LOWER)
OUT = THETA + 1 + len(LOWER)


def features(density: Tensor) -> Tensor:
    """(B,3,H,W) density to (B,FEATURES): quantiles, colour against tone, covariance, of every second pixel."""
    d = density[:, :, ::2, ::2].flatten(2)
    pixels = d.shape[2]
    at = constant(tuple(round(q * (pixels - 1)) for q in QUANTILES), str(d.device))
    quantile = d.sort(2).values[:, :, at]
    order = d.mean(1).argsort(1)[:, None].expand(-1, 2, -1)
    chroma = torch.stack([d[:, 0] - d[:, 1], d[:, 2] - d[:, 1]], 1).gather(2, order)
    chroma = chroma.reshape(len(d), 2, BINS, pixels // BINS)
    centred = d - d.mean(2, keepdim=True)
    covariance = centred @ centred.transpose(1, 2) / pixels
    return torch.cat(
        [
            quantile.flatten(1),
            chroma.mean(3).flatten(1),
            chroma.std(3, correction=0).flatten(1),
            covariance.flatten(1)[:, constant((0, 1, 2, 4, 5, 8), str(d.device))],
        ],
        1,
    )


class Optics(nn.Module):
    """What recovery assumes of all prints: mean side absorptions of the dyes and their self-shading, learned."""

    def __init__(self, *, one_for_all: bool) -> None:
        super().__init__()
        self.one_for_all = one_for_all
        self.off = nn.Parameter(torch.tensor([0.08, 0.02, 0.24, 0.08, 0.11, 0.24]))
        self.beta = nn.Parameter(torch.tensor(2.3))

    def matrix(self, own: Tensor) -> Tensor:
        """(B,3,3) dye matrices, rows summing to 1, of prints whose side absorptions differ by (B,6) from the mean."""
        o = (self.off + (0 * own if self.one_for_all else own)).clamp(-0.05, 0.6)
        one = torch.ones_like(o[:, 0])
        rows = ((one, o[:, 0], o[:, 1]), (o[:, 2], one, o[:, 3]), (o[:, 4], o[:, 5], one))
        m = torch.stack([torch.stack(row, 1) for row in rows], 1)
        return m / m.sum(2, keepdim=True)


def gated(theta: Tensor, gate: Tensor) -> Tensor:
    """Theta drawn towards "leave it alone" by (B,1) gate 0..1: share 1, no stain, no light."""
    share, base, fresh, tau, own = theta.split([3, 3, 3, 3, 6], 1)
    return torch.cat([gate * share, base, base + gate * (fresh - base), gate * tau, own], 1)


def recover(density: Tensor, theta: Tensor, optics: Optics) -> Tensor:
    """(B,3,S) scan to the print before it aged, by (B,THETA) theta."""
    own = theta[:, 12:]
    share, base, fresh, tau = (x[:, :, None] for x in theta[:, :12].split(3, 1))
    matrix = optics.matrix(own)
    amount = inverse(matrix) @ (density - base)
    beta = optics.beta.clamp(1.0, 6.0)
    return fresh + matrix @ unfade(amount, share, tau, beta)


def unfade(amount: Tensor, log_share: Tensor, tau: Tensor, beta: Tensor) -> Tensor:
    """Dye before it faded: light undone by its closed form, then the dark share, such that 1.0 kept exp(log_share)."""
    tau = tau.clamp(-0.5, 3.0)
    one = torch.ones_like(log_share)
    dark = light_fade_inverse(torch.exp(log_share.clamp(-2.5, 0.3)) * one, tau, beta)
    return light_fade_inverse(amount, tau, beta) / dark


def light_fade_inverse(amount: Tensor, tau: Tensor, beta: Tensor) -> Tensor:
    return light_fade(amount.clamp(-4, 6), -tau, beta)


class Member(nn.Module):
    """A small convolutional network on the density picture beside a regression on its features."""

    def __init__(self, widths: tuple[int, ...], hidden: int, drop: float, without: str) -> None:
        super().__init__()
        self.without = without
        layers: list[nn.Module] = []
        before = 3
        for number, width in enumerate(widths):
            layers += [
                nn.Conv2d(before, width, 5 if number == 0 else 3, stride=2, padding=2 if number == 0 else 1),
                nn.ReLU(),
            ]
            before = width
        self.convolutions = nn.Sequential(*layers)
        self.register_buffer("centre", torch.zeros(2 * FEATURES + THETA + 4))
        self.register_buffer("spread", torch.ones(2 * FEATURES + THETA + 4))
        inputs = 2 * FEATURES + THETA + 4 + 2 * before
        self.first, self.second, self.last = (
            nn.Linear(inputs, hidden),
            nn.Linear(hidden, hidden),
            nn.Linear(hidden, OUT),
        )
        self.drop = nn.Dropout(drop)
        with torch.no_grad():
            self.last.weight.mul_(0.1)
            self.last.bias.zero_()

    def forward(self, picture: Tensor, facts: Tensor) -> tuple[Tensor, Tensor]:
        """(B,3,H,W) recovered density, (B,2*FEATURES+THETA+4) facts to (B,OUT) and the hidden layer (B,hidden)."""
        seen = self.convolutions(picture - 0.7)
        seen = torch.cat([seen.mean((2, 3)), seen.amax((2, 3))], 1)
        facts = (facts - self.centre) / self.spread
        if self.without == "convolutions":
            seen = torch.zeros_like(seen)
        if self.without == "features":
            facts = torch.cat([torch.zeros_like(facts[:, : 2 * FEATURES]), facts[:, 2 * FEATURES :]], 1)
        x = torch.cat([facts, seen], 1)
        x = torch.relu(self.first(self.drop(x)))
        x = torch.relu(self.second(self.drop(x)))
        return self.last(x), x


def start(scan: Tensor, border: Tensor) -> Tensor:
    """(B,THETA) first theta: nothing lost; the base read from the border or, without one, from the lightest part."""
    light = scan[:, :, ::2, ::2].flatten(2).sort(2).values
    lightest = light[:, :, round(0.005 * (light.shape[2] - 1))]
    theta = constant(START, str(scan.device)).repeat(len(scan), 1)
    theta[:, 3:6] = torch.where(border[:, :1] > 0.5, border[:, 1:], lightest)
    return theta


def moved(theta: Tensor, out: Tensor) -> tuple[Tensor, Tensor, Tensor]:
    """New theta, gate (B,1) and the lower triangle (B,6,6) of the precision's root, from a network's output."""
    theta = theta + out[:, :THETA] * constant(STEP, str(out.device))
    gate = (1.2 * torch.sigmoid(out[:, THETA : THETA + 1] + 2.0) - 0.1).clamp(0, 1)
    scale = constant(ROOT_SCALE, str(out.device))
    root = out[:, THETA + 1 :] @ constant(PLACE, str(out.device))
    root = root.reshape(-1, 6, 6)
    diagonal = torch.exp(torch.diagonal(root, dim1=1, dim2=2).clamp(-4, 4))
    root = torch.tril(root, -1) + torch.diag_embed(diagonal)
    return theta, gate, scale[None, :, None] * root


class Lot(nn.Module):
    """Prints of one lot: each print's hidden layer and estimate pooled into one shared estimate."""

    def __init__(self, hidden: int, width: int = 128) -> None:
        super().__init__()
        self.each = nn.Linear(hidden + THETA + 6, width)
        self.each2 = nn.Linear(width, width)
        self.both = nn.Linear(2 * width + THETA + 1, width)
        self.last = nn.Linear(width, OUT)
        with torch.no_grad():
            self.last.weight.mul_(0.1)
            self.last.bias.zero_()

    def forward(self, hidden: Tensor, theta: Tensor, diagonal: Tensor, present: Tensor) -> tuple[Tensor, Tensor]:
        """(L,N,hidden), (L,N,THETA), (L,N,6) log of precision's root, (L,N) 1 present -> output, start theta."""
        x = torch.relu(
            self.each(
                torch.cat(
                    [
                        hidden,
                        (theta - constant(START, str(theta.device))) / constant(STEP, str(theta.device)),
                        diagonal,
                    ],
                    2,
                )
            )
        )
        x = torch.relu(self.each2(x)) * present[:, :, None]
        count = present.sum(1, keepdim=True)
        weight = present[:, :, None] * torch.exp(2 * diagonal.clamp(-4, 4))
        mean6 = (weight * theta[:, :, :6]).sum(1) / weight.sum(1)
        rest = (present[:, :, None] * theta[:, :, 6:]).sum(1) / count
        mean = torch.cat([mean6, rest], 1)
        pooled = torch.cat(
            [
                x.sum(1) / count,
                x.amax(1),
                (mean - constant(START, str(mean.device))) / constant(STEP, str(mean.device)),
                torch.log(count),
            ],
            1,
        )
        return self.last(torch.relu(self.both(pooled))), mean


class Estimator(nn.Module):
    """First guess, then two rounds in which members look at the picture as recovered so far."""

    def __init__(self, members: int = 3, drop: float = 0.3, without: str = "") -> None:
        super().__init__()
        self.optics = Optics(one_for_all=without == "dyes")
        self.guess = Member((16, 32, 64, 64, 64), 192, drop, without)
        self.members = nn.ModuleList(Member((24, 48, 80, 96, 112), 224, drop, without) for _ in range(members))
        self.lot = Lot(224)

    def facts(self, now: Tensor, before: Tensor, theta: Tensor, border: Tensor) -> Tensor:
        return torch.cat(
            [
                features(now),
                before,
                (theta - constant(START, str(theta.device))) / constant(STEP, str(theta.device)),
                border,
            ],
            1,
        )

    def recovered(self, scan: Tensor, theta: Tensor) -> Tensor:
        return recover(scan.flatten(2), theta, self.optics).clamp(-0.5, 3.5).reshape(scan.shape)

    def forward(
        self, scan: Tensor, border: Tensor, rounds: int = 2
    ) -> tuple[list[tuple[Tensor, Tensor, Tensor, float]], Tensor]:
        """All estimates on the way (theta, gate, root of precision, weight in the loss) and the mean hidden layer."""
        before = features(scan)
        theta = start(scan, border)
        with torch.no_grad():
            now = self.recovered(scan, theta)
        out, hidden = self.guess(now, self.facts(now, before, theta, border))
        made = [(*moved(theta, out), 0.3)]
        theta = made[-1][0].detach()
        for number in range(rounds):
            with torch.no_grad():
                now = self.recovered(scan, theta)
                facts = self.facts(now, before, theta, border)
            outs, hiddens = zip(*(member(now, facts) for member in self.members), strict=True)
            last = number == rounds - 1
            made += [(*moved(theta, out), (1.0 if last else 0.4) / len(outs)) for out in outs]
            mean = torch.stack(outs).mean(0)
            hidden = torch.stack(hiddens).mean(0)
            made.append((*moved(theta, mean), 0.0))
            theta = made[-1][0].detach()
        return made, hidden

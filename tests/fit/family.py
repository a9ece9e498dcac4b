"""The broad family of simulated ageing that the fade estimator is fitted on (torch, batches on an accelerator).

A print is a photograph printed on a paper with its own base, black and dyes. Ageing multiplies the dyes and stains
the base; a scanner then adds flare, small errors of its profile and noise. Everything is in optical density of
linear light, so each step is one line. Ranges are wide on purpose: a narrow family fits better and generalises worse.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import spectral
import torch
from spectral import inverse
from torch import Tensor

PROXY = 112  # edge of the square picture that the estimator looks at, px
FLOOR = 2.8  # density floor of the scans
#: Share of scenes that are a row of grey steps: what they have lost can be worked out by hand, and must come out so.
CHARTS = 0.03


@lru_cache
def constant(values: tuple, device: str) -> Tensor:
    """A tensor of constants, made once for each device (a captured step cannot copy from the host)."""
    return torch.tensor(values, device=device)


@dataclass(frozen=True)
class Batch:
    """Scans and what is true of them. Shapes: B prints, P = PROXY * PROXY pixels."""

    scan: Tensor  # (B,3,PROXY,PROXY) density as scanned, with noise
    clean: Tensor  # (B,3,S) a sample of pixels without noise, as scanned
    truth: Tensor  # (B,3,S) the same pixels of the print before it aged
    log_share: Tensor  # (B,3) log of the share of C, M, Y dye kept at density 1.0 above base
    base: Tensor  # (B,3) R, G, B density of the base as scanned
    border: Tensor  # (B,4) flag, R, G, B density of the white border as measured
    level: Tensor  # (B,) 0 unfaded, 1 mild, 2 medium, 3 severe


class Draw:
    """Random numbers of one seeded generator on one device."""

    def __init__(self, seed: int, device: str) -> None:
        self.generator = torch.Generator(device=device)
        self.generator.manual_seed(seed)
        self.device = device

    def uniform(self, low: float, high: float, *shape: int) -> Tensor:
        return low + (high - low) * torch.rand(*shape, generator=self.generator, device=self.device)

    def normal(self, sd: float, *shape: int) -> Tensor:
        return sd * torch.randn(*shape, generator=self.generator, device=self.device)

    def chance(self, probability: float, *shape: int) -> Tensor:
        return torch.rand(*shape, generator=self.generator, device=self.device) < probability

    def index(self, high: int, *shape: int) -> Tensor:
        return torch.randint(high, shape, generator=self.generator, device=self.device)


def linear(code: Tensor) -> Tensor:
    """sRGB code 0..1 to linear light (IEC 61966-2-1)."""
    return torch.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055).clamp(min=1e-6) ** 2.4)


def dye_matrices(draw: Draw, n: int) -> Tensor:
    """(n,3,3): R, G, B density of unit amounts of C, M, Y; rows sum to 1, so equal amounts are neutral."""
    off = {  # (row, column): range of the unwanted absorption beside a main absorption of 1
        (1, 0): (0.10, 0.38), (2, 0): (0.03, 0.22), (0, 1): (0.02, 0.18),
        (2, 1): (0.10, 0.38), (0, 2): (0.00, 0.05), (1, 2): (0.02, 0.18),
    }  # fmt: skip
    matrix = torch.eye(3, device=draw.device).repeat(n, 1, 1)
    for (row, column), (low, high) in off.items():
        matrix[:, row, column] = draw.uniform(low, high, n)
    return matrix / matrix.sum(2, keepdim=True)


def light_fade(amount: Tensor, tau: Tensor, beta: Tensor) -> Tensor:
    """Dye left after light: dc/dt = -(1 - exp(-beta c)), the dye shading itself, so thin densities lose most."""
    faded = torch.log1p(torch.expm1(beta * amount.clamp(min=0)) * torch.exp(-tau)) / beta
    return torch.where(amount > 0, faded, amount * torch.exp(-tau))


def charts(draw: Draw, n: int) -> Tensor:
    """(n,1,PROXY,PROXY) linear light of neutral steps from white to as dark as light goes, in or out of order."""
    place = torch.arange(PROXY, device=draw.device) / PROXY
    steps = draw.index(36, n, 1) + 5
    number = (place[None] * steps).floor()
    order = draw.uniform(0, 1, n, 41).argsort(1).float() * steps / 41
    mixed = torch.where(draw.chance(0.3, n, 1), order.gather(1, number.long()).floor(), number)
    density = 3 * mixed / (steps - 1)
    return (10**-density)[:, None, None, :].expand(-1, -1, PROXY, -1)


def scenes(photographs: Tensor, draw: Draw, n: int) -> Tensor:
    """(n,3,PROXY,PROXY) linear light of random crops, flips and small changes of exposure, contrast and colour."""
    picture = photographs[draw.index(len(photographs), n)]
    # one in three is two scenes, side by side or one above the other: more variety than the photographs have
    for axis, often in ((3, 0.2), (2, 0.16)):
        other, cut = photographs[draw.index(len(photographs), n)], draw.uniform(0.3, 0.7, n, 1) * picture.shape[axis]
        beside = (torch.arange(picture.shape[axis], device=draw.device)[None] > cut) & draw.chance(often, n, 1)
        picture = torch.where(beside[:, None, None, :] if axis == 3 else beside[:, None, :, None], other, picture)
    size, position = draw.uniform(0.5, 1.0, n, 2), draw.uniform(-1, 1, n, 2)
    size = torch.where(draw.chance(0.35, n, 1), torch.ones_like(size), size)
    flip = torch.where(draw.chance(0.5, n), -1.0, 1.0)
    theta = torch.zeros(n, 2, 3, device=draw.device)
    theta[:, 0, 0], theta[:, 1, 1] = size[:, 0] * flip, size[:, 1]
    theta[:, :, 2] = position * (1 - size)
    grid = torch.nn.functional.affine_grid(theta, [n, 3, 2 * PROXY, 2 * PROXY], align_corners=False)
    code = torch.nn.functional.grid_sample(picture.float() / 255, grid, align_corners=False, padding_mode="border")
    light = torch.nn.functional.avg_pool2d(linear(code), 2)
    light = torch.where(draw.chance(CHARTS, n, 1, 1, 1), charts(draw, n), light)
    turned = draw.chance(0.12, n)
    light = torch.where(turned[:, None, None, None], light.transpose(2, 3), light)
    changed = draw.chance(0.75, n, 1, 1, 1).float()
    gamma = torch.exp(changed * (draw.normal(0.13, n, 1, 1, 1) + draw.normal(0.015, n, 3, 1, 1)))
    gain = torch.exp(changed * (draw.normal(0.26, n, 1, 1, 1) + draw.normal(0.055, n, 3, 1, 1)))
    colour = 1 + changed * draw.normal(0.16, n, 1, 1, 1)
    density = -torch.log10(light.clamp(1e-3, 1)) * gamma - torch.log10(gain)
    mean = density.mean(1, keepdim=True)
    density = mean + (density - mean) * colour
    return 10 ** -(torch.nn.functional.softplus(density * 25) / 25)  # highlights bend to paper white, never past it


def printed(light: Tensor, draw: Draw, n: int) -> tuple[Tensor, Tensor]:
    """Density above base of the fresh print, its black made by surface reflection or by the shoulder of the paper."""
    black = draw.uniform(1.7, 2.45, n, 1, 1, 1)
    veiled = -torch.log10(light * (1 - 10**-black) + 10**-black)
    density = -torch.log10(light.clamp(min=1e-3))
    hard = draw.uniform(3.0, 9.0, n, 1, 1, 1)
    # a hyperbolic tangent bends about as 2.2, an exponential approach as 1.7, a straight line that is cut off above 9
    soft = torch.exp(draw.uniform(math.log(1.6), math.log(4.0), n, 1, 1, 1))
    bend = torch.where(draw.chance(0.2, n, 1, 1, 1), soft, hard)
    shouldered = density / (1 + (density / black).clamp(min=0) ** bend) ** (1 / bend)
    return torch.where(draw.chance(0.5, n, 1, 1, 1), veiled, shouldered), black


#: Loss of C, M, Y as a part of the worst one, from and to, and how often (cumulated).
PATTERNS = (
    ((1.0, 1.0), (0.10, 0.7), (0.1, 0.8)),  # dark, cyan first
    ((0.2, 0.8), (0.1, 0.5), (1.0, 1.0)),  # dark, yellow first
    ((0.2, 0.8), (1.0, 1.0), (0.2, 0.9)),  # light, magenta first: LIGHT_PATTERN
    ((0.0, 1.0), (0.0, 1.0), (0.0, 1.0)),  # any
    ((0.8, 1.0), (0.8, 1.0), (0.8, 1.0)),  # all alike
)
PATTERN_SHARES = (0.34, 0.48, 0.72, 0.90)
LIGHT_PATTERN = 2


def shares(draw: Draw, n: int) -> tuple[Tensor, Tensor, Tensor]:
    """(n,3) log share kept, (n,3) how much of it went by light 0..1, (n,) level, a quarter of each: unfaded to severe.

    Two in five faded prints have one pattern, in the dark or partly by light; the others have hung and lain: the
    patterns of dark fading and of light are drawn each for itself and add up.
    """
    level = draw.index(4, n)
    low = constant((1.0, 0.78, 0.48, 0.16), draw.device)[level]
    high = constant((1.0, 0.96, 0.82, 0.56), draw.device)[level]
    worst = torch.log(low + (high - low) * draw.uniform(0, 1, n))
    ranges = constant(PATTERNS, draw.device)

    def pattern(pick: Tensor) -> Tensor:
        least, most = ranges[pick].unbind(2)
        return least + (most - least) * draw.uniform(0, 1, n, 3)

    one = pattern(torch.searchsorted(constant(PATTERN_SHARES, draw.device), draw.uniform(0, 1, n)).clamp(max=4))
    one_by_light = (draw.uniform(0, 1, n, 1) * draw.chance(0.5, n, 1)).expand(n, 3)
    part = draw.uniform(0, 1, n, 1)
    dark, light = (1 - part) * pattern(draw.index(2, n)), part * pattern(torch.full_like(level, LIGHT_PATTERN))
    both = dark + light
    two = draw.chance(0.6, n, 1)
    weight = torch.where(two, both / both.amax(1, keepdim=True), one)
    return worst[:, None] * weight, torch.where(two, light / both, one_by_light), level


def aged(photographs: Tensor, draw: Draw, lots: int, each: int, samples: int = 1024) -> Batch:
    """`lots` ageings of `each` prints, B = lots * each: prints of a lot follow each other, only their scenes differ."""
    n = lots * each

    def of_lot(value: Tensor) -> Tensor:
        return value.repeat_interleave(each, 0)

    light = scenes(photographs, draw, n)
    above, _ = printed_lot(light, draw, lots, each)
    matrix = of_lot(dye_matrices(draw, lots))
    # fresh base: white papers read 0.03 to 0.12, near neutral; photographs' own white may be the paper itself
    fresh = of_lot((draw.uniform(0.0, 0.12, lots, 1) + draw.normal(0.008, lots, 3)).clamp(min=-0.01))
    amount = inverse(matrix) @ above.flatten(2)
    amount = torch.where(of_lot(draw.chance(0.5, lots, 1, 1)), amount.clamp(min=0), amount)
    truth = fresh[:, :, None] + matrix @ amount

    log_share, by_light, level = shares(draw, lots)
    reach = constant((0.0, 0.08, 0.17, 0.32), draw.device)[level][:, None]
    stained = reach * draw.uniform(0, 1, lots, 1) ** 1.4 * draw.chance(0.88, lots, 1)
    dark = torch.exp(log_share * (1 - by_light))
    beta = draw.uniform(1.2, 4.0, lots, 1)
    tau = torch.log(torch.expm1(beta * dark) / torch.expm1(beta * torch.exp(log_share)))
    log_share, level, dark, beta, tau = (of_lot(x) for x in (log_share, level, dark, beta, tau))

    def left(dye: Tensor) -> Tensor:
        return light_fade(dye * dark[:, :, None], tau[:, :, None], beta[:, :, None])

    direction = torch.stack(
        [draw.uniform(0, 0.35, lots), draw.uniform(0.15, 0.65, lots), torch.ones(lots, device=draw.device)], 1
    )
    base = fresh + of_lot(stained * direction)
    density = base[:, :, None] + matrix @ left(amount)

    # half of the lots have spectral dyes before broad sensors instead, so that no matrix undoes them exactly
    dyes = spectral.Lots(*(of_lot(part) for part in spectral.lots(draw, lots, stained)))
    amount = spectral.amounts(dyes, above.flatten(2))
    is_spectral = of_lot(draw.chance(0.5, lots, 1, 1))
    truth = torch.where(is_spectral, fresh[:, :, None] + spectral.unfaded(dyes, amount), truth)
    base = torch.where(is_spectral[:, :, 0], fresh + spectral.stain(dyes), base)
    density = torch.where(is_spectral, fresh[:, :, None] + spectral.aged(dyes, amount, left(amount)), density)

    # stain is not even over the sheet
    uneven = draw.uniform(0, 0.15, n, 1, 1, 1) * draw.chance(0.6, n, 1, 1, 1) * draw.normal(1.0, n, 1, 3, 3)
    field = torch.nn.functional.interpolate(uneven, (PROXY, PROXY), mode="bicubic", align_corners=True)
    density = density + (base - fresh)[:, :, None] * field.flatten(2)

    # the scanner: flare, slope and offset of its density, a small error of its colour matrix; two thirds are good ones
    fault = torch.where(draw.chance(0.67, lots, 1), 0.7, 1.8)
    flare = of_lot(draw.uniform(0, 0.005, lots, 1) * fault)
    tone = draw.normal(0.008, lots, 1) + draw.normal(0.005, lots, 3)
    slope, offset = of_lot(1 + tone * fault), of_lot(draw.normal(0.005, lots, 3) * fault)
    error = draw.normal(0.009, lots, 3, 3) * fault[:, :, None]
    mix = of_lot(torch.eye(3, device=draw.device) + error - error.mean(2, keepdim=True))

    def scanned(value: Tensor) -> Tensor:
        light = (10**-value + flare[:, :, None]) / (1 + flare[:, :, None])
        light = (mix @ light).clamp(min=10**-FLOOR)
        return -torch.log10(light) * slope[:, :, None] + offset[:, :, None]

    seen = scanned(density)
    base = scanned(base[:, :, None])[:, :, 0]
    pixel = draw.index(PROXY * PROXY, n, 1, samples).expand(-1, 3, -1)
    # noise left after the reduction to the proxy, in linear light
    noise = draw.uniform(0.0003, 0.003, n, 1, 1)
    light = 10**-seen
    light = light + noise * (0.25 + light.clamp(min=0) ** 0.5) * draw.normal(1.0, *light.shape)
    scan = -torch.log10(light.clamp(min=10**-FLOOR)).reshape(n, 3, PROXY, PROXY)
    has = draw.chance(0.5, lots, 1).float().repeat_interleave(each, 0)
    measured, scan = bordered(scan, base, has, draw)
    return Batch(
        scan=scan,
        clean=seen.gather(2, pixel).clamp(max=FLOOR),
        truth=truth.gather(2, pixel),
        log_share=log_share,
        base=base,
        border=measured,
        level=level,
    )


def printed_lot(light: Tensor, draw: Draw, lots: int, each: int) -> tuple[Tensor, Tensor]:
    """`printed`, with one paper for each lot."""
    folded = light.reshape(lots, each * 3, PROXY, PROXY)
    above, black = printed(folded, draw, lots)
    return above.reshape(lots * each, 3, PROXY, PROXY), black


def bordered(scan: Tensor, base: Tensor, has: Tensor, draw: Draw) -> tuple[Tensor, Tensor]:
    """What the border detector reports, with its errors, and the slivers of border or surround that a crop leaves."""
    n = len(scan)
    sd = torch.where(draw.chance(0.12, n, 1), 0.015, 0.003)
    read = base + sd * draw.normal(1.0, n, 3)
    # rarely a blown sky or a bright wall is taken for a border
    lightest = scan.flatten(2)[:, :, ::16].sort(2).values[:, :, 15]
    false = (draw.chance(0.02, n, 1) & (has < 0.5)).float()
    flag = torch.maximum(has, false)
    value = has * read + false * lightest
    sliver = (draw.index(2, n, 1) + 1) * draw.chance(0.12, n, 1)
    row = torch.arange(PROXY, device=draw.device)
    edge = (row[None] < sliver) | (row[None] >= PROXY - sliver)
    edge = edge[:, None, :, None] | edge[:, None, None, :]
    dark = draw.chance(0.25, n, 1) & (has < 0.5)
    fill = torch.where(dark, draw.uniform(0.3, 2.0, n, 1) + torch.zeros_like(base), base)
    paint = edge & ((has > 0.5) | dark)[:, :, None, None]
    scan = torch.where(paint, fill[:, :, None, None], scan)
    return torch.cat([flag, value], 1), scan


TO_XYZ = (
    (0.4124564, 0.3575761, 0.1804375),
    (0.2126729, 0.7151522, 0.0721750),
    (0.0193339, 0.1191920, 0.9503041),
)


def lab(density: Tensor) -> Tensor:
    """(B,3,S) density of linear sRGB to CIELAB (D65)."""
    to_xyz = constant(TO_XYZ, str(density.device))
    white = to_xyz.sum(1)[:, None]
    ratio = (to_xyz / white) @ (10 ** -density.clamp(0, FLOOR))
    f = torch.where(ratio > 216 / 24389, ratio.clamp(min=1e-5) ** (1 / 3), (24389 / 27 * ratio + 16) / 116)
    return torch.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], 1)


def colour_difference(one: Tensor, other: Tensor) -> Tensor:
    """(B,S) CIEDE2000 of two (B,3,S) densities, without its rotation term, so that it is smooth to fit on."""
    a, b = lab(one), lab(other)
    chroma7 = ((a[:, 1:].norm(dim=1) + b[:, 1:].norm(dim=1)) / 2) ** 7
    g = 0.5 * (1 - torch.sqrt(chroma7 / (chroma7 + 25.0**7) + 1e-9))
    a1, b1 = a[:, 1] * (1 + g), b[:, 1] * (1 + g)
    ca, cb = torch.sqrt(a1**2 + a[:, 2] ** 2 + 1e-4), torch.sqrt(b1**2 + b[:, 2] ** 2 + 1e-4)
    dh2 = ((a1 - b1) ** 2 + (a[:, 2] - b[:, 2]) ** 2 - (ca - cb) ** 2).clamp(min=0)
    mid, chroma = (a[:, 0] + b[:, 0]) / 2, (ca + cb) / 2
    hue = torch.atan2(a[:, 2] + b[:, 2], a1 + b1)
    t = (
        1
        - 0.17 * torch.cos(hue - math.pi / 6)
        + 0.24 * torch.cos(2 * hue)
        + 0.32 * torch.cos(3 * hue + math.pi / 30)
        - 0.20 * torch.cos(4 * hue - 63 * math.pi / 180)
    ).detach()
    sl = 1 + 0.015 * (mid - 50) ** 2 / torch.sqrt(20 + (mid - 50) ** 2)
    sc, sh = 1 + 0.045 * chroma, 1 + 0.015 * chroma * t
    return torch.sqrt(((a[:, 0] - b[:, 0]) / sl) ** 2 + ((ca - cb) / sc) ** 2 + dh2 / sh**2 + 1e-6)

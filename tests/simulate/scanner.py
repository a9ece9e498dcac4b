"""A flatbed that is not perfect: flare, blur, uneven lamp, cast, wrong tone, noise, grain already in the print."""

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from scipy import ndimage

from .fields import enlarge, smooth
from .tone import Image, density, reflectance

Triple = tuple[float, float, float]


@dataclass(frozen=True)
class Scanner:
    """flare: share of the surround's light that reaches every pixel (0.002..0.02). flare_px: how far it spreads.
    blur_px: standard deviation of the lens (0.4..0.9). gain: cast per channel (0.96..1.04). gamma: error of the tone
    curve, exponent on linear light (0.95..1.06). falloff: loss of light along the lamp from middle to end (0..0.03).
    read_noise: linear, standard deviation in the darks (0.0003..0.002). shot_noise: at white (0.002..0.008). seed.
    """

    flare: float
    flare_px: float
    blur_px: float
    gain: Triple
    gamma: float
    falloff: float
    read_noise: float
    shot_noise: float
    seed: int


def sample(rng: Generator) -> Scanner:
    """A consumer flatbed of ordinary quality."""
    gain = rng.uniform(0.97, 1.01, 3)
    return Scanner(
        flare=float(rng.uniform(0.002, 0.012)),
        flare_px=float(rng.uniform(30, 120)),
        blur_px=float(rng.uniform(0.45, 0.8)),
        gain=(float(gain[0]), float(gain[1]), float(gain[2])),
        gamma=float(rng.uniform(0.97, 1.04)),
        falloff=float(rng.uniform(0.0, 0.02)),
        read_noise=float(rng.uniform(0.0003, 0.0012)),
        shot_noise=float(rng.uniform(0.002, 0.006)),
        seed=int(rng.integers(2**31)),
    )


def scan(light: Image, device: Scanner) -> Image:
    """Linear picture as the device delivers it, before sRGB coding and quantisation; 0..1."""
    rng = np.random.default_rng(device.seed)
    spread = np.stack([_wide_blur(light[..., c], device.flare_px) for c in range(3)], axis=-1)
    out = (1.0 - device.flare) * light + device.flare * spread
    out = ndimage.gaussian_filter(out, (device.blur_px, device.blur_px, 0.0))
    along = np.linspace(-1.0, 1.0, light.shape[1], dtype=np.float32) ** 2
    out = out * (1.0 - device.falloff * along)[None, :, None] * np.asarray(device.gain, np.float32)
    out = np.power(np.clip(out, 0.0, 1.0), device.gamma)
    sigma = np.sqrt(device.read_noise**2 + device.shot_noise**2 * out)
    noise = rng.standard_normal(out.shape, dtype=np.float32)
    return np.asarray(np.clip(out + sigma * noise, 0.0, 1.0), np.float32)


def grain(light: Image, rng: Generator, strength: float, size_px: float = 0.8, chroma: float = 0.3) -> Image:
    """Grain of the negative that the print was made from: strongest in the mid tones, `strength` in D there."""
    shape = (light.shape[0], light.shape[1])
    d = density(light)
    shared = smooth(rng, shape, size_px * 2)[..., None]
    own = np.stack([smooth(rng, shape, size_px * 2) for _ in range(3)], axis=-1)
    amount = strength * np.clip(d * (2.2 - d), 0.0, 1.2)
    return reflectance(np.maximum(d + amount * ((1 - chroma) * shared + chroma * own), 0.0))


def _wide_blur(channel: Image, sigma_px: float) -> Image:
    """Gaussian blur at an eighth of the size: flare has no detail."""
    small = ndimage.gaussian_filter(channel, 4.0)[::8, ::8]
    small = ndimage.gaussian_filter(small, sigma_px / 8.0)
    rows = np.linspace(0, small.shape[0] - 1, channel.shape[0])
    columns = np.linspace(0, small.shape[1] - 1, channel.shape[1])
    return enlarge(small, rows, columns)

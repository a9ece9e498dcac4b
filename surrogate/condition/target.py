"""Is the scanner good enough? The 24-patch target in a scan, measured and set against published tolerances."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import pyvips
from skimage.color import deltaE_ciede2000

from surrogate.collection.files import sha256_of
from surrogate.condition import scanner_profile, target_log
from surrogate.condition.chart_find import COLUMNS, ROWS, Chart, find_chart
from surrogate.condition.chart_values import EDITIONS, NAMES, NEUTRALS, iso_level, reference_values, stars
from surrogate.condition.colorimetry import density_of_lab, lab, triple
from surrogate.condition.wedge import find_wedge, judge_wedge, wedge_values
from surrogate.errors import ScanSetAside
from surrogate.imaging.density import to_density
from surrogate.imaging.read import ScanHeader, open_device, open_lab, read_header, read_reduced
from surrogate.records import Record, Triple

Array = npt.NDArray[np.float64]

#: Long edge at which the card is looked for: one of 5 % of the frame then has patches of about 50 px.
_SEARCH_PX = 1600

#: Long edge at which a wedge is looked for and measured: its steps are even, so reducing takes noise away; 1:1 below.
_WEDGE_PX = 2400

#: Central share of a patch's side that is measured; its edges hold shadow and blur (common practice, no source).
_CORE = 0.6

#: Patches smaller than this (px) hold too few pixels for a noise figure (400 pixels: 3.5 % standard error).
_FEWEST_PX = 20

#: Patches lighter than this may reach the top of a channel with noise of four L*; a channel within half an 8-bit code
#: of its top is clipped (density of code 254.5); where more than this share of pixels is, clipping shows in figures.
_CLIPPING_L, _CLIPPED_DENSITY, _CLIPPED_SHARE = 84.0, 0.002, 0.001

#: No lightness above this anywhere (Metamorfoze 2.0, second-hand).
_HIGHEST_L = 98.0

_NEVER = [
    "resolution of fine detail (MTF, SFR): the target has no slanted edge or line pattern",
    "sharpening: as above",
    "colour channel misregistration: as above",
    "reproduction scale: the target has no ruler",
]


class Patch(Record):
    """One patch: CIELAB D50 as scanned and as it should be."""

    name: str
    lab: Triple
    reference_lab: Triple
    delta_e_2000: float


class Levels(Record):
    """Levels of the worst figure: FADGI 2016 stars (0 = below one star), ISO 19264-1:2021 A, B, C or none."""

    fadgi_2016: int
    iso_19264: str


class TargetReport(Record):
    """What the target says about the scanner."""

    chart: str
    edition: str
    figures: dict[str, float]
    levels: Levels
    patches: list[Patch]
    not_measurable: list[str]
    advice: list[str]


def target(scan: Path, *, edition: str = "after-2014", reference: Path | None = None) -> TargetReport:
    """Measure a scan of the 24-patch target, which may lie anywhere and any way round in it.

    Tone is the largest lightness error and white balance the largest a*b* distance on the six neutral patches, both
    from the card's own values; noise is the standard deviation of L* on them, after a plane (the fall of light) is
    taken out. Raises :class:`ScanSetAside` when there is no such target and :class:`WrongUse` for an
    unknown edition or a reference file that cannot be used.
    """
    truth = reference_values(edition, reference)
    header = read_header(scan)
    small = read_reduced(scan, _SEARCH_PX)
    seen = find_chart(small.pixels, truth)
    if seen is None and reference is None and find_wedge(to_density(small.pixels)) is not None:
        return wedge(scan)
    chart = _whole(seen, small.scale)
    picture = open_lab(scan)
    colours, deviations = _measure(picture, chart)
    errors = np.asarray(deltaE_ciede2000(colours, truth))
    greys, true_greys = colours[NEUTRALS], truth[NEUTRALS]
    figures = {
        "oecf_delta_l": float(np.abs(greys[:, 0] - true_greys[:, 0]).max()),
        "white_balance": float(np.hypot(*(greys - true_greys)[:, 1:].T).max()),
        "delta_e_2000_mean": float(errors.mean()),
        "delta_e_2000_p90": float(np.percentile(errors, 90)),
        "delta_e_2000_max": float(errors.max()),
    }
    missing = list(_NEVER)
    if np.isnan(deviations[NEUTRALS]).all():
        missing.append("noise: the grey patches are clipped; lower the exposure")
    elif _side_px(chart) * _CORE >= _FEWEST_PX:
        figures["noise_sd_l"] = _noise(deviations[NEUTRALS], (_side_px(chart) * _CORE) ** 2)
    else:
        missing.append("noise: the patches are too small in this scan; scan the target at a higher resolution")
    missing.append("non-uniformity: the target covers too little of the bed; scan a white sheet that fills it")
    figures = {name: round(value, 3) for name, value in figures.items()}
    return TargetReport(
        chart="24-patch colour target",
        edition="own values" if reference else edition,
        figures=figures,
        levels=Levels(fadgi_2016=stars(figures), iso_19264=iso_level(figures)),
        patches=[
            Patch(name=name, lab=_rounded(colour), reference_lab=_rounded(true), delta_e_2000=round(float(error), 2))
            for name, colour, true, error in zip(NAMES, colours, truth, errors, strict=True)
        ],
        not_measurable=missing,
        advice=_advice(header, figures, colours, truth, None if reference else edition),
    )


def _rounded(colour: Array) -> Triple:
    return triple(colour, 2)


def wedge(scan: Path, reference: Path | None = None) -> TargetReport:
    """Measure a scan of a grey step wedge, any way round. ``reference``: CSV of ``name, D`` of one's own wedge.

    Raises :class:`ScanSetAside` when there is none in the scan and :class:`WrongUse` for an unusable reference.
    """
    truth = wedge_values(reference)
    density = to_density(read_reduced(scan, _WEDGE_PX).pixels)
    found = find_wedge(density, len(truth))
    if found is None:
        raise ScanSetAside(
            f"No grey wedge of {len(truth)} steps was found in this scan.",
            "Lay the wedge flat, with all of its steps in view and nothing across it, and scan it again.",
        )
    figures, colours = judge_wedge(density, found, truth)
    figures = {name: round(value, 3) for name, value in figures.items()}
    wanted = lab(np.repeat(truth[:, None], 3, axis=1))
    errors = np.asarray(deltaE_ciede2000(colours, wanted))
    advice = []
    if figures["density_range"] < truth[-1] - truth[0]:
        advice.append(f"Steps darker than {truth[0] + figures['density_range']:.2f} run together: more exposure, or a "
                      "scanner of greater range.")  # fmt: skip
    if figures["white_balance"] > 4:
        advice.append("Greys have a cast: switch off automatic colour, and set the white balance on the wedge.")
    if figures["oecf_delta_l"] > 4:
        advice.append("Tones are off by more than three stars allow: switch off automatic contrast, check the profile.")
    return TargetReport(
        chart=f"{len(truth)}-step grey wedge",
        edition="own values" if reference else "0.05 to 1.95 in steps of 0.10",
        figures=figures,
        levels=Levels(fadgi_2016=stars(figures), iso_19264=iso_level(figures)),
        patches=[
            Patch(name=f"step {n}", lab=triple(c, 2), reference_lab=triple(t, 2), delta_e_2000=round(float(e), 2))
            for n, (c, t, e) in enumerate(zip(colours, wanted, errors, strict=True), 1)
        ],
        not_measurable=["colour accuracy: the wedge is grey", *_NEVER],
        advice=advice or ["Nothing to change."],
    )


def _found(scan: Path, truth: Array) -> Chart:
    """The target in the pixels of the whole scan. Raises :class:`ScanSetAside`."""
    small = read_reduced(scan, _SEARCH_PX)
    return _whole(find_chart(small.pixels, truth), small.scale)


def _whole(chart: Chart | None, scale: float) -> Chart:
    if chart is None:
        raise ScanSetAside(
            "No 24-patch colour target was found in this scan.",
            "Lay the target flat, with all of its patches in view, and scan it in colour at 300 ppi.",
        )
    return chart.scaled(1 / scale)


def _side_px(chart: Chart) -> float:
    step = np.linalg.norm(np.diff(chart.place(np.array([[2.0, 1.0], [3.0, 1.0]])), axis=0))
    return float(step * chart.side)


def _patches(picture: pyvips.Image, chart: Chart) -> Iterator[tuple[Array, npt.NDArray[np.bool_]]]:
    """For every patch the full-size pixels around its core (H, W, bands), and which of them belong to it."""
    half = chart.side * _CORE / 2
    corners = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
    for index in range(COLUMNS * ROWS):
        outline = chart.place(corners + np.array([index % COLUMNS, index // COLUMNS]))
        left, top = np.maximum(np.floor(outline.min(axis=0)), 0).astype(int)
        right, bottom = np.ceil(outline.max(axis=0)).astype(int) + 1
        right, bottom = min(right, picture.width), min(bottom, picture.height)
        try:
            tile = picture.crop(int(left), int(top), int(right - left), int(bottom - top)).numpy()
        except pyvips.Error as error:
            raise ScanSetAside("The scan is damaged where the target lies.", "Scan the target again.") from error
        mask = cv2.fillConvexPoly(
            np.zeros(tile.shape[:2], np.uint8), np.rint(outline - (left, top)).astype(np.int32), 1
        ).astype(bool)
        yield tile.astype(np.float64), mask


def _measure(picture: pyvips.Image, chart: Chart) -> tuple[Array, Array]:
    """CIELAB (24, 3) and standard deviation of L* (24,) of every patch."""
    cores = [_core(tile, mask) for tile, mask in _patches(picture, chart)]
    return np.array([colour for colour, _ in cores]), np.array([deviation for _, deviation in cores])


def profile(
    scan: Path, made: datetime, *, edition: str = "after-2014", reference: Path | None = None
) -> tuple[bytes, float]:
    """An ICC profile of the scanner that made this scan of the target, and the mean CIEDE2000 it leaves on the patches.

    A profile embedded in the scan is not looked at: it is what this one replaces. Raises as :func:`target` does.
    """
    truth = reference_values(edition, reference)
    chart = _found(scan, truth)
    picture = open_device(scan)
    if picture.bands < 3 or picture.format not in {"uchar", "ushort"}:
        raise ScanSetAside("A profile needs a colour scan of 8 or 16 bits.", "Scan the target again in colour.")
    top = 255.0 if picture.format == "uchar" else 65535.0
    codes = np.array([np.median(tile[mask][:, :3], axis=0) / top for tile, mask in _patches(picture, chart)])
    fitted = scanner_profile.fit(codes, truth)
    if fitted is None:
        raise ScanSetAside(
            "The grey patches do not grow lighter step by step: the scan is clipped or was changed by the software.",
            "Switch off automatic contrast and sharpening, lower the exposure and scan the target again.",
        )
    left = float(np.mean(deltaE_ciede2000(fitted.lab(codes), truth)))
    return scanner_profile.as_icc(fitted, f"Scanner profile {made:%Y-%m-%d}", made), left


def _core(tile: Array, mask: npt.NDArray[np.bool_]) -> tuple[Array, float]:
    """Mean colour without dust, and the standard deviation of L* about a plane; NaN where clipping hides part of it."""
    values = tile[mask]
    y, x = np.nonzero(mask)
    plane = np.c_[x - x.mean(), y - y.mean(), np.ones(len(x))]
    rest = values[:, 0] - plane @ np.linalg.lstsq(plane, values[:, 0], rcond=None)[0]
    spread = 1.4826 * np.median(np.abs(rest))  # normal distribution: sd from the median absolute deviation
    clean = np.abs(rest) <= max(5 * spread, 0.5)  # dust and scratches lie beyond five deviations
    colours = values[clean]
    if colours[:, 0].mean() >= _CLIPPING_L:
        densities = density_of_lab(colours)
        if (densities <= _CLIPPED_DENSITY).any(axis=1).mean() >= _CLIPPED_SHARE:
            # the upper half of the noise is cut off, which darkens a mean; a median stays while less than half is
            return lab(np.median(densities, axis=0)), np.nan
    return np.asarray(colours.mean(axis=0)), float(rest[clean].std())


def _noise(deviations: Array, pixels: float) -> float:
    """Noise of the neutral patches (NaN: clipped), each of ``pixels``: the noisiest one's, if that is not by chance.

    The largest of six estimates is too large by itself; as long as it is within 3.5 standard errors of all together
    (a standard deviation's is 1 / sqrt(2 n) of it) the root of their mean variance stands for all: of patches that are
    equally noisy the estimate of least error.
    """
    seen = deviations[np.isfinite(deviations)]
    together, largest = float(np.sqrt(np.mean(seen**2))), float(seen.max())
    return largest if largest > together * (1 + 3.5 / np.sqrt(2 * pixels)) else together


def keep(report: TargetReport, scan: Path, folder: Path, day: date) -> list[str]:
    """Keep a result in ``folder`` and draw the drift since the first; what has drifted, in words."""
    figures = {name: f"{value:.3f}" for name, value in report.figures.items()}
    row = {"scan": scan.name, "scan_sha256": sha256_of(scan), "edition": report.edition, **figures,
           "fadgi_2016": str(report.levels.fadgi_2016), "iso_19264": report.levels.iso_19264}  # fmt: skip
    return target_log.keep(folder, day, row)


def _luminance(lightness: Array) -> Array:
    """Relative luminance of L* above 8 (CIE 15)."""
    return np.asarray(((lightness + 16) / 116) ** 3)


def _advice(
    header: ScanHeader, figures: dict[str, float], colours: Array, truth: Array, edition: str | None
) -> list[str]:
    said: list[str] = []
    middle = slice(19, 22)  # the neutrals that neither clip nor drown in flare
    stops = float(np.median(np.log2(_luminance(truth[middle, 0]) / _luminance(colours[middle, 0]))))
    if abs(stops) >= 0.08:
        said.append(f"{'Raise' if stops > 0 else 'Lower'} the exposure by {_stops(abs(stops))}.")
    if colours[18, 0] > _HIGHEST_L:
        said.append(f"White is at L* {colours[18, 0]:.1f}, above {_HIGHEST_L:g}: light tones are close to clipping.")
    if truth[23, 0] - colours[23, 0] > 4:
        said.append("Black is too dark: switch off automatic contrast and black-point settings.")
    if colours[23, 0] - truth[23, 0] > 4:
        said.append("Black is too light: clean the glass, and keep stray light and white surroundings off the target.")
    if figures["white_balance"] > 4:
        a, b = (colours - truth)[middle, 1:].mean(axis=0)
        cast = ("reddish" if a > 0 else "greenish") if abs(a) > abs(b) else ("yellowish" if b > 0 else "bluish")
        said.append(f"Greys come out {cast}: switch off automatic colour, and set the white balance on the target.")
    if figures.get("noise_sd_l", 0.0) >= 2:
        said.append("The scan is noisy: scan with more samples per line or at a lower speed, and save as TIFF.")
    if header.profile is None:
        said.append(
            "No colour profile is embedded: the scan was taken as sRGB. Have the scanner software embed one, or make "
            "one from this scan with --profile."
        )
    if header.bits < 16:
        said.append("Scan with 16 bits a channel for masters of photographs (FADGI 2016, four stars).")
    if header.format == "JPEG":
        said.append("Save masters as TIFF: JPEG loses detail each time it is written.")
    if edition is not None:
        other = next(name for name in EDITIONS if name != edition)
        alternative = float(np.mean(deltaE_ciede2000(colours, np.array(EDITIONS[other]))))
        if alternative < figures["delta_e_2000_mean"] - 0.4:  # half of the distance between the editions, 0.85
            said.append(f"The patches fit the edition {other} better: check the date printed on the target.")
    return said or ["Nothing to change."]


def _stops(stops: float) -> str:
    """A difference of exposure as people set it, in thirds of a stop."""
    thirds = round(3 * stops)
    whole, part = divmod(thirds, 3)
    words = {1: "a third of a stop", 2: "two thirds of a stop"}
    if thirds == 0:
        return "a little (less than a sixth of a stop)"
    if not part:
        return "one stop" if whole == 1 else f"{whole} stops"
    return words[part] if not whole else f"{whole} {'stop' if whole == 1 else 'stops'} and {words[part]}"

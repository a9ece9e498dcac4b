"""Pages of the care sheet made from what people and loggers wrote down: showings, inspections, climate."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from surrogate.care.climate import DAMP, WARMEST_C, Climate
from surrogate.care.findings import KINDS, Finding, trend
from surrogate.care.section import Section
from surrogate.care.showing import REST_YEARS, Turn, Used


def shown(budgets: Sequence[Used], turns: Sequence[Turn], day: date) -> Section:
    """Light used up by each original that was shown, and the rotation plan of a wall."""
    hung = sorted((budget for budget in budgets if budget.dose_lxh > 0), key=lambda budget: -budget.share)
    rows = [("Reference", "Sensitivity", "Dose so far (lx h)", "Used up", "This year / limit", "Rests until")]
    rows += [
        (one.reference, one.sensitivity, f"{one.dose_lxh:,.0f}", f"{100 * one.share:.0f} %",
         f"{one.last_year_lxh:,.0f} / {one.yearly_limit_lxh:,.0f}",
         one.next_showing.isoformat() if one.next_showing > day else "free")
        for one in hung
    ]  # fmt: skip
    said = [
        (
            "Used up: the share of the light after which a change can just be seen, for the middle of the class; "
            "dyes of "
            "one class differ tenfold. Light with ultraviolet weighs more. [L1, L2]"
        ),
        f"What is very sensitive rests {REST_YEARS} years in the dark after a showing. [L4]",
    ]
    if not hung:
        said = ["No showing is written down in exhibitions.csv: what hung before is not counted. [P1]"]
    if turns:
        said.append("The wall, for a year: " + " ".join(_turn(turn) for turn in turns))
    return Section(title="Shown so far", paragraphs=tuple(said), table=tuple(rows) if hung else (),
                   widths=(34, 26, 34, 20, 38, 26) if hung else ())  # fmt: skip


def _turn(turn: Turn) -> str:
    what = turn.reference or "the copy"
    return f"Place {turn.place}: {what}, {turn.first:%d %b %Y} to {turn.last:%d %b %Y}."


def inspected(findings: Sequence[Finding]) -> Section:
    """Counts of findings by kind and round."""
    rounds = trend(findings)
    if not rounds:
        return Section(title="Inspections so far", paragraphs=("Nothing was found, or nothing was written down yet.",))
    rows = [("Kind", *(name for name, _ in rounds[-5:]))]
    rows += [
        (kind, *(str(counts.get(kind, 0) or "") for _, counts in rounds[-5:]))
        for kind in (*KINDS, "other")
        if any(kind in counts for _, counts in rounds[-5:])
    ]
    return Section(
        title="Inspections so far",
        paragraphs=("Findings by round, as written in inspections.csv.",),
        table=tuple(rows),
        widths=(38, *[28] * (len(rows[0]) - 1)),
    )


def measured(climates: Mapping[str, Climate]) -> Section:
    """What each logger file says."""
    rows = [("Logger", "From, to", "Mean", "Damp", "Warm", "Dry", "Dew-point", "Fading", "Lasts")]
    rows += [
        (name, f"{one.first:%d %b %Y} to {one.last:%d %b %Y}", f"{one.mean_c:.1f} °C, {one.mean_humidity:.0f} %",
         f"{100 * one.too_damp:.0f} %", f"{100 * one.too_warm:.0f} %", f"{100 * one.too_dry:.0f} %",
         f"{one.highest_dew_point_c:.1f} °C",
         f"x {one.relative_fading:.1f}", f"x {one.lifetime:.1f}")
        for name, one in climates.items()
    ]  # fmt: skip
    return Section(
        title="Climate",
        paragraphs=(
            f"Share of time above {DAMP:g} % (damp), above {WARMEST_C:g} °C (warm) and below 30 % (dry). [C4, M1]",
            (
                "Dew-point: what is colder than this gathers water; the highest is given. [W1] Fading: speed of dark "
                "fading against 20 °C. [C6] Lasts: how many times as long as at 20 °C and 50 %, (50/RH)^1.3 exp(Ea/R "
                "(1/T - 1/293 K)) with 100 kJ/mol, rates averaged over time: a guide for choosing rooms. [K1]"
            ),
        ),
        table=tuple(rows),
        widths=(22, 42, 27, 13, 13, 12, 21, 14, 14),
    )

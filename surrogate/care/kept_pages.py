"""Pages of the care sheet made from what people and loggers wrote down: showings, inspections, climate."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date

from surrogate.care.climate import DAMP, WARMEST_C, Climate
from surrogate.care.days import in_words
from surrogate.care.findings import KINDS, Finding, trend
from surrogate.care.section import Section, Table
from surrogate.care.showing import REST_YEARS, Turn, Used


def shown(budgets: Sequence[Used], turns: Sequence[Turn], names: Mapping[str, str], day: date) -> list[Section]:
    """Light used up by each original that was shown, and the rotation plan of a wall; no page where there is neither.

    ``names`` are the titles of originals by reference.
    """
    hung = sorted((budget for budget in budgets if budget.dose_lxh > 0), key=lambda budget: -budget.share)
    pages = []
    if hung:
        rows = tuple(
            (one.reference, one.sensitivity, f"{one.dose_lxh:,.0f}",
             "< 0.1 %" if one.share < 0.001 else f"{100 * one.share:.1f} %",
             f"{one.last_year_lxh:,.0f} / {one.yearly_limit_lxh:,.0f}",
             in_words(one.next_showing) if one.next_showing > day else "free")
            for one in hung
        )  # fmt: skip
        head = ("Reference", "Sensitivity", "Dose so far (lx h)", "Used up", "This year / limit", "Rests until")
        pages.append(
            Section(
                title="Shown so far",
                paragraphs=(
                    (
                        "Used up: the share of the light after which a change can just be seen, for the middle of the "
                        "class; dyes of one class differ tenfold. Light with ultraviolet weighs more. [L1, L2]"
                    ),
                    f"What is very sensitive rests {REST_YEARS} years in the dark after a showing. [L4]",
                ),
                tables=(Table(head=head, rows=rows, widths=(34, 24, 32, 18, 38, 32)),),
            )
        )
    if turns:
        places = tuple(
            (f"{turn.place}", turn.reference or "the copy", names.get(turn.reference or "", ""),
             in_words(turn.first), in_words(turn.last))
            for turn in turns
        )  # fmt: skip
        columns = ("Place", "What hangs", "What it shows", "From", "To")
        pages.append(
            Section(
                title="The wall, for a year",
                paragraphs=(
                    (
                        "Each original once, for as many days as its yearly limit allows; those that bear most first, "
                        "then the copy. Film is not hung. [L1, P1]"
                    ),
                ),
                tables=(Table(head=columns, rows=places, widths=(14, 34, 56, 37, 37)),),
            )
        )
    return pages


def inspected(findings: Sequence[Finding]) -> list[Section]:
    """Counts of findings by kind and round; no page where nothing was found."""
    rounds = trend(findings)
    if not rounds:
        return []
    rows = tuple(
        (kind, *(str(counts.get(kind, 0) or "") for _, counts in rounds[-5:]))
        for kind in (*KINDS, "other")
        if any(kind in counts for _, counts in rounds[-5:])
    )
    head = ("Kind", *(name for name, _ in rounds[-5:]))
    table = Table(head=head, rows=rows, widths=(38, *[28] * (len(head) - 1)))
    said = ("Findings by round, as written in inspections.csv.",)
    return [Section(title="Inspections so far", paragraphs=said, tables=(table,))]


def measured(climates: Mapping[str, Climate]) -> Section:
    """What each logger file says."""
    rows = tuple(
        (name, f"{one.first.day} {one.first:%b %Y} to {one.last.day} {one.last:%b %Y}",
         f"{one.mean_c:.1f} °C, {one.mean_humidity:.0f} %",
         f"{100 * one.too_damp:.0f} %", f"{100 * one.too_warm:.0f} %", f"{100 * one.too_dry:.0f} %",
         f"{one.highest_dew_point_c:.1f} °C",
         f"× {one.relative_fading:.1f}", f"× {one.lifetime:.1f}")
        for name, one in climates.items()
    )  # fmt: skip
    head = ("Logger", "From, to", "Mean", "Damp", "Warm", "Dry", "Dew-point", "Fading", "Lasts")
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
        tables=(Table(head=head, rows=rows, widths=(22, 38, 29, 14, 14, 13, 20, 14, 14)),),
    )

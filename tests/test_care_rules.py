"""Care: every rule has its source; light, warming, dew-point and sampling against published figures."""

import re
from datetime import date, datetime
from pathlib import Path

import pytest

from surrogate.care import climate, cold, findings, light
from surrogate.care.content import Known, sections
from surrogate.care.inspection import chosen, rounds
from surrogate.care.rules import HOUSING, MOULD, NEVER, Material, box_for, material
from surrogate.care.sources import SOURCES, Rule
from surrogate.errors import WrongUse
from surrogate.records import CollectionInfo, Kind, Manifest, Original, Priority, Software


def _original(number: int, kind: Kind, made: str = "", reason: str = "") -> Original:
    return Original(
        reference=f"2026.001.{number:04}",
        kind=kind,
        kind_confidence=0.9,
        date=made,
        priority=Priority(rank=number, reason=reason),
    )


def test_every_rule_names_known_sources() -> None:
    rules = [MOULD, NEVER]
    for housing in HOUSING.values():
        rules += [value for _, value in housing if isinstance(value, Rule)]
    assert set(HOUSING) == set(Material)
    assert all(rule.sources and set(rule.sources) <= set(SOURCES) for rule in rules)


@pytest.mark.parametrize(
    ("lux", "wool", "years"),
    [(50, 1, 2.05), (50, 4, 68.5), (150, 1, 0.68), (150, 3, 6.85), (500, 2, 0.68), (500, 8, 753)],
)
def test_years_by_blue_wool(lux: float, wool: int, years: float) -> None:
    # CIE 157 and CCI doses without ultraviolet (second-hand), 8 h a day, 365 days
    dose = light.dose_per_year(lux, 8)
    assert light.years_to_fade(light.NOTICEABLE_LXH[wool - 1], dose) == pytest.approx(years, rel=0.01)


def test_yearly_limits() -> None:
    # CIE 157:2004: 50 lx x 300 h, 50 lx x 3000 h, 200 lx x 3000 h (150 000 second-hand, the others from memory)
    assert [s.yearly_limit_lxh for s in (light.HIGH, light.MODERATE, light.LOW)] == [50 * 300, 50 * 3000, 200 * 3000]
    assert light.days_on_show(light.HIGH, 50, 10) == 30
    assert light.days_on_show(light.HIGH, 0, 8) == 365
    assert light.years_to_fade(1e6, 0) is None


def test_warming_keeps_to_the_published_times() -> None:
    # NARA, Cold Storage Handling Guidelines (read): 30 minutes for one or two, 2 to 4 hours a box
    assert cold.warming_hours(0.02, 2) == pytest.approx(0.5, abs=0.1)
    assert 2 <= cold.warming_hours(3.0, 200) <= 4
    plan = cold.timetable(datetime(2026, 3, 6, 10), 3.0, 200)  # noqa: DTZ001
    assert plan.to_fridge < plan.to_room < plan.open_bag == datetime(2026, 3, 6, 10)  # noqa: DTZ001


@pytest.mark.parametrize(("warm", "damp", "dew"), [(20, 50, 9.3), (25, 60, 16.7), (20, 100, 20.0), (10, 80, 6.7)])
def test_dew_point(warm: float, damp: float, dew: float) -> None:
    # dew-point tables as printed in building handbooks (from memory), to 0.1 K
    assert climate.dew_point(warm, damp) == pytest.approx(dew, abs=0.06)


@pytest.mark.parametrize(("warm", "damp", "times"), [(20, 50, 1.0), (15, 50, 2.04), (20, 25, 2.46), (25, 50, 0.50)])
def test_lifetime_multiplier(warm: float, damp: float, times: float) -> None:
    # Michalski 2002 (from memory): five degrees cooler twice as long; half the humidity 2^1.3; worked by hand from
    # exp(12028 K (1/288.15 K - 1/293.15 K)) = exp(0.712) = 2.04
    assert climate.lifetime_multiplier(warm, damp) == pytest.approx(times, abs=0.01)


def test_findings_by_kind_and_round() -> None:
    # worked by hand: two kinds in one sentence, one finding in spring, three in autumn
    def found(day: date, box: str, words: str) -> findings.Finding:
        return findings.Finding(day=day, box=box, reference="1", words=words, kinds=findings.kinds_of(words))

    rows = [found(date(2027, 4, 1), "1", "curling"), found(date(2027, 10, 1), "1", "more curled, a new stain"),
            found(date(2027, 10, 2), "2", "yellow spots"), found(date(2027, 10, 2), "3", "stained")]  # fmt: skip
    assert findings.kinds_of("damp corner, mouldy") == ("damp", "mould")
    assert findings.kinds_of("something odd") == ("other",)
    assert findings.trend(rows) == [("2027 spring", {"curling": 1}), ("2027 autumn", {"curling": 1, "stain": 3})]
    said = findings.alarms(rows)
    assert any(line.startswith("box 1: curling found 2 times.") for line in said)
    assert any(line.startswith("More stain") for line in said)


def test_packing_takes_its_time() -> None:
    # common practice, no source: two days open, a night in the refrigerator, the card after a week
    plan = cold.packing(datetime(2026, 11, 23, 10))  # noqa: DTZ001
    assert [moment.day for moment in (plan.pack, plan.to_fridge, plan.to_freezer)] == [25, 25, 26]
    assert (plan.check - plan.to_freezer).days == 7


def test_every_sentence_of_the_sheet_is_marked() -> None:
    originals = [_original(n, kind) for n, kind in enumerate(Kind)]
    manifest = Manifest(collection=CollectionInfo(name="", credit="", rights=""),
                        software=Software(name="", version=""), originals=originals, set_aside=[])  # fmt: skip
    known = Known(lux=50, hours=8, start=date(2026, 11, 25), wanted=date(2026, 12, 4))
    for page in sections(manifest, known):
        marks = set(re.findall(r"\b[A-Z]\d\b", " ".join(re.findall(r"\[([^\]]*)\]", " ".join(page.sentences())))))
        assert marks <= set(SOURCES)
        if page.title.startswith(("Light", "Cold", "Fire", "Box", "Not in")):
            unmarked = [text for text in page.sentences() if "[" not in text]
            assert all(text.startswith("1 original") or "originals:" in text for text in unmarked), unmarked


def test_logger_file(tmp_path: Path) -> None:
    file = tmp_path / "logger.csv"
    file.write_text("Logger 3\nTime;Temperature °C;Humidity %\n01.03.2026 00:00;26,0;70\n01.03.2026 01:00;20,0;45\n"
                    "01.03.2026 02:00;20,0;45\n", encoding="utf-8")  # fmt: skip
    said = climate.judge(climate.read_logger(file), warmest_c=23)
    assert (said.hours, said.too_warm, said.too_damp) == (2.0, 0.5, 0.5)
    # Wilhelm, JAIC 21 (read): twice as fast 6 °C warmer; an hour at 2 and an hour at 1
    assert said.relative_fading == pytest.approx(1.5)
    file.write_text("time,temperature,humidity\n2026-03-01,warm,3\n")
    with pytest.raises(WrongUse, match="line 2"):
        climate.read_logger(file)
    file.write_text("a,b\n1,2\n")
    with pytest.raises(WrongUse, match="heading"):
        climate.read_logger(file)


def test_sample_of_a_round() -> None:
    # FADGI 2016, p. 86 (read): ten or ten in a hundred, whichever is more; of the unstable, all
    stable = [_original(n, Kind.DOCUMENT) for n in range(150)]
    film = [_original(200 + n, Kind.NEGATIVE, "198X") for n in range(5)]
    day = date(2027, 4, 1)
    picked = chosen(stable + film, day)
    assert len(picked) == 15 + 5
    assert picked == chosen(film + stable[::-1], day)
    assert len(chosen(stable[:40], day)) == 10
    assert rounds(date(2026, 4, 2))[:3] == [date(2026, 10, 1), date(2027, 4, 1), date(2027, 10, 1)]


def test_old_film_counts_as_nitrate_until_shown_otherwise() -> None:
    # nitrate still film was made until 1951 in the USA (ANSI on NFPA 40, read)
    assert material(_original(1, Kind.NEGATIVE, "1936-03")) is Material.MAYBE_NITRATE
    assert material(_original(1, Kind.NEGATIVE)) is Material.MAYBE_NITRATE
    # other countries stopped later (common practice, no source): the same ten years more as on the sheet of a round
    assert material(_original(1, Kind.NEGATIVE, "1961")) is Material.MAYBE_NITRATE
    assert material(_original(1, Kind.NEGATIVE, "198X")) is Material.FILM
    assert material(_original(1, Kind.TARGET)) is None


def test_box_takes_the_largest() -> None:
    assert box_for([(102, 152), (178, 127)]) == (203, 254)
    assert box_for([(1000, 700)]) is None

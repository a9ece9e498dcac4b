"""Care: for every table one example worked by hand, its published source beside it; and no row without a source.

The marks are those of `care/sources.py`: read, second-hand, from memory, or common practice without a source.
"""

import re
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path

import pytest

import surrogate.care
from surrogate.care import climate, cold, findings, inspection, light, rules, showing
from surrogate.care.content import Known, sections
from surrogate.care.rules import HOUSING, Material
from surrogate.care.sources import SOURCES, Mark, Rule
from surrogate.records import (
    CollectionInfo,
    Condition,
    Fade,
    Grade,
    Kind,
    Location,
    Manifest,
    Original,
    Priority,
    Side,
    Software,
    Stain,
)  # fmt: skip


def _original(number: int, kind: Kind, made: str = "", box: str = "", rank: int | None = None) -> Original:
    return Original(
        reference=f"{number}",
        kind=kind,
        kind_confidence=1.0,
        date=made,
        location=Location(box=box),
        priority=None if rank is None else Priority(rank=rank, reason=""),
    )


def _at(*when: int) -> datetime:
    return datetime(*when)  # type: ignore[misc, arg-type]  # noqa: DTZ001 - the clock on the wall


# --- enclosures, climate and handling by kind ------------------------------------------------------------------------


def _all_rules() -> Iterator[tuple[str, Rule]]:
    for name, value in vars(rules).items():
        if isinstance(value, Rule):
            yield name, value
    for kind, housing in HOUSING.items():
        for field, value in housing:
            if value is not None:
                yield f"{kind}: {field}", value


def test_every_row_of_the_rules_has_a_source_with_a_mark() -> None:
    found = list(_all_rules())
    assert len(found) >= 5 * len(Material)
    assert [name for name, rule in found if not rule.sources or not set(rule.sources) <= set(SOURCES)] == []
    assert all(isinstance(SOURCES[key].mark, Mark) and SOURCES[key].title for _, rule in found for key in rule.sources)


_SAID = re.compile(
    r"from memory|second-hand|\bread\b|common\s+practice, no source|judgement|sources? [A-Z]\d|FADGI|CIE"
)


#: A constant that is a number, numbers, classes of light, or the words that findings are sorted by.
_TABLE = re.compile(r"(_?[A-Z_]{2,}(?:, _?[A-Z_]+)*)(?:: [^=]+)? = (?:\(*-?\d|Sensitivity|\{$|\(\"damp)")


@pytest.mark.parametrize("room", ["climate", "cold", "findings", "inspection", "light", "rules", "showing"])
def test_every_table_of_numbers_has_a_mark_beside_it(room: str) -> None:
    lines = (Path(surrogate.care.__file__).parent / f"{room}.py").read_text(encoding="utf-8").splitlines()
    tables, comment = {}, ""
    for line in lines:
        if line.startswith("#:"):
            comment += line.removeprefix("#:")
        elif found := _TABLE.match(line):
            tables[found[1]] = comment
        elif not line:
            comment = ""
    tables.pop("HOUSING", None)  # its rows are rules, see above
    assert tables
    assert [name for name, whence in tables.items() if not _SAID.search(whence)] == []


def _limits(rule: Rule) -> tuple[list[int], list[int]]:
    """Degrees and per cent named in a storage rule."""
    degrees = [int(n) for pair in re.findall(r"(?:(\d+)-)?((?<!\d)-?\d+|\d+) °C", rule.text) for n in pair if n]
    damp = [int(n) for pair in re.findall(r"(\d+)-(\d+) %", rule.text) for n in pair]
    return degrees, damp


@pytest.mark.parametrize(
    ("kind", "degrees", "damp", "key"),
    [
        # ISO 18920:2000 as quoted by dp3project.org: colour prints -3 °C at 30 to 50 % (second-hand)
        (Material.COLOUR_PRINT, [-3], [30, 50], "C2"),
        # ISO 18920:2000: silver prints 18 °C at 30 to 50 % (from memory)
        (Material.SILVER_PRINT, [18], [30, 50], "C3"),
        # ISO 18911, table 1: colour film 2 °C at 20 to 30 % or -10 °C at 20 to 50 %; silver film 2 °C (from memory)
        (Material.FILM, [2, -10, 2], [20, 30, 20, 50], "C1"),
        # H-182: nitrate 35 °F = (35 - 32) / 1.8 = 1.7, so 2 °C, at 20 to 30 % (read)
        (Material.MAYBE_NITRATE, [2], [20, 30], "N3"),
        # BS 4971:2017: 13 to 23 °C, 35 to 60 % (second-hand)
        (Material.NEWSPRINT, [13, 23], [35, 60], "C4"),
        (Material.PAPER, [13, 23], [35, 60], "C4"),
        # an album holds both: of 13 to 23 °C, 35 to 60 % (C4) and at most 18 °C, 30 to 50 % (C3) what both allow:
        # max(13, -) to min(23, 18) °C and max(35, 30) to min(60, 50) %
        (Material.ALBUM, [13, 18], [35, 50], "C4"),
        (Material.UNKNOWN, [18], [30, 50], "C3"),
    ],
)
def test_climate_by_kind(kind: Material, degrees: list[int], damp: list[int], key: str) -> None:
    rule = HOUSING[kind].storage
    assert key in rule.sources
    assert _limits(rule) == (degrees, damp)


def test_enclosures_by_kind() -> None:
    # ISO 18902, text (read): cellulose nitrate, PVC and glassine are excluded, so no sleeve is made of them
    assert all(word in rules.NEVER.text for word in ("PVC", "glassine", "rubber bands", "self-stick"))
    assert not any(re.search("PVC|glassine", housing.enclosure.text) for housing in HOUSING.values())
    # ANSI IT9.2-1991 (from memory): colour in neutral, unbuffered paper; CCAHA (read): silver prints in either
    paper = {kind: housing.enclosure.text for kind, housing in HOUSING.items()}
    for kind in (Material.COLOUR_PRINT, Material.FILM, Material.MAYBE_NITRATE, Material.ALBUM, Material.UNKNOWN):
        assert "unbuffered" in paper[kind]
    assert "buffered or not" in paper[Material.SILVER_PRINT]
    # ISO 9706:1994 (read): pH 7.5 to 10, reserve 20 g of CaCO3 in a kg = 20 / 1000 = 2 %
    assert "pH 7.5-10" in paper[Material.PAPER]
    assert f"{20 / 1000:.0%}".replace("%", " %") in paper[Material.PAPER]
    # nitrate gives off gas: neither plastic nor a sealed can (common practice, no source)
    assert "never plastic" in paper[Material.MAYBE_NITRATE]


def test_nitrate_by_year() -> None:
    # sheet film of nitrate was made in the USA until 1951 (ANSI on NFPA 40, read); "195X" may be 1950
    # and elsewhere for up to ten years more (common practice, no source)
    said = [rules.material(_original(1, Kind.NEGATIVE, made)) for made in ("1951", "195X", "1961-03", "1962-01", "")]
    assert said == [*[Material.MAYBE_NITRATE] * 3, Material.FILM, Material.MAYBE_NITRATE]
    # NFPA 40, A.3.3.1 (read): about 15 times as fast as wood
    caution = HOUSING[Material.MAYBE_NITRATE].caution
    assert caution is not None
    assert "15 times" in caution.text


@pytest.mark.parametrize(
    ("sizes_inch", "box_inch"),
    [
        # room of 6 mm a side: 8 x 10 in is 203 x 254, needs 215 x 266: not 8 x 10, so the box of 11 x 14 in
        ([(8, 10)], (11, 14)),
        # 4 x 6 in is 102 x 152, needs 114 x 164: the box of 5 x 7 in, 127 x 178
        ([(4, 6), (2.5, 3.5)], (5, 7)),
        # 16 x 20 in needs 418 x 520: 20 x 24 in
        ([(16, 20), (8, 10)], (20, 24)),
    ],
)
def test_boxes(sizes_inch: list[tuple[float, float]], box_inch: tuple[float, float]) -> None:
    # the trade's sizes in inches, times 25.4 (from memory); the room around is common practice, no source
    found = rules.box_for([(w * 25.4, h * 25.4) for w, h in sizes_inch])
    assert found == (round(box_inch[0] * 25.4), round(box_inch[1] * 25.4))


def test_how_full_a_box_may_be() -> None:
    # common practice, no source: a finger's width is left
    assert "a finger's width is left" in HOUSING[Material.SILVER_PRINT].position.text
    assert HOUSING[Material.SILVER_PRINT].position.sources == ("P1",)


# --- light ------------------------------------------------------------------------------------------------------------


def test_light_classes() -> None:
    # Canadian Conservation Institute (read): colour prints high, silver prints low; CIE 157:2004 (from memory):
    # newspaper high at 50 lx x 300 h = 15,000, manuscripts moderate at 50 lx x 3000 h = 150,000 (second-hand),
    # low 200 lx x 3000 h = 600,000 lx h a year
    def limit(kind: Material) -> tuple[str, float]:
        return light.SENSITIVITY[kind].name, light.SENSITIVITY[kind].yearly_limit_lxh

    assert set(light.SENSITIVITY) == set(Material)
    assert limit(Material.COLOUR_PRINT) == limit(Material.NEWSPRINT) == ("high", 15_000)
    assert limit(Material.PAPER) == ("moderate", 150_000)
    assert limit(Material.SILVER_PRINT) == ("low", 600_000)
    # 120 lx x 5 h = 600 lx h a day: 15,000 / 600 = 25 days, 150,000 / 600 = 250, 600,000 / 600 = 1000 > 365
    assert [light.days_on_show(one, 120, 5) for one in (light.HIGH, light.MODERATE, light.LOW)] == [25, 250, 365]


def test_years_to_a_noticeable_fade() -> None:
    # doses by blue wool (from memory). A window sill at 500 lx, 8 h, 365 days: 1,460,000 lx h a year.
    # Wool 3 without ultraviolet 3 Mlx h: 3 / 1.46 = 2.055 years; with it 1.5 / 1.46 = 1.027 years
    year = light.dose_per_year(500, 8)
    assert year == 1_460_000
    assert light.years_to_fade(light.NOTICEABLE_LXH[2], year) == pytest.approx(2.055, abs=0.001)
    assert light.years_to_fade(light.NOTICEABLE_UV_LXH[2], year) == pytest.approx(1.027, abs=0.001)


def test_light_used_up_and_rest() -> None:
    # a letter, 1 January to 31 March: 90 days x 200 lx x 10 h = 180,000 lx h, over the 150,000 of CIE 157
    # (second-hand).
    # Middle wool 5: 180,000 / 30 M = 0.6 %; with ultraviolet 180,000 / 8 M = 2.25 % (doses from memory).
    # 2000 lx h a day: it hangs again when 74 days (148,000) are left in 365, those from 17 January on; 364 days
    # after 17 January 2026 is 16 January 2027
    def hung(reference: str, *, ultraviolet: bool) -> showing.Showing:
        return showing.Showing(reference=reference, what="", first=date(2026, 1, 1), last=date(2026, 3, 31), lux=200,
                               hours=10, ultraviolet=ultraviolet)  # fmt: skip

    day = date(2026, 4, 1)
    shown = [hung("1", ultraviolet=False), hung("2", ultraviolet=True)]
    plain, bright = (showing.used(_original(number, Kind.DOCUMENT), shown, day) for number in (1, 2))
    assert plain is not None
    assert bright is not None
    assert (plain.dose_lxh, plain.yearly_limit_lxh) == (180_000, 150_000)
    assert (plain.share, bright.share) == (pytest.approx(0.006), pytest.approx(0.0225))
    assert plain.next_showing == date(2027, 1, 16)
    # Wagner, McCabe, Lemmen 2000 (read): the very sensitive rests three years, from 31 March 2026
    fragile = showing.used(_original(1, Kind.COLOUR_PRINT), shown, day)
    assert fragile is not None
    assert fragile.next_showing == date(2029, 3, 31)


def test_a_wall_of_one_place() -> None:
    # CIE 157:2004 (from memory): 15,000 lx h / (50 lx x 10 h) = 30 days each for two colour prints, then the copy:
    # 1 to 30 January, 31 January to 1 March (1 + 28 + 1 days), 2 March to the end of the 365 days
    # film, nitrate above all, is never hung
    prints = [*(_original(number, Kind.COLOUR_PRINT) for number in (1, 2)), _original(3, Kind.NEGATIVE, "1985")]
    turns = showing.rotation(prints, [], places=1, lux=50, hours=10, start=date(2027, 1, 1))
    assert [(turn.reference, turn.first, turn.last) for turn in turns] == [
        ("1", date(2027, 1, 1), date(2027, 1, 30)),
        ("2", date(2027, 1, 31), date(2027, 3, 1)),
        (None, date(2027, 3, 2), date(2027, 12, 31)),
    ]


def test_a_wall_counts_what_the_year_has_used() -> None:
    # CIE 157:2004 (from memory): a silver print bears 600,000 lx h a year. 92 days x 50 lx x 10 h = 46,000 are used:
    # (600,000 - 46,000) / 400 = 1385 days, so it hangs all year
    hung = showing.Showing(reference="1", what="", first=date(2026, 3, 1), last=date(2026, 5, 31), lux=50, hours=10,
                           ultraviolet=False)  # fmt: skip
    turns = showing.rotation([_original(1, Kind.SILVER_PRINT)], [hung], places=1, lux=50, hours=8,
                             start=date(2026, 11, 26))  # fmt: skip
    assert [(turn.reference, turn.first, turn.last) for turn in turns] == [
        ("1", date(2026, 11, 26), date(2027, 11, 25))
    ]


# --- climate ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("warm", "damp", "dew"),
    [
        # WMO No. 8: 243.12 g / (17.62 - g), g = ln(RH / 100) + 17.62 t / (243.12 + t).
        # 18 °C, 65 %: g = -0.43078 + 317.16 / 261.12 = 0.78383; 190.565 / 16.83617 = 11.32
        (18, 65, 11.3),
        # 22 °C, 60 %: g = -0.51083 + 387.64 / 265.12 = 0.95130; 231.280 / 16.66870 = 13.88
        (22, 60, 13.9),
    ],
)
def test_dew_point(warm: float, damp: float, dew: float) -> None:
    # and as the table of dew-points in building practice (DIN 4108) prints them, to 0.1 °C (from memory)
    assert climate.dew_point(warm, damp) == pytest.approx(dew, abs=0.05)


def test_preservation_figure() -> None:
    # Michalski 2002 (from memory), 100 kJ/mol. 5 °C and 40 %: (50 / 40)^1.3 = exp(1.3 x 0.22314) = 1.3365;
    # 12027.9 K x (1 / 278.15 - 1 / 293.15) = 12027.9 x 0.00018396 = 2.2127, exp = 9.140; product 12.22
    assert climate.lifetime_multiplier(5, 40) == pytest.approx(12.22, abs=0.02)


def test_a_logger_by_hand() -> None:
    # six hours at 20 °C, 50 %, then two at 26 °C, 70 % (limits 23 °C, 60 %)
    readings = [
        climate.Reading(time=_at(2026, 3, 1, hour), temperature_c=warm, humidity=damp)
        for hour, warm, damp in ((0, 20, 50), (6, 26, 70), (8, 20, 50))
    ]
    said = climate.judge(readings, warmest_c=climate.WARMEST_C)
    assert said.hours == 8
    assert (said.mean_c, said.mean_humidity) == ((6 * 20 + 2 * 26) / 8, (6 * 50 + 2 * 70) / 8)
    # BS 4971:2017 (second-hand): 23 °C passed for 2 h of 8; 60 % is where mould may begin (from memory)
    assert (said.too_warm, said.too_damp, said.too_dry) == (0.25, 0.25, 0.0)
    # Wilhelm, JAIC 21, 1981 (read): twice as fast 6 °C warmer: (6 x 1 + 2 x 2) / 8
    assert said.relative_fading == pytest.approx(1.25)
    # Michalski 2002 (from memory): at 26 °C, 70 %: 0.6457 x exp(-0.8229) = 0.2836, 3.527 times as fast:
    # 8 / (6 + 2 x 3.527) = 0.613
    assert said.lifetime == pytest.approx(0.613, abs=0.001)
    # WMO No. 8 (from memory): g = -0.35667 + 458.12 / 269.12 = 1.34561; 327.15 / 16.27439 = 20.10
    assert said.highest_dew_point_c == pytest.approx(20.10, abs=0.01)
    # a quarter of the time is more than an hour in twenty (judgement)
    assert len(climate.alarms({"attic": said})) == 2


# --- cold storage -----------------------------------------------------------------------------------------------------


def test_warm_up() -> None:
    # Newton's cooling, heat values from memory. 8 kg: cube of (8 / 700)^(1/3) = 0.22526 m, 6 sides 0.30445 m2;
    # 8 x 1400 / (8 x 0.30445) = 4598.5 s; from 4 °C to within 2 K of 20: ln(16 / 2) = 2.0794: 9562 s = 2.66 h
    assert cold.warming_hours(8, 600, cold.FRIDGE_C) == pytest.approx(2.66, abs=0.01)
    # 3 kg from 4 °C: 0.16243 m, 0.15830 m2, 3316.4 s x 2.0794 = 1.92 h: NARA (read) says two hours at least
    assert cold.warming_hours(3, 200, cold.FRIDGE_C) == 2
    # one or two photographs: half an hour (NARA, read)
    assert cold.warming_hours(0.02, 2) == pytest.approx(0.5, abs=0.05)


def test_out_of_the_freezer_for_friday() -> None:
    # 2.66 h, in half hours upwards 3: into the room on Friday at 7:00, a night of 12 h before (from memory) 19:00
    plan = cold.timetable(_at(2026, 12, 4, 10), 8, 600)
    assert (plan.to_fridge, plan.to_room, plan.open_bag) == (
        _at(2026, 12, 3, 19),
        _at(2026, 12, 4, 7),
        _at(2026, 12, 4, 10),
    )


def test_into_the_freezer() -> None:
    # common practice, no source: 2 days open, 1 in the refrigerator, the card after 7: 28 February + 2 is 2 March
    plan = cold.packing(_at(2027, 2, 28, 9))
    assert [moment.date() for moment in (plan.pack, plan.to_freezer, plan.check)] == [
        date(2027, 3, 2),
        date(2027, 3, 3),
        date(2027, 3, 10),
    ]


# --- inspection and emergency ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("stable", "looked_at"), [(6, 6), (40, 10), (100, 10), (101, 11), (250, 25)])
def test_sample_sizes(stable: int, looked_at: int) -> None:
    # FADGI 2016, p. 86 (read): ten or ten in a hundred, whichever is more (101: 10.1, rounded up); of film all
    papers = [_original(number, Kind.DOCUMENT) for number in range(stable)]
    films = [_original(1000 + number, Kind.NEGATIVE, "1985") for number in range(3)]
    assert len(inspection.chosen(papers + films, date(2027, 4, 1))) == looked_at + 3


def test_what_is_always_looked_at() -> None:
    # film and newsprint by kind, the rest by a severe change (common practice, no source)
    def condition(fade: Grade, stain: Grade) -> Condition:
        return Condition(
            side=Side.RECTO,
            fade=Fade(grade=fade, density_min=None, density_max=None, density_loss=None, uncertainty=None),
            stain=Stain(grade=stain, area_fraction=None, yellowness_index=None, base_lab=None),
        )

    print_of = _original(2, Kind.SILVER_PRINT)
    assert rules.unstable(_original(1, Kind.CLIPPING))
    assert not rules.unstable(print_of.model_copy(update={"condition": [condition(Grade.MODERATE, Grade.SLIGHT)]}))
    assert rules.unstable(print_of.model_copy(update={"condition": [condition(Grade.NONE, Grade.SEVERE)]}))


def test_days_of_the_rounds() -> None:
    # twice a year, 1 April and 1 October (common practice, no source): from 2 April on the first is in October
    days = inspection.rounds(date(2026, 4, 2))
    assert (days[0], days[-1], len(days)) == (date(2026, 10, 1), date(2031, 4, 1), 10)


def test_kinds_of_findings_and_alarms() -> None:
    # common practice, no source. Spring: one stain; autumn: three, two of them in box 2; 3 > 1 + 1, so it grows
    def found(month: int, box: str, words: str) -> findings.Finding:
        return findings.Finding(day=date(2027, month, 1), box=box, reference="9", words=words,
                                kinds=findings.kinds_of(words))  # fmt: skip

    rows = [found(4, "1", "foxing"), *(found(10, box, "brown spot") for box in ("2", "2", "3"))]
    assert findings.kinds_of("silverfish, smells of vinegar") == ("insects", "smell")
    first, second = findings.alarms(rows)
    assert first.startswith("box 2: stain found 2 times.")
    assert second == "More stain than in the round before: 3 against 1."
    assert findings.alarms([found(4, "1", "musty")]) == [f"1 April 2027, box 1, 9: musty. {findings.ADVICE['mould']}"]
    # whatever is urgent says what to do, with a known source
    assert set(findings.ADVICE) == set(findings.URGENT)
    assert set(re.findall(r"[A-Z]\d", " ".join(findings.ADVICE.values()))) <= set(SOURCES)


def test_what_to_save_first() -> None:
    # people first, burning nitrate is left (NFPA 40, read), the rest by rank, each with its place
    originals = [
        _original(1, Kind.SILVER_PRINT, box="1", rank=3),
        _original(2, Kind.NEGATIVE, "1936", box="2", rank=1),
        _original(3, Kind.COLOUR_PRINT, box="3", rank=2),
    ]
    manifest = Manifest(collection=CollectionInfo(name="", credit="", rights=""),
                        software=Software(name="", version=""), originals=originals, set_aside=[])  # fmt: skip
    known = Known(lux=50, hours=8, start=date(2026, 11, 25), wanted=date(2026, 12, 4))
    page = next(one for one in sections(manifest, known) if one.title.startswith("Fire"))
    assert page.urgent[0].startswith("People first.")
    first = next(table for table in page.tables if table.title.startswith("Save first"))
    assert [row[:2] for row in first.rows] == [("3", "box 3"), ("1", "box 1")]

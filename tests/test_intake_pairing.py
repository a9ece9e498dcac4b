"""Fronts and backs by name, by order and by looks.

The schemes are common practice, no source, unless one is named beside them.
"""

import random

import pytest

from surrogate.intake.ordering import runs
from surrogate.intake.pairing import Look, pair, pair_by_name, pair_by_order

SHEET = (100.0, 150.0)


def looks_of(*scans):
    return [Look(name, size, back) for name, size, back in scans]


def made(groups):
    return {(group.recto, group.verso) for group in groups if group.recto and group.verso}


# Each scheme: front and back of originals numbered {n}; both must pair with nothing but their names.
NAMES_SAY_SO = [
    ("scan{n}.tif", "scan{n}_b.tif"),
    ("scan{n}.tif", "scan{n}_back.tif"),
    ("scan{n}_front.tif", "scan{n}_back.tif"),
    ("scan{n} front.jpg", "scan{n} back.jpg"),
    ("scan{n}.tif", "scan{n}_verso.tif"),
    ("scan{n}_recto.tif", "scan{n}_verso.tif"),
    # Recto and verso letters: archives' usage, from memory.
    ("{n}r.tif", "{n}v.tif"),
    ("{n}_r.tif", "{n}_v.tif"),
    ("2014.019.{n}.tif", "2014.019.{n}v.tif"),
    # 0001a front, 0001b back: shkola.of.by/file-naming-scheme.html.
    ("{n}a.tif", "{n}b.tif"),
    ("{n}_a.tif", "{n}_b.tif"),
    ("{n}f.tif", "{n}b.tif"),
    ("{n}-F.tif", "{n}-B.tif"),
    ("IMG_{n}.jpg", "IMG_{n}_rev.jpg"),
    ("IMG_{n}.jpg", "IMG_{n}-reverse.jpg"),
    ("IMG_{n}Front.jpg", "IMG_{n}Back.jpg"),
    ("IMG_{n}.JPG", "IMG_{n}(back).jpg"),
    ("IMG_{n}.jpg", "IMG_{n} [verso].jpg"),
    ("back_of/../{n}.jpg", "back_of/../{n} backside.jpg"),
    ("front_{n}.png", "back_{n}.png"),
    ("{n}.png", "back of {n}.png"),
    ("recto-{n}.tif", "verso-{n}.tif"),
    ("f{n}.tif", "b{n}.tif"),
    ("{n}_obverse.tif", "{n}_reverse.tif"),
    ("{n} side A.tif", "{n} side B.tif"),
    ("{n}_side1.tif", "{n}_side2.tif"),
    ("{n}.tif", "{n}_bk.tif"),
    ("{n}_fr.tif", "{n}_bk.tif"),
    ("{n}_front_600dpi.tif", "{n}_back_600dpi.tif"),
    ("Foto {n} Vorderseite.tif", "Foto {n} Rückseite.tif"),
    ("Foto {n} vorne.tif", "Foto {n} hinten.tif"),
    ("photo {n}.jpg", "photo {n} dos.jpg"),
    ("foto {n} anverso.jpg", "foto {n} reverso.jpg"),
    ("foto {n} fronte.jpg", "foto {n} retro.jpg"),
    ("foto {n} voorkant.jpg", "foto {n} achterkant.jpg"),
    ("bild {n} framsida.jpg", "bild {n} baksida.jpg"),
    ("zdjęcie {n} awers.jpg", "zdjęcie {n} rewers.jpg"),
    ("фото {n}.jpg", "фото {n} оборот.jpg"),
    ("fronts/{n}.tif", "backs/{n}.tif"),
    ("box 1/recto/{n}.tif", "box 1/verso/{n}.tif"),
    ("{n}.tif", "backs/{n}.tif"),
]
#: Schemes that also mean something else: they pair only with the evidence of the pictures.
PICTURES_MUST_AGREE = [
    ("scan{n}.jpg", "scan{n}-2.jpg"),
    ("scan{n}.jpg", "scan{n} (2).jpg"),
    ("scan{n} (1).jpg", "scan{n} (2).jpg"),
    ("scan{n}_1.jpg", "scan{n}_2.jpg"),
    ("scan{n}-01.jpg", "scan{n}-02.jpg"),
    ("a{n}.jpg", "b{n}.jpg"),
]


def folder(front, back, numbers=("0001", "0002", "0003", "0007", "0012")):
    return [(front.format(n=n), back.format(n=n)) for n in numbers]


@pytest.mark.parametrize(("front", "back"), NAMES_SAY_SO)
def test_names_that_say_front_and_back(front, back):
    pairs = folder(front, back)
    names = [name for pair_ in pairs for name in pair_]
    random.Random(front).shuffle(names)
    groups = pair_by_name(names)
    assert made(groups) == set(pairs)
    assert len(groups) == len(pairs)
    assert all(group.why and group.confidence >= 0.75 for group in groups)


@pytest.mark.parametrize(("front", "back"), PICTURES_MUST_AGREE)
def test_names_that_need_the_pictures(front, back):
    pairs = folder(front, back)
    names = [name for pair_ in pairs for name in pair_]
    groups = pair_by_name(names)
    assert made(groups) == set()
    assert sorted(group.recto for group in groups) == sorted(names)
    looks = {name: Look(name, SHEET, back) for pair_ in pairs for name, back in zip(pair_, (0.05, 0.97), strict=True)}
    assert made(pair_by_name(names, looks)) == set(pairs)
    second_copies = {name: Look(name, SHEET, 0.05) for name in names}
    assert made(pair_by_name(names, second_copies)) == set()


# Folders as people have them, in which no name says front or back.
NOT_SIDES = {
    "camera counter": [f"IMG_{n:04}.JPG" for n in range(1, 60)],
    "scanner counter": [f"scan{n:03}.tif" for n in range(1, 30)],
    "copies by the computer": [f"beach{c}.jpg" for c in ("", " (1)", " (2)", " (3)", " - Copy", " copy")],
    "a second copy": ["wedding.jpg", "wedding (2).jpg", "picnic.jpg", "picnic (2).jpg", "lake.jpg", "lake (2).jpg"],
    "two of each": [f"{what}-{n}.jpg" for what in ("wedding", "picnic", "beach", "church") for n in (1, 2)],
    "two of a year": [f"{year}-{n}.jpg" for year in range(1951, 1960) for n in (1, 2)],
    "pages of an album": [f"page {page}-{n}.jpg" for page in range(1, 9) for n in (1, 2)],
    "parts by letter": [f"page12{letter}.tif" for letter in "abcd"] + [f"page13{letter}.tif" for letter in "ab"],
    "inserted numbers": ["11.jpg", "12.jpg", "12a.jpg", "12b.jpg", "12c.jpg", "13.jpg"],
    "two parts of one object": ["1978.10a.tif", "1978.10b.tif", "1978.11.tif", "1978.12.tif", "1978.13.tif"],
    "places": ["front garden.jpg", "back garden.jpg", "house front.jpg", "house back.jpg", "back row.jpg"],
    "words": ["welcome back.jpg", "retro party.jpg", "Back to school 1961.jpg", "rear admiral.jpg", "B.jpg", "A.jpg"],
    "revisions": ["plan rev 1.jpg", "plan rev 2.jpg", "plan.jpg"],
    "versions": ["portrait.jpg", "portrait v2.jpg", "portrait_v3.jpg"],
    "series by kind": [f"{letter}{n:04}.tif" for letter in "abn" for n in range(1, 12)],
    "people": ["Anna B.jpg", "Anna A.jpg", "Anna.jpg", "Vera V.jpg", "Vera R.jpg"],
    "dates": ["1958-06-01.jpg", "1958-06-02.jpg", "1958-06-1.jpg", "1958-06-2.jpg"],
    "sizes": ["4x6-1.jpg", "4x6-2.jpg", "5x7-1.jpg", "5x7-2.jpg"],
    "folders": ["front/1.jpg", "garden/1.jpg", "garden/2.jpg", "1960 A/1.jpg", "1960 B/1.jpg"],
    "retouched": ["0001.tif", "0001r.tif", "0002.tif", "0002r.tif"],
}


@pytest.mark.parametrize("names", NOT_SIDES.values(), ids=NOT_SIDES)
@pytest.mark.parametrize("seed", range(3))
def test_nothing_is_paired_where_names_mean_something_else(names, seed):
    shuffled = list(names)
    random.Random(seed).shuffle(shuffled)
    groups = pair_by_name(shuffled)
    assert made(groups) == set()
    assert sorted(group.recto for group in groups) == sorted(names)


def test_everything_in_one_folder_finds_only_the_true_pairs():
    names = [f"{place}/{name}" for place, names in NOT_SIDES.items() for name in names]
    true = folder("IMG_{n}.jpg", "IMG_{n}_back.jpg", [f"{n:04}" for n in range(101, 130)])
    names += [f"mixed/{name}" for pair_ in true for name in pair_]
    names += [f"mixed/{name}" for name in NOT_SIDES["camera counter"]]
    random.Random(4).shuffle(names)
    groups = pair_by_name(names)
    assert made(groups) == {(f"mixed/{front}", f"mixed/{back}") for front, back in true}
    assert sorted(name for group in groups for name in (group.recto, group.verso) if name) == sorted(names)


def test_folders_of_fronts_and_backs_beside_other_scans():
    loose = [f"Hof {place}.jpg" for place in range(9)]
    groups = pair(["recto/0007.jpg", "verso/0007.jpg", *loose])
    assert [(one.recto, one.verso) for one in groups if one.verso] == [("recto/0007.jpg", "verso/0007.jpg")]


def test_a_lone_back_is_said_to_be_one():
    groups = {
        group.recto or group.verso: group for group in pair_by_name(["0001.tif", "0002 back.tif", "0004_verso.tif"])
    }
    assert groups["0001.tif"].recto
    assert groups["0002 back.tif"].recto is None
    assert groups["0004_verso.tif"].recto is None
    assert "no front" in groups["0004_verso.tif"].why


def test_two_backs_for_one_front():
    groups = pair_by_name(["0001.tif", "0001_back.tif", "0001_verso.tif"])
    assert made(groups) == {("0001.tif", "0001_verso.tif")}
    assert [group.verso for group in groups if group.recto is None] == ["0001_back.tif"]


def test_files_of_one_format_go_together():
    names = ["0001.tif", "0001.jpg", "0001_back.tif", "0001_back.jpg"]
    assert made(pair_by_name(names)) == {("0001.tif", "0001_back.tif"), ("0001.jpg", "0001_back.jpg")}


def test_pictures_overrule_doubtful_names():
    names = ["house.jpg", "house back.jpg"]
    pictures = {name: Look(name, SHEET, 0.03) for name in names}
    assert made(pair_by_name(names)) == {tuple(names)}
    assert made(pair_by_name(names, pictures)) == set()


def numbered(backs, sizes=None):
    sizes = sizes or [SHEET] * len(backs)
    return looks_of(
        *[(f"scan{n:03}.tif", size, back) for n, (back, size) in enumerate(zip(backs, sizes, strict=True), 1)]
    )


SIZES = [(89.0, 127.0), (102.0, 152.0), (60.0, 60.0), (127.0, 178.0), (64.0, 108.0)]


def places(groups):
    return [
        (int(group.recto[4:7]) if group.recto else None, int(group.verso[4:7]) if group.verso else None)
        for group in groups
    ]


def test_front_back_front_back():
    looks = numbered([0.02, 0.97, 0.05, 0.99, 0.01, 0.95], [s for s in SIZES[:3] for _ in (0, 1)])
    assert places(pair_by_order(looks)) == [(1, 2), (3, 4), (5, 6)]


def test_some_fronts_have_no_back():
    looks = numbered([0.02, 0.03, 0.97, 0.05, 0.01, 0.95], [SIZES[n] for n in (0, 1, 1, 2, 3, 3)])
    assert places(pair_by_order(looks)) == [(1, None), (2, 3), (4, None), (5, 6)]


def test_all_fronts_then_all_backs():
    looks = numbered([0.02] * 5 + [0.96] * 5, SIZES + SIZES)
    assert places(pair_by_order(looks)) == [(1, 6), (2, 7), (3, 8), (4, 9), (5, 10)]


def test_the_stack_was_turned_over():
    looks = numbered([0.02] * 5 + [0.96] * 5, SIZES + SIZES[::-1])
    assert places(pair_by_order(looks)) == [(1, 10), (2, 9), (3, 8), (4, 7), (5, 6)]


def test_letters_of_one_size_are_not_each_others_backs():
    assert all(group.verso is None for group in pair_by_order(numbered([0.8] * 12)))


def test_photographs_are_not_each_others_backs():
    assert all(group.verso is None for group in pair_by_order(numbered([0.02] * 12)))


def test_a_letter_after_a_photograph_of_another_size():
    assert places(pair_by_order(numbered([0.02, 0.97], [SIZES[0], (210.0, 297.0)]))) == [(1, None), (2, None)]


def test_odd_and_even_counters_need_the_pictures():
    looks = {look.name: look for look in numbered([0.02, 0.97, 0.05, 0.99], [s for s in SIZES[:2] for _ in (0, 1)])}
    assert places(pair(list(looks), looks)) == [(1, 2), (3, 4)]
    assert places(pair(list(looks))) == [(1, None), (2, None), (3, None), (4, None)]


PIECES = (["a/", "backs/", ""], ["1", "2", "x"], ["", "b", "_back", " (2)", "-2", "v", "r"], [".tif", ".jpg"])


def test_every_scan_is_in_exactly_one_group():
    rng = random.Random(7)
    for _ in range(60):
        names = sorted({"".join(map(rng.choice, PIECES)) for _ in range(rng.randrange(12))})
        looks = {name: Look(name, rng.choice(SIZES), rng.random()) for name in names if rng.random() < 0.7}
        groups = pair(names, looks)
        assert sorted(name for group in groups for name in (group.recto, group.verso) if name) == names


BED = (216.0, 297.0)


def on_the_bed(backs):
    return [Look(f"scan{n:03}.tif", BED, back, frame=True) for n, back in enumerate(backs, 1)]


def test_the_scanners_bed_is_no_size_of_an_original():
    # Five pairs without exception: of 252 orders of five fronts and five backs, one.
    assert places(pair_by_order(on_the_bed([0.02, 0.97] * 5))) == [(n, n + 1) for n in (1, 3, 5, 7, 9)]
    assert all(group.verso is None for group in pair_by_order(on_the_bed([0.02, 0.97] * 3)))
    # Letters among photographs.
    assert all(group.verso is None for group in pair_by_order(on_the_bed([0.02, 0.9, 0.02, 0.02, 0.9, 0.02, 0.02])))
    # Photographs, then as many letters.
    assert all(group.verso is None for group in pair_by_order(on_the_bed([0.02] * 6 + [0.9] * 6)))


def test_a_back_that_follows_no_front_puts_the_whole_order_in_doubt():
    backs = [0.97, 0.02, 0.97, 0.02, 0.97, 0.02]
    groups = pair_by_order(numbered(backs, [SIZES[n] for n in (4, 0, 0, 1, 1, 2)]))
    assert all(group.verso is None for group in groups)
    assert "which front it belongs to is not sure" in groups[0].why


def test_prints_of_one_size_do_not_tell_which_way_the_stack_lay():
    assert all(group.verso is None for group in pair_by_order(numbered([0.02] * 6 + [0.97] * 6)))


@pytest.mark.parametrize(
    ("names", "expected"),
    [
        (["IMG_0003.jpg", "IMG_0001.jpg", "IMG_0002.jpg"], [["IMG_0001.jpg", "IMG_0002.jpg", "IMG_0003.jpg"]]),
        # How computers number what has the same name: common practice, no source.
        (["Scan (2).jpg", "Scan (10).jpg", "Scan.jpg"], [["Scan.jpg", "Scan (2).jpg", "Scan (10).jpg"]]),
        (["a/scan1.tif", "a/scan2.tif", "b/scan3.tif"], [["a/scan1.tif", "a/scan2.tif"]]),
        (["Aunt Mary.jpg", "beach.jpg", "wedding 1931.jpg"], []),
    ],
)
def test_runs_are_what_one_counter_numbered(names, expected):
    assert runs(names) == expected


@pytest.mark.parametrize("seed", range(40))
def test_a_shuffled_run_is_not_taken_for_an_order(seed):
    rng = random.Random(seed)
    count = rng.randint(2, 9)
    sides = [(size, back) for size in rng.choices(SIZES, k=count) for back in (0.02, 0.97)]
    rng.shuffle(sides)
    looks = numbered([back for _, back in sides], [size for size, _ in sides])
    for group in pair_by_order(looks):
        if group.verso:
            front, back = int(group.recto[4:7]), int(group.verso[4:7])
            assert back == front + 1
            assert sides[front - 1][0] == sides[back - 1][0]

"""Is anything ever lost? Bit rot named and repaired, kills and power cuts survived.

Run: ``python tests/benchmarks/quality_safety.py`` for everything, or in pieces: ``rot [FLIPS]``,
``kills [FIRST LAST]``, ``cuts [FIRST LAST]`` (seeds). Targets: every flip named and put right, none the wrong way;
after every kill and every power cut a second run gives the bytes of an undisturbed one.
"""

from __future__ import annotations

import csv
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from safety import cutting, small
from safety.cutting import Moment

import surrogate.cli
import surrogate.pipeline
import surrogate.processing  # loaded once here, so that each child starts at once  # noqa: F401
from surrogate.auditing import audit
from surrogate.collection.catalogue import open_catalogue
from surrogate.collection.inventory import expected

FLIPS, KILLS, CUTS = 500, 200, 50


@contextmanager
def workplace() -> Iterator[Path]:
    """A folder in memory where there is one: these figures need no disk, and a disk makes them slow."""
    memory = Path("/dev/shm")  # noqa: S108
    place = Path(tempfile.mkdtemp(dir=memory if memory.is_dir() else None))
    owner = os.getpid()
    try:
        yield place
    finally:
        if os.getpid() == owner:  # a child that was forked from here must not tidy up
            shutil.rmtree(place)


def rot(flips: int = FLIPS) -> None:
    """Flip single bits on either side of a mirrored collection, fifty at a time, and repair."""
    rng = random.Random(80)
    named = right = wrong = kept = done = 0
    with workplace() as place:
        folder, other = place / "collection", place / "second"
        small.write_scans(place / "scans")
        undisturbed(place / "scans", folder)
        audit(folder, mirror=other)
        with open_catalogue(folder) as catalogue:
            files = [one.file for one in expected(catalogue)]
        pristine = {file: (folder / file).read_bytes() for file in files}
        kinds: dict[str, int] = {}
        while done < flips:
            chosen = rng.sample(files, min(20, flips - done))
            done += len(chosen)
            bad: dict[Path, bytes] = {}
            for file in chosen:
                path = rng.choice((folder, other)) / file
                kinds[file.split("/")[0]] = kinds.get(file.split("/")[0], 0) + 1
                path.chmod(0o644)
                content = bytearray(path.read_bytes())
                content[rng.randrange(len(content))] ^= 1 << rng.randrange(8)
                path.write_bytes(content)
                bad[path] = bytes(content)
            report = audit(folder, mirror=other, repair=True)
            found = {folder / finding.file for finding in report.findings}
            if report.mirror is not None:
                found |= {other / finding.file for finding in report.mirror.findings}
            named += len(found & bad.keys())
            for path, content in bad.items():
                root = folder if path.is_relative_to(folder) else other
                apart = root / "damaged" / path.relative_to(root)
                kept += apart.read_bytes() == content
            right += sum(path.read_bytes() == pristine[relative(path, folder, other)] for path in bad)
            wrong += sum((root / file).read_bytes() != pristine[file] for root in (folder, other) for file in files)
            for root in (folder, other):
                shutil.rmtree(root / "damaged", ignore_errors=True)
    where = ", ".join(f"{count} in {area}" for area, count in sorted(kinds.items()))
    print(
        f"bit rot: {done} flips ({where}): named {named}, repaired right {right}, wrong way {wrong}, kept apart {kept}"
    )


def relative(path: Path, folder: Path, other: Path) -> str:
    """Name of a file within whichever side it lies on."""
    return path.relative_to(folder if path.is_relative_to(folder) else other).as_posix()


def arguments(scans: Path, collection: Path, workers: int = 1) -> list[str]:
    """The command line of a run."""
    own = ["--captions", str(scans / "captions.csv"), "--workers", str(workers)]
    return ["process", str(scans), "--collection", str(collection), *own]


def undisturbed(scans: Path, collection: Path) -> cutting.Run:
    """A run that nobody disturbs; it sets one torn scan aside."""
    said = scans.parent / "said"
    run = cutting.run(arguments(scans, collection), output=said)
    if run.status != 1:
        raise SystemExit(f"An undisturbed run ended with {run.status}: {said.read_text()}")
    return run


@dataclass(frozen=True)
class Work:
    """What is disturbed: the collection before it (None: there is none), what it takes, what it should leave."""

    before: Path | None
    calm: cutting.Run
    wanted: dict[str, str]

    def begin(self, folder: Path) -> None:
        """Lay out the collection as it is before the run."""
        if self.before is not None:
            shutil.copytree(self.before, folder)


def works(scans: Path, place: Path) -> list[Work]:
    """A first run on new scans; and one that follows new words and another strength in the caption sheet."""
    first, before, second = place / "first" / "c", place / "before" / "c", place / "second" / "c"
    taking = undisturbed(scans, first)
    shutil.copytree(first, before)
    sheet = before / "captions.csv"
    lines = sheet.read_text(encoding="utf-8-sig").replace("The ferry", "The last ferry").splitlines()
    strength = next(csv.reader(lines)).index("strength")
    rows = list(csv.reader(lines))
    for row in rows:
        if row[0] == "orchard.tif":
            row[strength] = "gentle"
    with sheet.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows(rows)
    shutil.copytree(before, second)
    following = undisturbed(scans, second)
    found = [Work(None, taking, small.contents(first)), Work(before, following, small.contents(second))]
    if not small.differences(found[0].wanted, found[1].wanted):
        raise SystemExit("The second run followed nothing.")
    return found


def kills(first: int = 0, last: int = KILLS) -> None:
    """Kill ``process`` at a seeded moment, run it again, compare with an undisturbed run byte for byte."""
    count = equal = killed = 0
    start = time.monotonic()
    with workplace() as place:
        scans = place / "scans"
        small.write_scans(scans)
        both = works(scans, place)
        for seed in seeds(first, last):
            count += 1
            folder, work = place / str(seed) / "c", both[seed % 3 == 2]
            workers = 2 if seed % 10 == 9 else 1
            work.begin(folder)
            run = cutting.run(arguments(scans, folder, workers), moment(seed, work.calm), fresh=workers > 1)
            killed += run.status is None
            again = cutting.run(arguments(scans, folder, workers), output=place / "told")
            equal += told_right(seed, folder, work, again.status, place / "told")
            shutil.rmtree(folder.parent)
    print(f"kills: {count} runs, {killed} killed before they ended: equal {equal} of {count} ({elapsed(start)})")


def told_right(seed: int, folder: Path, work: Work, status: int | None, said: Path) -> bool:
    """Whether a collection is as it should be after its second run; says what is not."""
    wrong = small.differences(small.contents(folder), work.wanted)
    if status != work.calm.status:
        wrong.append(f"exit status {status} instead of {work.calm.status}")
    wrong += [f"{finding.file} {finding.problem}" for finding in audit(folder).findings]
    if wrong:
        print(f"  seed {seed} ({moment(seed, work.calm)}): {wrong[:6]}\n{said.read_text()[-600:]}")
    said.unlink()
    return not wrong


def moment(seed: int, calm: cutting.Run) -> Moment:
    """Even seeds: the nth thing done to files; odd seeds, and runs with two workers: by the clock."""
    rng = random.Random(1000 + seed)
    if seed % 2 == 0:
        return Moment(event=rng.randint(1, calm.events))
    return Moment(seconds=rng.uniform(0.02, calm.seconds * 1.1))


def cuts(first: int = 0, last: int = CUTS) -> None:
    """Cut the power at a seeded moment: only what was asked to reach the disk is there for the second run."""
    count = equal = cut = 0
    start = time.monotonic()
    with workplace() as place:
        if not cutting.can_mount(place):
            print("power cuts: not tried: this system does not let us mount a file system image (it takes root)")
            return
        scans, disk = place / "scans", place / "disk"
        small.write_scans(scans)
        both = works(scans, place)
        cutting.new_image(place / "new.img")
        for seed in seeds(first, last):
            count += 1
            work = both[seed % 3 == 2]
            shutil.copyfile(place / "new.img", place / "live.img")
            if work.before is not None:
                with cutting.mounted(place / "live.img", disk):
                    work.begin(disk / "c")
            with cutting.mounted(place / "live.img", disk):
                run = cutting.run(arguments(scans, disk / "c"), moment(seed, work.calm))
                shutil.copyfile(place / "live.img", place / "cut.img")  # what reached the disk so far, and no more
            cut += run.status is None
            with cutting.mounted(place / "cut.img", disk):
                again = cutting.run(arguments(scans, disk / "c"), output=place / "told")
                equal += told_right(seed, disk / "c", work, again.status, place / "told")
    print(f"power cuts: {count} runs, {cut} cut before they ended: equal {equal} of {count} ({elapsed(start)})")


def seeds(first: int, last: int) -> Iterator[int]:
    """The seeds of a piece, until a person has had enough (Ctrl-C): what was tried so far is still reported."""
    stop: list[bool] = []
    asked = signal.signal(signal.SIGINT, lambda *_: stop.append(True))
    for seed in range(first, last):
        if stop:
            break
        yield seed
    signal.signal(signal.SIGINT, asked)


def elapsed(start: float) -> str:
    """Wall time since ``start`` in words."""
    return f"{time.monotonic() - start:.0f} s"


def main() -> None:
    """Run the pieces asked for, or all of them."""
    pieces = {"rot": rot, "kills": kills, "cuts": cuts}
    if len(sys.argv) > 1:
        pieces[sys.argv[1]](*[int(number) for number in sys.argv[2:]])
    else:
        for piece in pieces.values():
            piece()


if __name__ == "__main__":
    main()

"""Is anything ever lost? Bit rot named and repaired, kills and power cuts survived.

Run: ``python tests/benchmarks/quality_safety.py`` for everything, or in pieces: ``rot [FLIPS]``,
``kills [FIRST LAST]``, ``cuts [FIRST LAST]`` (seeds). Targets: every flip named and put right, none the wrong way;
after every kill and every power cut a second run gives the bytes of an undisturbed one.
"""

from __future__ import annotations

import random
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from safety import cutting, small
from safety.cutting import Moment

import surrogate.cli
import surrogate.processing  # loaded once here, so that each child starts at once  # noqa: F401
from surrogate.auditing import audit
from surrogate.collection.catalogue import open_catalogue
from surrogate.collection.inventory import expected

FLIPS, KILLS, CUTS = 500, 200, 50


@contextmanager
def workplace() -> Iterator[Path]:
    """A folder in memory where there is one: these figures need no disk, and a disk makes them slow."""
    memory = Path("/dev/shm")  # noqa: S108
    with tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None) as name:
        yield Path(name)


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


def kills(first: int = 0, last: int = KILLS) -> None:
    """Kill ``process`` at a seeded moment, run it again, compare with an undisturbed run byte for byte."""
    equal = killed = 0
    start = time.monotonic()
    with workplace() as place:
        scans = place / "scans"
        small.write_scans(scans)
        calm = undisturbed(scans, place / "calm" / "c")
        wanted = small.contents(place / "calm" / "c")
        for seed in range(first, last):
            folder = place / str(seed) / "c"
            workers = 2 if seed % 10 == 9 else 1
            run = cutting.run(arguments(scans, folder, workers), moment(seed, calm))
            killed += run.status is None
            again = cutting.run(arguments(scans, folder, workers), output=place / "told")
            wrong = verdict(folder, wanted, again.status, calm.status)
            equal += not wrong
            if wrong:
                print(f"  seed {seed} ({moment(seed, calm)}): {wrong[:5]}\n{(place / 'told').read_text()[-600:]}")
            (place / "told").unlink()
            shutil.rmtree(folder.parent)
    count = last - first
    print(f"kills: {count} runs, {killed} killed before they ended: equal {equal} of {count} ({elapsed(start)})")


def verdict(folder: Path, wanted: dict[str, str], status: int | None, calm: int | None) -> list[str]:
    """What is wrong with a collection after its second run."""
    wrong = small.differences(small.contents(folder), wanted)
    if status != calm:
        wrong.append(f"exit status {status} instead of {calm}")
    return wrong + [f"{finding.file} {finding.problem}" for finding in audit(folder).findings]


def moment(seed: int, calm: cutting.Run) -> Moment:
    """Even seeds: the nth thing done to files; odd seeds and runs with two workers: by the clock."""
    rng = random.Random(1000 + seed)
    if seed % 2 == 0:
        return Moment(event=rng.randint(1, calm.events))
    return Moment(seconds=rng.uniform(0.02, calm.seconds * 1.1))


def cuts(first: int = 0, last: int = CUTS) -> None:
    """Cut the power at a seeded moment: only what was asked to reach the disk is there for the second run."""
    equal = cut = 0
    start = time.monotonic()
    with workplace() as place:
        if not cutting.can_mount(place):
            print("power cuts: not tried: this system does not let us mount a file system image (it takes root)")
            return
        scans, disk = place / "scans", place / "disk"
        small.write_scans(scans)
        cutting.new_image(place / "new.img")
        shutil.copyfile(place / "new.img", place / "calm.img")
        with cutting.mounted(place / "calm.img", disk):
            calm = undisturbed(scans, disk / "c")
            wanted = small.contents(disk / "c")
        for seed in range(first, last):
            shutil.copyfile(place / "new.img", place / "live.img")
            with cutting.mounted(place / "live.img", disk):
                run = cutting.run(arguments(scans, disk / "c"), moment(seed, calm))
                shutil.copyfile(place / "live.img", place / "cut.img")  # what reached the disk so far, and no more
            cut += run.status is None
            with cutting.mounted(place / "cut.img", disk):
                again = cutting.run(arguments(scans, disk / "c"), output=place / "told")
                wrong = verdict(disk / "c", wanted, again.status, calm.status)
            equal += not wrong
            if wrong:
                print(f"  seed {seed} ({moment(seed, calm)}): {wrong[:5]}\n{(place / 'told').read_text()[-600:]}")
            (place / "told").unlink()
    count = last - first
    print(f"power cuts: {count} runs, {cut} cut before they ended: equal {equal} of {count} ({elapsed(start)})")


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

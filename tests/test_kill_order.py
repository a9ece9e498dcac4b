"""What reaches the disk first: contents before names, names before the catalogue says so. The system's own word."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest
from safety import small

pytestmark = pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not installed")

_CALLS = "trace=fsync,fdatasync,rename,renameat,renameat2"
_SYNCED = re.compile(r"(?:fsync|fdatasync)\(\d+<(.+?)>\)\s*= 0")
_RENAMED = re.compile(r'rename(?:at2?)?\((?:AT_FDCWD[^,]*, )?"(.+?)", (?:AT_FDCWD[^,]*, )?"(.+?)"(?:, \w+)?\)\s*= 0')


@dataclass(frozen=True)
class Call:
    """A name given (``new`` is it) or, with ``new`` empty, a file or folder asked to reach the disk."""

    path: str
    new: str = ""


@pytest.fixture(scope="module")
def calls(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[Call]]:
    place = tmp_path_factory.mktemp("order")
    small.write_scans(place / "scans")
    command = [sys.executable, "-m", "surrogate.cli", "process", str(place / "scans"), "--collection", str(place / "c")]
    trace = ["strace", "-f", "-y", "-s", "4096", "-e", _CALLS, "-o", str(place / "trace")]
    done = subprocess.run([*trace, *command, "--workers", "1"], capture_output=True, text=True, check=False)
    if "PTRACE" in done.stderr:
        pytest.skip("this system does not let strace look on")
    assert (place / "c" / "manifest.json").is_file(), done.stderr
    return place / "c", list(parsed((place / "trace").read_text()))


def parsed(trace: str) -> list[Call]:
    """The calls in the order in which they ended; halves of one call are put together."""
    begun: dict[str, str] = {}
    found = []
    for line in trace.splitlines():
        thread, _, what = line.partition(" ")
        what = what.strip()
        if what.endswith("<unfinished ...>"):
            begun[thread] = what.removesuffix("<unfinished ...>")
            continue
        if "resumed>" in what:
            what = begun.pop(thread, "").rstrip() + what.split("resumed>", 1)[1]
        if synced := _SYNCED.search(what):
            found.append(Call(synced[1].removesuffix(" (deleted)")))
        elif renamed := _RENAMED.search(what):
            found.append(Call(renamed[1], renamed[2]))
    return found


def test_every_name_is_given_to_bytes_that_are_on_the_disk_and_is_itself_brought_there(
    calls: tuple[Path, list[Call]],
) -> None:
    folder, found = calls
    given = [(at, call) for at, call in enumerate(found) if call.new and not Path(call.new).name.startswith(".")]
    names = {Path(call.new).relative_to(folder).as_posix() for _, call in given if call.new.startswith(str(folder))}
    assert {"manifest.json", "captions.csv", "checksums.sha256", "report.html"} <= names
    assert {Path(name).parts[0] for name in names} >= {"masters", "copies", "recipes", "condition", "catalogue"}
    for at, call in given:
        if not call.new.startswith(str(folder)) or "/.incoming/" in call.new:
            continue  # what is staged has no name yet
        assert Call(call.path) in found[:at], f"{call.new} got its name before its bytes were on the disk"
        assert Call(str(Path(call.new).parent)) in found[at:], f"the name of {call.new} was not brought to the disk"


def test_files_are_on_the_disk_before_the_catalogue_says_so(calls: tuple[Path, list[Call]]) -> None:
    folder, found = calls
    recorded = [at for at, call in enumerate(found) if call.path == str(folder / "catalogue.sqlite")]
    for at, call in enumerate(found):
        if call.new.startswith(str(folder / "masters")) and not call.new.endswith(".xmp"):
            side = Path(call.new).stem
            of_side = [n for n, other in enumerate(found) if f"/{side}" in other.new and n > at]
            assert any(later > max(of_side) for later in recorded), f"nothing was recorded after {side} lay in place"

"""Hostile and odd files through the command: each is set aside with its reason and what to do next."""

from __future__ import annotations

import csv
import os
import socket
import struct
import subprocess
import sys
import tempfile
import threading
import time
import zlib
from pathlib import Path

import mutations
import numpy as np
import pytest
import skimage.data
import tifffile
from PIL import Image

from surrogate import running
from surrogate.errors import ScanSetAside, WrongUse
from surrogate.imaging import read
from surrogate.intake.gather import gather, printable

PICTURE = Image.fromarray(skimage.data.chelsea()).resize((180, 120))

pytestmark = pytest.mark.skipif(os.name == "nt", reason="file names and pipes of this kind need a POSIX system")


def command(*arguments: object, **options: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "surrogate", *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
        **options,
    )


def listed(collection: Path) -> dict[str, tuple[str, str]]:
    with (collection / "set_aside.csv").open(encoding="utf-8-sig", newline="") as sheet:
        return {row["file"]: (row["reason"], row["advice"]) for row in csv.DictReader(sheet)}


def png(width: int, height: int, *, rows: int, interlaced: bool = False, bits: int = 1) -> bytes:
    """A tiny file that claims a huge picture and delivers the first ``rows`` of it (PNG 1.2)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    row = b"\0" + bytes((width * bits + 7) // 8)
    packer = zlib.compressobj(9)
    packed = b"".join(packer.compress(row) for _ in range(rows)) + packer.flush()
    head = struct.pack(">IIBBBBB", width, height, bits, 0, 0, 0, int(interlaced))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", packed) + chunk(b"IEND", b"")


def claiming(path: Path, width: int, height: int) -> None:
    """A small TIFF whose header claims another size."""
    tifffile.imwrite(path, np.zeros((4, 4), np.uint8))
    content = bytearray(path.read_bytes())
    with tifffile.TiffFile(path) as tiff:
        for tag, value in ((256, width), (257, height), (278, height)):
            entry = tiff.pages[0].tags[tag].offset
            content[entry + 2 : entry + 12] = struct.pack("<HII", 4, 1, value)
    path.write_bytes(content)


def progressive(path: Path, width: int, height: int) -> None:
    """A progressive JPEG whose frame header claims another size (ITU-T T.81, B.2.2)."""
    PICTURE.save(path, progressive=True)
    content = bytearray(path.read_bytes())
    start = content.index(b"\xff\xc2")
    content[start + 5 : start + 9] = struct.pack(">HH", height, width)
    path.write_bytes(content)


#: Names that are awkward but those of sound scans: they must go in like any other.
AWKWARD = [
    "plain.png",
    "two\nlines.png",
    "\"quoted\" and 'quoted'.png",
    "right-to-left \u202egnp.png",
    "-rf.png",
    "=1+1.png",
    "$(touch hit).png",
    "semi;colon,comma\ttab.png",
    "e\u0301 decomposed.png",
    "\u00e9 composed.png",
    "\U0001f4f7.png",
    " leading and trailing .png",
    "percent %s %00.png",
    "<b>bold<b>.png",
    "x" * 246 + ".png",
]


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, subprocess.CompletedProcess[str]]:
    """A folder of awkward names and hostile files, and what the command made of it."""
    root = tmp_path_factory.mktemp("hostile")
    scans = root / "scans"
    scans.mkdir()
    for place, name in enumerate(AWKWARD):
        PICTURE.rotate(360 * place / len(AWKWARD), expand=True).save(scans / name)
    PICTURE.rotate(3).save(scans / os.fsdecode(b"not utf-8 \xff\xfe.png"))
    PICTURE.transpose(Image.Transpose.FLIP_LEFT_RIGHT).save(scans / "no suffix", format="PNG")
    (scans / "nothing.tif").touch()
    (scans / "zeros.tif").write_bytes(bytes(5000))
    (scans / "text.jpg").write_text("Dear aunt, the pictures are in the blue box.")
    (scans / "letter.pdf").write_bytes(b"%PDF-1.4\n" + bytes(range(256)))
    (scans / "bomb.png").write_bytes(png(40_000, 40_000, rows=40_000))
    (scans / "interlaced bomb.png").write_bytes(png(40_000, 25_000, rows=500, interlaced=True, bits=8))
    claiming(scans / "claims.tif", 200_000, 200_000)
    claiming(scans / "claims one long strip.tif", 33_000, 33_000)
    progressive(scans / "claims.jpg", 65_000, 18_000)
    whole = root / "whole.jpg"
    PICTURE.save(whole)
    (scans / "cut short.jpg").write_bytes(whole.read_bytes()[:2000])
    (scans / "loop.tif").symlink_to(scans / "loop.tif")
    (scans / "gone.tif").symlink_to(root / "never was.tif")
    (scans / "round and round").symlink_to(scans, target_is_directory=True)
    os.mkfifo(scans / "pipe.tif")
    listening = socket.socket(socket.AF_UNIX)
    here = Path.cwd()
    os.chdir(scans)  # the address of a socket may have 107 bytes only
    listening.bind("socket.jpg")
    os.chdir(here)
    done = command("process", scans, "--collection", root / "c", "--workers", "2")
    listening.close()
    return scans, root / "c", done


HOSTILE = {
    "nothing.tif": "empty",
    "zeros.tif": "nothing but zero",
    "text.jpg": "text file",
    "letter.pdf": "PDF",
    "bomb.png": "claims 40000 x 40000",
    "interlaced bomb.png": "claims 40000 x 25000",
    "claims.tif": "claims 200000 x 200000",
    "claims one long strip.tif": "claims 33000 x 33000",
    "claims.jpg": "claims 65000 x 18000",
    "cut short.jpg": "breaks off",
    "loop.tif": "cannot be opened",
    "gone.tif": "cannot be opened",
    "pipe.tif": "not an ordinary file",
    "socket.jpg": "not an ordinary file",
}


def test_the_rest_is_done_and_the_exit_says_so(ran: tuple[Path, Path, subprocess.CompletedProcess[str]]) -> None:
    _, collection, done = ran
    assert done.returncode == 1, done.stderr
    assert "Traceback" not in done.stderr
    assert f"{len(AWKWARD) + 2} originals" in done.stdout
    assert command("audit", collection).returncode == 0


@pytest.mark.parametrize("name", sorted(HOSTILE))
def test_each_is_set_aside_with_reason_and_advice(
    name: str, ran: tuple[Path, Path, subprocess.CompletedProcess[str]]
) -> None:
    reason, advice = listed(ran[1])[name]
    assert HOSTILE[name] in reason
    assert advice


def test_nothing_else_is_set_aside_and_every_master_is_whole(
    ran: tuple[Path, Path, subprocess.CompletedProcess[str]],
) -> None:
    scans, collection, _ = ran
    assert set(listed(collection)) == set(HOSTILE)
    masters = {path.read_bytes() for path in (collection / "masters").rglob("*_r.png")}
    given = {path.read_bytes() for path in scans.iterdir() if path.is_file() and path.name not in HOSTILE}
    assert masters == given
    assert not (scans / "hit").exists()
    assert not (Path.cwd() / "hit").exists()


def test_names_are_written_so_that_nothing_breaks(ran: tuple[Path, Path, subprocess.CompletedProcess[str]]) -> None:
    _, collection, done = ran
    page = (collection / "report.html").read_text(encoding="utf-8")
    assert "<b>bold<b>" not in page
    assert "\u202e" not in page
    assert "\u202e" not in done.stdout
    manifest = (collection / "manifest.json").read_bytes().decode("utf-8")
    assert "two\\\\nlines.png" in manifest


def test_a_second_run_finds_it_all_done(ran: tuple[Path, Path, subprocess.CompletedProcess[str]]) -> None:
    scans, collection, _ = ran
    done = command("process", scans, "--collection", collection, "--workers", "1")
    assert done.returncode == 1
    assert "0 new" in done.stdout
    assert set(listed(collection)) == set(HOSTILE)


def test_folders_nested_a_thousand_deep(tmp_path: Path) -> None:
    (tmp_path / "scans").mkdir()
    folder = os.open(tmp_path / "scans", os.O_RDONLY)
    for _ in range(1500):
        os.mkdir("d", dir_fd=folder)
        inner = os.open("d", os.O_RDONLY, dir_fd=folder)
        os.close(folder)
        folder = inner
    os.close(os.open("deep.tif", os.O_CREAT | os.O_WRONLY, dir_fd=folder))
    os.close(folder)
    try:
        found = gather([tmp_path / "scans"], tmp_path / "c")
    finally:  # Python's own removal of folders gives up at this depth
        subprocess.run(["rm", "-rf", str(tmp_path / "scans")], check=True)
    assert [scan.name[-9:] for scan in found.scans] == ["/deep.tif"]


@pytest.mark.parametrize("kind", ["vanishes", "grows", "is cut"])
def test_files_that_change_while_they_are_read(kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from surrogate import pipeline
    from surrogate.collection import files

    path = tmp_path / "scan.tif"
    PICTURE.save(path)
    copy = files.copy_hashed

    def changing(source: Path, target: Path) -> tuple[str, int]:
        found = copy(source, target)
        if kind == "vanishes":
            source.unlink()
        elif kind == "grows":
            with source.open("ab") as handle:
                handle.write(b"more")
        else:
            os.truncate(source, 100)
        return found

    monkeypatch.setattr(pipeline.files, "copy_hashed", changing)
    with pytest.raises(ScanSetAside, match=r"vanished|changed while") as problem:
        pipeline._preserve(path, tmp_path / "master.tif")
    assert problem.value.advice


def test_a_file_that_never_stops_growing_ends(tmp_path: Path) -> None:
    from surrogate.collection import files

    path = tmp_path / "growing.tif"
    path.write_bytes(bytes(1000))
    stop = threading.Event()

    def grow() -> None:
        with path.open("ab", buffering=0) as handle:
            for _ in range(60):  # a disk has an end
                if stop.wait(0.002):
                    return
                handle.write(bytes(1 << 20))

    writer = threading.Thread(target=grow)
    writer.start()
    try:
        while path.stat().st_size < 2 << 20:
            time.sleep(0.001)
        _, size = files.copy_hashed(path, tmp_path / "copy.tif")
        time.sleep(0.02)
        assert size < path.stat().st_size
    finally:
        stop.set()
        writer.join()


def test_a_folder_without_permission(tmp_path: Path) -> None:
    shared = Path(tempfile.gettempdir()) / f"locked-{os.getpid()}"  # where another user reaches it
    scans = shared if os.geteuid() == 0 else tmp_path / "scans"
    (scans / "locked").mkdir(parents=True)
    scans.chmod(0o755)
    PICTURE.save(scans / "open.png")
    (scans / "open.png").chmod(0o644)
    PICTURE.save(scans / "closed.png")
    (scans / "closed.png").chmod(0o000)
    (scans / "locked").chmod(0o000)
    script = (
        "import os, sys; sys.path[:0] = [p for p in sys.argv[3].split(':')]; "
        "from pathlib import Path; from surrogate.intake.gather import gather; "
        "from surrogate.imaging.read import read_header\n"
        "if os.geteuid() == 0: os.setgid(65534); os.setuid(65534)\n"
        "found = gather([Path(sys.argv[1])], Path(sys.argv[2]))\n"
        "print([scan.name for scan in found.scans], [(a.file, a.reason) for a in found.set_aside])\n"
        "try: read_header(Path(sys.argv[1]) / 'closed.png')\n"
        "except Exception as problem: print(type(problem).__name__, problem)\n"
    )
    try:
        done = subprocess.run(
            [sys.executable, "-c", script, str(scans), str(scans.parent / "c"), str(Path(__file__).parents[1])],
            capture_output=True,
            text=True,
            check=False,
        )
    finally:
        (scans / "locked").chmod(0o755)
        (scans / "locked").rmdir()
        for path in scans.iterdir():
            path.unlink()
        scans.rmdir()
    assert "('locked', 'The folder cannot be opened: Permission denied.')" in done.stdout, done.stderr
    assert "ScanSetAside The file cannot be read: Permission denied." in done.stdout


def test_a_folder_given_that_cannot_be_reached_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(WrongUse, match="There is no"):
        gather([tmp_path / ("x" * 300)], tmp_path / "c")
    with pytest.raises(WrongUse, match="There is no"):
        gather([tmp_path / "a\0b"], tmp_path / "c")


@pytest.mark.parametrize(
    ("name", "shown"),
    [("a\udcffb", "a\\xffb"), ("a\nb", "a\\nb"), ("a\u202eb", "a\\u202eb"), ("\u00e9", "\u00e9"), ("a b", "a b")],
)
def test_names_in_lists_are_printable(name: str, shown: str) -> None:
    assert printable(name) == shown


def test_a_lot_of_small_pages_is_read_in_no_time(tmp_path: Path) -> None:
    with tifffile.TiffWriter(tmp_path / "film.tif") as file:
        for _ in range(2500):
            file.write(np.zeros((4, 4), np.uint8), contiguous=False)
    started = time.process_time()
    assert read.read_header(tmp_path / "film.tif").pages == 2000
    assert time.process_time() - started < 3


def test_damaged_files_are_read_or_set_aside_and_nothing_else(tmp_path: Path) -> None:
    """Sixty of the mutations that tests/benchmarks/quality_formats.py makes two thousand of, through a worker."""
    read_count, problems = 0, []
    with running.executor(1) as (pool, _):
        begun = [(path, pool.submit(read.read_header, path)) for path, _ in mutations.damaged(tmp_path, 60)]
        begun += [(path, pool.submit(read.read_reduced, path, 300)) for path, _ in begun]
        for _, future in begun:
            try:
                assert future.result() is not None
                read_count += 1
            except ScanSetAside as problem:
                problems.append(problem)
    assert read_count > 10
    assert len(problems) > 30
    assert all(problem.reason and problem.advice for problem in problems)
    assert not any(word in one.reason for one in problems for word in ("crash", "seconds", "memory"))

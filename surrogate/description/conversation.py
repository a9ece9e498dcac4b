"""One ExifTool process that stays open and is spoken to command by command.

PyExifTool 0.5.6 waits for ever, at full load, when ExifTool dies in the middle of a command (seen when the
process was killed), and reseeds Python's global random numbers; hence these few lines of our own.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import threading
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import IO, Self

from surrogate.errors import EmbeddingFailed, MissingTool
from surrogate.records import Record

# The oldest version whose -stay_open, -json import and XMP structures are known to do what is needed here.
OLDEST_VERSION = 12.15
# Far longer than any command takes; only a hung process gets here.
LONGEST_WAIT_S = 600.0
HOW_TO_INSTALL = (
    "Install it with: apt install libimage-exiftool-perl (Debian, Ubuntu); dnf install perl-Image-ExifTool "
    "(Fedora); brew install exiftool (macOS); winget install OliverBetz.ExifTool (Windows)."
)
# -config "" keeps a person's own ExifTool settings from changing what is written.
_START = ("-config", "", "-stay_open", "True", "-@", "-")
_COMMON = (
    *("-charset", "filename=UTF8", "-charset", "iptc=UTF8", "-charset", "exif=UTF8", "-charset", "UTF8"),
    *("-m", "-q", "-q", "-api", "largefilesupport=1"),
)


def require_exiftool() -> str:
    """Where ExifTool lies; raises MissingTool when it is not installed."""
    program = shutil.which("exiftool")
    if program is None:
        raise MissingTool(f"ExifTool is not installed; captions cannot be put into copies. {HOW_TO_INSTALL}")
    return program


class Answer(Record):
    """What ExifTool printed in answer to one command."""

    output: bytes
    complaints: str


class Conversation:
    """A context manager that owns one ExifTool process."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._complaints: IO[bytes] | None = None
        self._count = 0
        self.version = 0.0

    def __enter__(self) -> Self:
        """Start ExifTool.

        Raises MissingTool when it is not installed or too old.
        """
        self._start()
        self.version = _version_number(self.ask(["-ver"]).output)
        if self.version < OLDEST_VERSION:
            self._stop()
            raise MissingTool(
                f"ExifTool {self.version} is too old; version {OLDEST_VERSION} or later is needed. {HOW_TO_INSTALL}"
            )
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End ExifTool."""
        self._stop()

    def ask(self, arguments: Sequence[str]) -> Answer:
        """Send one command and wait for its answer.

        No argument may hold a line break: ExifTool reads one argument a line. Raises EmbeddingFailed when the
        process ends or hangs; the next command starts a fresh one.
        """
        if any("\n" in argument or "\r" in argument for argument in arguments):
            raise EmbeddingFailed(
                "A folder or file name with a line break in it cannot be handed to ExifTool; rename it."
            )
        if self._process is None or self._process.poll() is not None:
            self._start()
        process = self._process
        assert process is not None and process.stdin is not None and process.stdout is not None  # noqa: PT018, S101
        self._count += 1
        ready = f"{{ready{self._count}}}".encode()
        lines = [*arguments, *_COMMON, f"-execute{self._count}", ""]
        alarm = threading.Timer(LONGEST_WAIT_S, process.kill)
        alarm.daemon = True
        alarm.start()
        try:
            process.stdin.write("\n".join(lines).encode(errors="surrogateescape"))
            process.stdin.flush()
            output = _read_until(process.stdout, ready)
        except (BrokenPipeError, EOFError) as error:
            self._stop()
            raise EmbeddingFailed(
                "ExifTool stopped in the middle of its work; run the same command again to finish."
            ) from error
        finally:
            alarm.cancel()
        return Answer(output=output, complaints=self._new_complaints())

    def _start(self) -> None:
        self._stop()
        program = require_exiftool()
        # setpriv ends ExifTool with its parent: it would otherwise outlive a worker that was killed. Workers ignore the
        # gentler signals, and so does what they start.
        guard = shutil.which("setpriv")
        before = [guard, "--pdeathsig", "KILL", "--"] if guard else []
        self._complaints = tempfile.TemporaryFile()  # noqa: SIM115 (closed in _stop)
        self._process = subprocess.Popen(
            [*before, program, *_START],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._complaints,
            env={**os.environ, "LC_ALL": "C"},
        )

    def _stop(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            for pipe in (process.stdin, process.stdout):
                if pipe is not None:
                    _close_quietly(pipe)
            process.wait()
        if self._complaints is not None:
            self._complaints.close()
            self._complaints = None

    def _new_complaints(self) -> str:
        assert self._complaints is not None  # noqa: S101
        self._complaints.seek(0)
        text = self._complaints.read().decode(errors="replace").strip()
        self._complaints.seek(0)
        self._complaints.truncate()
        return text


def plain_name(path: Path) -> str:
    """The absolute path as ExifTool takes it (an absolute path never looks like an option)."""
    return str(path.absolute())


def _read_until(stream: IO[bytes], ready: bytes) -> bytes:
    lines: list[bytes] = []
    for line in iter(stream.readline, b""):
        text = line.rstrip(b"\r\n")
        if text.endswith(ready):
            lines.append(text[: -len(ready)])
            return b"".join(lines)
        lines.append(line)
    raise EOFError


def _version_number(output: bytes) -> float:
    try:
        return float(output.strip())
    except ValueError:
        return 0.0


def _close_quietly(pipe: IO[bytes]) -> None:
    try:
        pipe.close()
    except BrokenPipeError:
        return

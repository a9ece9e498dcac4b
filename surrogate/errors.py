"""Errors that a person sees: what was wrong, with which file or number, and what to do."""

from __future__ import annotations

from pathlib import Path


class SurrogateError(Exception):
    """Base of every error that ends a command with exit status 2 and one line on standard error."""


class WrongUse(SurrogateError):
    """A command was given something it cannot work with (a missing folder, an unknown kind)."""


class MissingTool(SurrogateError):
    """A program that must be installed (ExifTool) is missing or too old."""


class CollectionUnusable(SurrogateError):
    """The collection folder cannot be used: not a collection, read-only, held by another command."""


class CatalogueLost(CollectionUnusable):
    """The catalogue is missing or damaged; ``folder`` is its collection, whose plain files hold what it held."""

    def __init__(self, folder: Path, problem: str) -> None:
        super().__init__(
            f"{folder / 'catalogue.sqlite'} {problem}. Run `surrogate rebuild --catalogue {folder}` to write it again."
        )
        self.folder = folder
        self.problem = problem


class DiskFull(CollectionUnusable):
    """The disk that holds the collection is full; what is already recorded is safe."""


class ScanSetAside(SurrogateError):
    """One scan cannot be taken in. The batch goes on; the scan is listed with its reason and advice.

    ``reason`` says what was found, ``advice`` what the person should do next; both are one sentence.
    """

    def __init__(self, reason: str, advice: str) -> None:
        super().__init__(f"{reason} {advice}")
        self.reason = reason
        self.advice = advice

    def __reduce__(self) -> tuple[type[ScanSetAside], tuple[str, str]]:
        """Pickle with both sentences, since workers send this error to their parent."""
        return (ScanSetAside, (self.reason, self.advice))


class TryAgain(ScanSetAside):
    """What was wrong need not be in the scan's own bytes: it is set aside, and the next run tries it again."""

    def __reduce__(self) -> tuple[type[TryAgain], tuple[str, str]]:
        """Pickle with both sentences, as :class:`ScanSetAside` does."""
        return (type(self), (self.reason, self.advice))


class WorkerLost(TryAgain):
    """The process that read a scan died or took too long, each time it was tried."""


class ScansAway(SurrogateError):
    """The folder with the scans went away during a run: a network folder or a disk that was taken out."""


class EmbeddingFailed(SurrogateError):
    """What was written into a copy was not what was read back."""

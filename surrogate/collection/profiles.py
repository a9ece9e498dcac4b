"""Profiles of scanners that the settings name for scans that embed none, and the copies of them that are kept.

What a copy was made through is kept in ``profiles/`` under its SHA-256, so that no link breaks when the file that the
settings name is moved, changed or made anew.
"""

from __future__ import annotations

from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path

from surrogate.collection import paths
from surrogate.collection.files import disk_errors, replace_if_changed
from surrogate.collection.settings import FILE_NAME, Settings
from surrogate.errors import CollectionUnusable
from surrogate.imaging.input_profile import InputProfile, input_profile
from surrogate.records import GivenProfile


@dataclass(frozen=True)
class Profiles:
    """The lines of ``[profiles]`` in their order: (pattern of scans' names, profile)."""

    lines: tuple[tuple[str, InputProfile], ...] = ()

    def of_scan(self, name: str) -> InputProfile | None:
        """The profile of the first line that fits a scan's name; None without one."""
        return next((profile for pattern, profile in self.lines if fnmatchcase(name, pattern)), None)


def read(folder: Path, settings: Settings) -> Profiles:
    """The profiles that the settings name, from the collection's folder on.

    Raises :class:`CollectionUnusable` in one sentence when one is missing or is no profile of a scanner.
    """
    return Profiles(tuple((pattern, _read(folder, file)) for pattern, file in settings.profiles.items()))


def _read(folder: Path, file: str) -> InputProfile:
    where = f"{folder / FILE_NAME}: [profiles] names {file}, which"
    try:
        return input_profile((folder / Path(file).expanduser()).read_bytes())
    except FileNotFoundError as error:
        raise CollectionUnusable(
            f"{where} is not there. Put it back, or write the name of the one kept in {paths.PROFILES}/ instead."
        ) from error
    except OSError as error:
        raise CollectionUnusable(f"{where} cannot be read: {error.strerror}. Check the file.") from error
    except ValueError as error:
        raise CollectionUnusable(f"{where} {error}. `surrogate target SCAN --profile {file}` makes one.") from error


def keep(folder: Path, profiles: Profiles) -> None:
    """Keep a copy of every profile in the collection; one that was damaged there is put right."""
    for _, profile in profiles.lines:
        path = folder / paths.profile(profile.sha256)
        with disk_errors(path):
            replace_if_changed(path, profile.content)


def recorded(profile: InputProfile) -> GivenProfile:
    """How records name a profile that is kept."""
    return GivenProfile(name=profile.name, file=paths.profile(profile.sha256), sha256=profile.sha256)


def kept(folder: Path, given: GivenProfile | None) -> InputProfile | None:
    """The profile that a record names, from the collection's own copy; None where it names none.

    Raises :class:`CollectionUnusable` in one sentence when that copy is missing or has changed.
    """
    if given is None:
        return None
    again = (
        "Put it back from your other copy, or run `surrogate process`, which keeps it anew while the settings name it."
    )
    try:
        profile = input_profile((folder / given.file).read_bytes())
    except OSError as error:
        raise CollectionUnusable(f"The scanner profile {given.file} is missing. {again}") from error
    except ValueError as error:
        raise CollectionUnusable(f"The scanner profile {given.file} has changed: it {error}. {again}") from error
    if profile.sha256 != given.sha256:
        raise CollectionUnusable(f"The scanner profile {given.file} has changed. {again}")
    return profile

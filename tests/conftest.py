"""What tests share: the sample scans made into a collection, once for all test processes; which files begin first."""

from __future__ import annotations

import os
import pickle
import shutil
import time
from pathlib import Path

import pytest

from surrogate.demonstrating import demo
from surrogate.processing import ProcessReport

SAMPLES = Path(__file__).parent.parent / "sample_scans"

#: Files whose tests take longest, longest first (runs over many scans, programs of their own, browsers): the last test
#: process to end would otherwise begin one of them when the others are done.
LONG_FIRST = (
    "test_process_demo.py",
    "test_audit_mirror.py",
    "test_hostile.py",
    "test_running_process.py",
    "test_running_cluster.py",
    "test_kill_places.py",
    "test_kill_moments.py",
    "test_catalogue_lost.py",
    "test_lots.py",
    "test_handover_demo.py",
    "test_process_profile.py",
    "test_intake_two_sides.py",
    "test_intake_pairing_process.py",
    "test_desk_browser.py",
    "test_kill_order.py",
    "test_catalogue_versions.py",
    "test_handover_site_browser.py",
    "test_handover_text.py",
    "test_sample_scans.py",
)

#: Seconds after which a test process no longer waits for the demo that another one makes.
PATIENCE_S = 300


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files that take longest; the rest stays in its order."""
    places = {name: place for place, name in enumerate(LONG_FIRST)}
    items.sort(key=lambda item: places.get(item.path.name, len(places)))


@pytest.fixture(scope="session")
def demo_run(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, ProcessReport]:
    """The demo collection, only to be read, and the report of the run that made it.

    Whichever test process needs it first makes it for all: they have one parent folder.
    """
    shared = tmp_path_factory.getbasetemp()
    if "PYTEST_XDIST_WORKER" in os.environ:
        shared = shared.parent
    place = shared / "demo of all"
    folder, said = place / "demo", place / "report"
    try:
        place.mkdir()
    except FileExistsError:
        return folder, _made_elsewhere(said)
    report: ProcessReport | None = None
    try:
        report = demo(folder, workers=1)
    finally:
        (place / "unfinished").write_bytes(pickle.dumps(report))
        (place / "unfinished").rename(said)
    return folder, report


def _made_elsewhere(said: Path) -> ProcessReport:
    end = time.monotonic() + PATIENCE_S
    while not said.exists():
        if time.monotonic() > end:
            pytest.fail("another test process did not finish the demo collection")
        time.sleep(0.1)
    report = pickle.loads(said.read_bytes())  # noqa: S301  (written above)
    if not isinstance(report, ProcessReport):
        pytest.fail("another test process could not make the demo collection")
    return report


@pytest.fixture(scope="session")
def demo_folder(demo_run: tuple[Path, ProcessReport]) -> Path:
    """The demo collection, only to be read."""
    return demo_run[0]


@pytest.fixture
def own_demo(demo_folder: Path, tmp_path: Path) -> Path:
    """A demo collection that a test may change."""
    return Path(shutil.copytree(demo_folder, tmp_path / "demo"))

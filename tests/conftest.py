"""What tests share: the sample scans made into a collection, once per test process."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from surrogate.demonstrating import demo
from surrogate.processing import ProcessReport

SAMPLES = Path(__file__).parent.parent / "sample_scans"


@pytest.fixture(scope="session")
def demo_run(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, ProcessReport]:
    """The demo collection, only to be read, and the report of the run that made it."""
    folder = tmp_path_factory.mktemp("demo") / "demo"
    return folder, demo(folder, workers=1)


@pytest.fixture(scope="session")
def demo_folder(demo_run: tuple[Path, ProcessReport]) -> Path:
    """The demo collection, only to be read."""
    return demo_run[0]


@pytest.fixture
def own_demo(demo_folder: Path, tmp_path: Path) -> Path:
    """A demo collection that a test may change."""
    return Path(shutil.copytree(demo_folder, tmp_path / "demo"))

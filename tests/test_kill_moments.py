"""Killed, or without power, at any moment: the second run gives what an undisturbed one gives.

Two hundred kills and fifty cuts are tried by ``tests/benchmarks/quality_safety.py``; here is a handful of them.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parent / "benchmarks" / "quality_safety.py"
pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="runs are forked")


def told(*arguments: str) -> str:
    done = subprocess.run([sys.executable, str(SCRIPT), *arguments], capture_output=True, text=True, check=True)
    return done.stdout


def test_killed_at_any_moment_the_second_run_gives_the_same_bytes() -> None:
    assert re.search(r"equal 3 of 3 ", said := told("kills", "0", "3")), said


def test_without_power_at_any_moment_the_second_run_gives_the_same_bytes() -> None:
    said = told("cuts", "1", "3")
    if "not tried" in said:
        pytest.skip(said)
    assert re.search(r"equal 2 of 2 ", said), said

"""What a notebook imports."""

from __future__ import annotations

import subprocess
import sys

import pytest

import surrogate


def test_every_public_name_is_there() -> None:
    script = f"from surrogate import {', '.join(surrogate.__all__)}; print(callable(process), callable(audit))"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["True", "True"]


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="polish"):
        _ = surrogate.polish  # type: ignore[attr-defined]

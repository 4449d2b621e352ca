# SPDX-License-Identifier: GPL-3.0-or-later
"""The extension in an empty Blender file, for the tests that work by its operators."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
import panel_job


@pytest.fixture
def extension() -> Iterator[None]:
    """For each test a file and an extension of its own."""
    with panel_job.registered():
        yield


@pytest.fixture(scope="module")
def extension_kept() -> Iterator[None]:
    """One file and one extension for all tests of a module."""
    with panel_job.registered():
        yield

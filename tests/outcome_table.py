# SPDX-License-Identifier: GPL-3.0-or-later
"""Lines that a test wants to stand at the end of the test output, such as a table of outcomes."""

from __future__ import annotations

import pytest

LINES = pytest.StashKey[list[str]]()


def tell(config: pytest.Config, line: str) -> None:
    """Keep a line for the end of the output."""
    config.stash.setdefault(LINES, []).append(line)

# SPDX-License-Identifier: GPL-3.0-or-later
"""What every test run needs: repeatable random examples, and Blender kept in its place."""

from __future__ import annotations

import os
import shutil
import sys
import tempfile

import hypothesis
import numpy as np
import pytest
from outcome_table import LINES

hypothesis.settings.register_profile("repeatable", derandomize=True, deadline=None, print_blob=True)
hypothesis.settings.load_profile("repeatable")

USER_FOLDER = tempfile.mkdtemp(prefix="seamwright-tests-")
os.environ["BLENDER_USER_RESOURCES"] = USER_FOLDER
"""Read by Blender when bpy is first imported: nobody's own settings are read or written."""


def pytest_report_header() -> str:
    return f"numpy {np.__version__}"


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    for line in terminalreporter.config.stash.get(LINES, []):
        terminalreporter.write_line(line)
    bpy = sys.modules.get("bpy")
    if bpy is not None:
        terminalreporter.write_line(f"Blender {bpy.app.version_string}, numpy {np.__version__}")


@pytest.hookimpl(trylast=True)
def pytest_sessionfinish(session: pytest.Session) -> None:
    session.config.stash[STATUS] = session


STATUS = pytest.StashKey[pytest.Session]()


@pytest.hookimpl(trylast=True)
def pytest_unconfigure(config: pytest.Config) -> None:
    """Leave at once where Blender was loaded: its module can crash or hang in Python's own ending.

    By now the reports are written. A session that never began, or broke off, is left to pytest.
    """
    shutil.rmtree(USER_FOLDER, ignore_errors=True)
    session = config.stash.get(STATUS, None)
    if session is None or "bpy" not in sys.modules:
        return
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(int(session.exitstatus))

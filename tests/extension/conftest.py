# SPDX-License-Identifier: GPL-3.0-or-later
"""What the tests of the built zip share: the zip, and a small carving."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

MASS = "90 kg"
"""Heaviest piece in the tests: fewer pieces than the default gives, so that a run is short."""


@pytest.fixture(scope="session")
def zipped() -> Path:
    """The zip under test, which `build.py test` has built."""
    path = os.environ.get("SEAMWRIGHT_ZIP")
    if not path:
        pytest.skip("SEAMWRIGHT_ZIP names no zip; run the tests with build.py test, or build one with build.py zip")
    assert Path(path).is_file(), path
    return Path(path)


@pytest.fixture(scope="session")
def carving(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the demo's outcrop, coarse, in double precision, and the settings of its job."""
    from seamwright.core.demo import demo_carving, demo_job_toml, demo_keep_clear
    from seamwright.core.intake.readers import write_ply

    folder = tmp_path_factory.mktemp("carving")
    write_ply(folder / "outcrop.ply", demo_carving(10_000))
    for name, mesh in demo_keep_clear().items():
        write_ply(folder / name, mesh)
    text = demo_job_toml()
    assert text.count('piece_mass = "50 kg"') == 1
    (folder / "JOB.toml").write_text(text.replace('piece_mass = "50 kg"', f'piece_mass = "{MASS}"'), encoding="utf-8")
    return folder

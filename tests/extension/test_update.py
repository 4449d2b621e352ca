# SPDX-License-Identifier: GPL-3.0-or-later
"""A new version that comes into a running Blender runs its own core, and the open job goes on."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest
from launcher import play

VERSION = "0.99.0"
PLACE, WORD, OTHER = "core/intake/prepare.py", "MOST_SIZE: Final = 200.0", "MOST_SIZE: Final = 2.0"
"""In the later version the core refuses what is longer than 2 m: the test's carving is."""


def later(path: Path, to: Path) -> Path:
    """A zip of a later version whose core has another constant."""
    changed = []
    with zipfile.ZipFile(path) as source, zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as out:
        for name in source.namelist():
            data = source.read(name)
            if name.endswith(PLACE):
                assert data.count(WORD.encode()) == 1
                data = data.replace(WORD.encode(), OTHER.encode())
                changed.append(name)
            elif name.endswith("blender_manifest.toml"):
                rows = [
                    f'version = "{VERSION}"' if r.startswith("version = ") else r for r in data.decode().splitlines()
                ]
                data = "\n".join(rows).encode()
                changed.append(name)
            out.writestr(name, data)
    assert len(changed) == 2
    return to


@pytest.mark.parametrize("way", ["enabled", "disabled", "removed"])
def test_new_version_runs_its_own_core(zipped: Path, carving: Path, tmp_path: Path, way: str) -> None:
    seen = play("update", tmp_path, zipped, later(zipped, tmp_path / "later.zip"), carving, way)
    old, new, again = seen["old"], seen["new"], seen["old again"]
    assert set(seen["put new"] + seen["put old"]) == {"FINISHED"}
    assert "FINISHED" in old["cut"]
    assert new["version"] == VERSION != old["version"] == again["version"]
    assert "0.05 m to 2 m" in new["cut"]
    assert "FINISHED" in again["cut"]
    assert len(old["pieces"]) >= 4
    assert old["pieces"] == new["pieces"] == again["pieces"]
    assert old["title"] == new["title"] == again["title"]
    assert seen["added by new"] == {}
    assert seen["after disable"] == {}
    assert seen["network"] == []

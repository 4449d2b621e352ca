# SPDX-License-Identifier: GPL-3.0-or-later
"""Starts a scene of `scenes/` in a Blender of its own, with an empty user folder, and reads back what it saw."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

SCENES = Path(__file__).parent / "scenes"
LONGEST = 900.0
"""Seconds after which a scene counts as hung."""


def play(scene: str, folder: Path, *words: str | Path) -> dict[str, Any]:
    """Run a scene to its end; the facts that it noted. A scene that fails fails the test with its output."""
    user, facts = folder / "user", folder / f"{scene}.json"
    user.mkdir(exist_ok=True)
    leave = ("PYTHON", "BLENDER_", "http_proxy", "https_proxy", "HTTP_PROXY", "HTTPS_PROXY")
    environ = {key: value for key, value in os.environ.items() if not key.startswith(leave)}
    environ |= {"BLENDER_USER_RESOURCES": str(user), "PYTHONNOUSERSITE": "1", "PYTHONUTF8": "1"}
    command = [sys.executable, str(SCENES / f"{scene}.py"), str(facts), *map(str, words)]
    done = subprocess.run(
        command, cwd=folder, env=environ, check=False, capture_output=True, text=True, timeout=LONGEST
    )
    if done.returncode != 0 or not facts.is_file():
        raise AssertionError(
            f"scene {scene} ended with {done.returncode}:\n{done.stdout[-6000:]}\n{done.stderr[-6000:]}"
        )
    return {**json.loads(facts.read_text("utf-8")), "stdout": done.stdout, "stderr": done.stderr}

# SPDX-License-Identifier: GPL-3.0-or-later
"""Run as a script: begins a process that works for another one, without what the package around the core needs."""

from __future__ import annotations

import pickle
import sys
from types import ModuleType


def begin(package: str, folder: str, beside: str) -> None:
    """Carry out the first object that comes in.

    package : name by which the other process knows the core. folder : where it lies. beside : where numpy does.
    """
    # The same numpy, so that it makes no difference which of the processes reckons.
    sys.path.insert(0, beside)
    import numpy  # noqa: F401

    sys.path.remove(beside)
    names = package.split(".")
    for k in range(1, len(names) + 1):
        # Packages above the core may ask for Blender when they are loaded.
        stub = ModuleType(".".join(names[:k]))
        stub.__path__ = [folder] if k == len(names) else []
        sys.modules[stub.__name__] = stub
    count = int.from_bytes(sys.stdin.buffer.read(8), "little")
    assert count == 1
    length = int.from_bytes(sys.stdin.buffer.read(8), "little")
    pickle.loads(sys.stdin.buffer.read(length))()


if __name__ == "__main__":
    begin(*sys.argv[1:])

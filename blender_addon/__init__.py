# SPDX-License-Identifier: GPL-3.0-or-later
"""Seamwright: a foam carving, cut into pieces that can be carried.

Nothing of Blender is imported here, so that ``import seamwright.core`` works in a plain Python.
"""


def register() -> None:
    """Add everything to the running Blender."""
    from . import registration

    registration.register()


def unregister() -> None:
    """Take everything back out of the running Blender."""
    from . import registration

    registration.unregister()

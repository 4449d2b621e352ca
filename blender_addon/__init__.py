# SPDX-License-Identifier: GPL-3.0-or-later
"""Seamwright: a foam carving, cut into pieces that can be carried.

Nothing of Blender is imported here, so that ``import seamwright.core`` works in a plain Python.
"""

import sys

if "register" in globals():
    # An update came while the extension was disabled: Blender reads this file anew and leaves all others as they were.
    for _name in [name for name in sys.modules if name.startswith(f"{__package__}.")]:
        globals().pop(_name.removeprefix(f"{__package__}."), None)
        del sys.modules[_name]


def register() -> None:
    """Add everything to the running Blender."""
    from . import registration

    registration.register()


def unregister() -> None:
    """Take everything back out of the running Blender."""
    from . import registration

    registration.unregister()

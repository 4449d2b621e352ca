# SPDX-License-Identifier: GPL-3.0-or-later
"""``python -m seamwright VERB ...``."""

import sys

from .command_entry import end, run

if __name__ == "__main__":
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")
    end(run(sys.argv[1:]))

# SPDX-License-Identifier: GPL-3.0-or-later
"""``python -m seamwright VERB ...``."""

import os
import sys

# Before numpy is loaded: most of its products here are small, and threads that a library of linear algebra starts for
# them take longer to wake than to reckon.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from .command_entry import end, run

if __name__ == "__main__":
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="backslashreplace")
    end(run(sys.argv[1:]))

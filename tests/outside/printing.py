# SPDX-License-Identifier: GPL-3.0-or-later
"""Print a page with an installed browser, and read the lines of the PDF back with pypdf.

Neither is a part of this project: the browser lays out and prints as a user's would, pypdf follows the page's own
transformations. Without a browser or without pypdf the tests skip.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
POINT = 25.4 / 72.0
"""Millimetres of a PDF point (ISO 32000-1, 8.3.2.3: a unit of default user space is 1/72 inch)."""


def print_to_pdf(html: str, folder: Path) -> Path:
    """Print an HTML page at 100 %; skip where no browser is installed."""
    browser = next((path for path in map(shutil.which, BROWSERS) if path), None)
    if browser is None:
        pytest.skip("no browser to print with: install chromium")
    page, pdf = folder / "page.html", folder / "page.pdf"
    page.write_text(html, "utf-8")
    command = [browser, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer"]
    command += [f"--user-data-dir={folder / 'profile'}", f"--print-to-pdf={pdf}", page.as_uri()]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False, env={**os.environ})
    if not pdf.is_file():
        pytest.skip(f"the browser did not print: {done.stderr[-300:]}")
    return pdf


def pdf_lines(pdf: Path) -> list[tuple[tuple[float, float], list[np.ndarray]]]:
    """Size (mm) and polylines ((k, 2) mm, y down from the upper left corner) of each page."""
    pypdf = pytest.importorskip("pypdf")
    out = []
    for page in pypdf.PdfReader(pdf).pages:
        box = page.mediabox
        height = float(box.height)
        lines: list[np.ndarray] = []
        run: list[tuple[float, float]] = []

        def take(operator, operands, matrix, _text, height=height, lines=lines, run=run):
            name = operator.decode() if isinstance(operator, bytes) else operator
            values = [float(v) for v in operands] if name in ("m", "l", "re") else []

            def at(x: float, y: float) -> tuple[float, float]:
                a, b, c, d, e, f = matrix
                return (a * x + c * y + e) * POINT, (height - (b * x + d * y + f)) * POINT

            if name in ("m", "re", "S", "f", "f*", "B", "B*", "s", "n", "h") and run:
                if name == "h":
                    run.append(run[0])
                lines.append(np.array(run))
                run.clear()
            if name in ("m", "l"):
                run.append(at(values[0], values[1]))
            elif name == "re":
                x, y, w, h = values
                lines.append(np.array([at(x, y), at(x + w, y), at(x + w, y + h), at(x, y + h), at(x, y)]))

        page.extract_text(visitor_operand_before=take)
        out.append(((float(box.width) * POINT, height * POINT), lines))
    return out

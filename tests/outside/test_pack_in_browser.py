# SPDX-License-Identifier: GPL-3.0-or-later
"""The page of a job pack in a real browser: nothing asked for, nothing said on the console, all in print."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from pack_sample import png
from printing import BROWSERS, pdf_lines, print_to_pdf
from seamwright.core.cutting.joint import Plane, Profile
from seamwright.core.demo import demo_carving
from seamwright.core.job import Datum, Job, Layer, Marking, SettingOut, Skin
from seamwright.core.jobpack.pack import pack_files
from seamwright.core.jobpack.page import job_page
from seamwright.core.jobpack.record import JobResult
from seamwright.core.jobpack.sheets import sheets_html, whole_sheet
from seamwright.core.jobpack.shots import shots
from seamwright.core.jobpack.templates import template_drawing
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.pipeline import run_job
from seamwright.core.seams.marks import Viewpoint
from seamwright.core.seams.seams import find_seams
from shapes import box

VIEWPOINT = '<b onclick="x()">Tür\'s eye'
LAYER = ("</td><script>console.log('layer')</script> Füllspachtel \"zäh\" " + "überall " * 40)[:200]
HOSTILE = ('<script>console.log("ran")</script> "Überhang\' & <img src=x onerror=alert(1)> ' + "Größe " * 40)[:200]


@pytest.fixture(scope="module")
def result() -> JobResult:
    joints = [
        Plane((2.0, 0.0, 0.0), (1.0, 0.0, 0.0)),
        Plane((4.0, 0.0, 0.0), (1.0, 0.0, 0.1)),
        Profile(
            (3.0, 0.0, 0.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), [[0.0, 0.0], [0.6, 0.15], [1.4, -0.1]], (3.0, 0.6, 0.2)
        ),
    ]
    layers = (
        Layer(LAYER, mass=1.2, thickness=0.001, faces=("carved", "joint"), edge_return=0.05),
        Layer('<i>glass & "resin"', glass=0.3, resin_ratio=2.0, faces=("carved",)),
    )
    corners = ((-0.6, -0.6, 0.0), (7.5, -0.6, 0.0), (7.5, 4.0, 0.0), (-0.6, 4.0, 0.0))
    marks = tuple(Datum(f"<u>Größe & {k}", corner, corner) for k, corner in enumerate(corners))
    job = replace(
        Job(),
        title=HOSTILE,
        setting_out=SettingOut(spacing=0.25, marks=marks),
        skin=Skin(layers=layers),
        marking=Marking(prefix="Nord-"),
    )
    return run_job(demo_carving(30_000), job, joints)


def pictures(result: JobResult) -> dict[str, bytes]:
    """Pictures of the names that a job pack has, a viewpoint among them that the user named."""
    eye = Viewpoint.of_camera(VIEWPOINT, np.eye(4), (0.5, 0.4))
    seen = replace(result, seams=replace(find_seams(result.carving, result.job), viewpoints=(eye,)))
    return {shot.name: png() for shot in shots(seen, 0.625)}


@pytest.fixture(scope="module")
def printed(result: JobResult, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str, list[str]]:
    """The PDF, what the browser said, and the addresses that it asked for."""
    browser = next((path for path in map(shutil.which, BROWSERS) if path), None)
    if browser is None:
        pytest.skip("no browser: install chromium")
    folder = tmp_path_factory.mktemp("browser")
    page, pdf, log = folder / "job-pack.html", folder / "pack.pdf", folder / "net.json"
    page.write_bytes(pack_files(result, pictures(result))["job-pack.html"])
    command = [
        browser,
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--no-pdf-header-footer",
        "--enable-logging=stderr",
    ]
    command += [f"--user-data-dir={folder / 'profile'}", f"--log-net-log={log}", f"--print-to-pdf={pdf}", page.as_uri()]
    done = subprocess.run(command, capture_output=True, text=True, timeout=180, check=False)
    if not pdf.is_file():
        pytest.skip(f"the browser did not print: {done.stderr[-300:]}")
    record = json.loads(
        log.read_text("utf-8").rstrip().rstrip(",") + ("" if log.read_text().rstrip().endswith("}") else "]}")
    )
    asked = [str(e["params"]["url"]) for e in record["events"] if "url" in e.get("params", {})]
    return pdf, done.stderr, asked


def test_page_is_quiet_and_asks_for_nothing(printed: tuple[Path, str, list[str]]) -> None:
    _, said, asked = printed
    assert "CONSOLE" not in said
    # A browser may call home on its own account; the page's own requests would name a file or the image of the title.
    assert [url for url in asked if url.startswith(("file:", "data:")) and not url.endswith("job-pack.html")] == []
    assert not [url for url in asked if "/x" == url[-2:]]


def test_the_console_is_listened_to(tmp_path: Path) -> None:
    browser = next((path for path in map(shutil.which, BROWSERS) if path), None)
    if browser is None:
        pytest.skip("no browser: install chromium")
    page = tmp_path / "loud.html"
    page.write_text("<script>console.log('heard')</script>")
    command = [browser, "--headless", "--no-sandbox", "--disable-gpu", "--enable-logging=stderr", "--dump-dom",
               f"--user-data-dir={tmp_path / 'profile'}", page.as_uri()]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    assert "CONSOLE" in done.stderr
    assert "heard" in done.stderr


def test_every_piece_has_a_sheet_in_print_and_words_stay_words(
    result: JobResult, printed: tuple[Path, str, list[str]]
) -> None:
    pypdf = pytest.importorskip("pypdf")
    pages = [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(printed[0]).pages]
    for piece in result.pieces:
        sheets = [text for text in pages if f"Piece {piece.mark} of {len(result.pieces)}" in text]
        assert len(sheets) == 1
        # The whole sheet stands on that page, from the figures to the last tick.
        assert "Finished mass" in sheets[0]
        assert "built in" in sheets[0]
    everything = " ".join(pages)
    assert '<script>console.log("ran")</script>' in everything
    assert "Überhang' & <img src=x onerror=alert(1)>" in everything
    assert "</td><script>console.log('layer')</script> Füllspachtel \"zäh\"" in everything
    assert '<i>glass & "resin"' in everything
    assert 'From <b onclick="x()">Tür\'s eye without joints' in everything
    assert "<u>Größe & 2" in everything
    # All of a name comes out, however long, wherever its line breaks.
    assert "".join(LAYER.split()) in "".join(everything.split())
    assert "".join(HOSTILE.split()) in "".join(everything.split())
    # Every page tells of which job it is, and which it is.
    for number, text in enumerate(pages):
        assert f"page {number + 1} of {len(pages)}" in text
        assert '<script>console.log("ran")</script> "Überhang' in text
    for word in (
        "Key plan",
        "Setting-out",
        "Cutting order",
        "Build order",
        "Loading",
        "Packing",
        "Labels",
        "Sign-off",
        "Cautions",
    ):
        assert word in everything


PHONE = 390
"""Pixels across of a usual phone."""

MEASURE = """<script>addEventListener("load", () => {
  const wide = [...document.querySelectorAll(".wide")].filter(e => e.scrollWidth > e.clientWidth + 1);
  const small = [...document.querySelectorAll("td")].filter(e => parseFloat(getComputedStyle(e).fontSize) < 12);
  console.log(`MEASURED ${innerWidth} ${document.documentElement.scrollWidth} ${wide.length} ${small.length} END`);
  console.log(wide.map(e => e.querySelector("caption").textContent + ":" + e.scrollWidth).join(" | "));
})</script>"""


@pytest.mark.parametrize("cards", [True, False])
def test_reads_on_a_phone_without_sideways_scrolling(result: JobResult, tmp_path: Path, cards: bool) -> None:
    """In a frame as wide as a phone neither the page nor any table is wider than it; without cards tables would be."""
    browser = next((path for path in map(shutil.which, BROWSERS) if path), None)
    if browser is None:
        pytest.skip("no browser: install chromium")
    page = job_page(result, {})
    policy = re.search('<meta http-equiv="Content-Security-Policy"[^>]*>', page)
    assert policy is not None
    page = page.replace(policy[0], "").replace("</body>", f"{MEASURE}</body>")
    if not cards:
        page = page.replace('class="cards"', "").replace('class="fit cards"', 'class="fit"')
    (tmp_path / "page.html").write_text(page, "utf-8")
    frame = tmp_path / "frame.html"
    shown = f'<iframe src="page.html" width={PHONE} height=844 style="border:0"></iframe>'
    frame.write_text(f'<body style="margin:0">{shown}')
    command = [
        browser,
        "--headless",
        "--no-sandbox",
        "--disable-gpu",
        "--enable-logging=stderr",
        "--hide-scrollbars",
        "--allow-file-access-from-files",
        "--virtual-time-budget=4000",
        f"--user-data-dir={tmp_path / 'profile'}",
        "--dump-dom",
        frame.as_uri(),
    ]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    found = re.search(r"MEASURED (\d+) (\d+) (\d+) (\d+) END", done.stderr)
    assert found is not None, done.stderr[-500:]
    frame_width, page_width, wide_tables, small_print = map(int, found.groups())
    assert (frame_width, page_width) == (PHONE, PHONE)
    assert (wide_tables == 0) == cards
    assert small_print == 0


def test_a_template_of_a_metre_and_more_prints_true(tmp_path: Path) -> None:
    """Within 0.2 mm over 1 m, against the joint's own points."""
    points = [[0.0, 0.0], [0.31, 0.12], [0.77, -0.05], [1.25, 0.08]]
    profile = Profile((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), points)
    bar = box((2.0, 1.25, 0.5))
    result = run_job(Mesh(bar.vertices, bar.triangles), Job(), [profile])
    drawing = template_drawing(result.joints[0], result.gap, "Test")
    pages = pdf_lines(print_to_pdf(sheets_html("template", [whole_sheet(drawing)]), tmp_path))
    (line,) = [row for row in pages[0][1] if len(row) == 4 and np.ptp(row[:, 0]) > 1000.0]
    real = 1000.0 * np.array(points)
    for a in range(4):
        for b in range(a):
            true = np.linalg.norm(real[a] - real[b])
            assert abs(np.linalg.norm(line[a] - line[b]) - true) < 0.2 * true / 1000.0
    assert np.linalg.norm(real[3] - real[0]) > 1000.0

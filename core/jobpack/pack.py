# SPDX-License-Identifier: GPL-3.0-or-later
"""Every file of the job pack."""

from __future__ import annotations

from collections.abc import Mapping

from .blockup_drawings import blockup_files
from .blockup_table import billets_csv
from .gauge_boards import clearance_files
from .job_json import job_json
from .json_text import findings_json
from .labels import labels_svg
from .page import job_page
from .piece_files import piece_files
from .record import JobResult
from .site_tables import build_order_csv, loading_csv, packing_csv, setout_csv
from .tables import costs_csv, joints_csv, pieces_csv, takeoff_csv
from .templates import template_files


def pack_files(result: JobResult, pictures: Mapping[str, bytes] | None = None) -> dict[str, bytes]:
    """Files of the job pack: path in the pack, with forward slashes -> contents.

    Parameters
    ----------
    result : a finished job.
    pictures : name -> PNG; they go into the page, in the order of their names.

    Raises
    ------
    InputError
        A picture that is not a PNG.

    Notes
    -----
    Same result and pictures, same bytes: no clock, no path, nothing from `result.seconds`.
    """
    texts = {
        "pieces.csv": pieces_csv(result),
        "joints.csv": joints_csv(result),
        "takeoff.csv": takeoff_csv(result),
        "costs.csv": costs_csv(result),
        "billets.csv": billets_csv(result),
        "build_order.csv": build_order_csv(result),
        "loading.csv": loading_csv(result),
        "packing.csv": packing_csv(result),
        "setout.csv": setout_csv(result),
        "findings.json": findings_json(result.findings),
        "job.json": job_json(result),
        "job-pack.html": job_page(result, pictures or {}),
        "labels.svg": labels_svg(result),
    }
    return {
        **{path: text.encode() for path, text in texts.items() if text},
        **blockup_files(result),
        **template_files(result),
        **clearance_files(result),
        **piece_files(result),
    }

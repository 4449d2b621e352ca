# SPDX-License-Identifier: GPL-3.0-or-later
"""Several plans of joints for one carving, weighed on the exact cut and set side by side, for the command line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from .core.cutting.joint import Joint
from .core.errors import CutError, InputError, JobError, Progress
from .core.job import Job, Joints
from .core.jobpack.csv_text import Cell, csv_text
from .core.jobpack.joints_file import joints_json
from .core.jobpack.json_text import SCHEMA_VERSION, json_text
from .core.marking.marks import kept_letters
from .core.plans import Ground, PlanMeasures, measure_rows
from .progress_bar import stretch

WISHES = ("hidden=0", "hidden=0.5", "hidden=1")
"""What is planned for where nothing is wished."""


@dataclass(frozen=True)
class Wanted:
    """A plan to be looked at: wished for, or given as a file.

    Attributes
    ----------
    words : what it is, for the head of its column.
    hidden, pieces : what is wished for; None: as in the job.
    given : joints of a file with their marks; None: joints are proposed.
    """

    words: str
    hidden: float | None = None
    pieces: int | None = None
    given: tuple[tuple[str, ...], tuple[Joint, ...]] | None = None


@dataclass(frozen=True, eq=False)
class Weighed:
    """A plan with its joints, what it comes to, and what is said of it."""

    wanted: Wanted
    joints: tuple[Joint, ...]
    letters: tuple[str, ...]
    measures: PlanMeasures
    text: str


def read_wish(text: str) -> Wanted:
    """A wish of the command line, such as ``hidden=0.8,pieces=14``.

    Raises
    ------
    InputError
        Another word, a word twice, or a number out of range.
    """
    found: dict[str, Any] = {}
    for item in text.split(","):
        name, _, value = (part.strip() for part in item.partition("="))
        if name not in ("hidden", "pieces") or name in found:
            raise InputError(f"--wish {text}: {item.strip()!r} is no wish; write hidden=0.8, pieces=14, or both")
        try:
            found[name] = int(value) if name == "pieces" else float(value)
            Joints(**{name: found[name]})
        except ValueError:
            raise InputError(f"--wish {text}: {value!r} is no number; write for example {name}=1") from None
        except JobError as error:
            raise InputError(f"--wish {text}: {error}") from None
    hidden, pieces = found.get("hidden"), found.get("pieces")
    words = [] if hidden is None else [f"hidden {hidden:g}"]
    words += [] if pieces is None else [f"{pieces} pieces"]
    return Wanted(", ".join(words), hidden, None if pieces is None else int(pieces))


def weigh_plans(
    ground: Ground, wanted: Sequence[Wanted], kept: tuple[tuple[str, ...], tuple[Joint, ...]], progress: Progress
) -> list[Weighed]:
    """Plan what is wished for and weigh every plan; `kept`: marks and joints that stay in all plans that are proposed.

    Raises
    ------
    InputError
        A joint of a file cannot be applied; the message names the file.
    """
    out = []
    for k, one in enumerate(wanted):
        part = stretch(progress, k / len(wanted), (k + 1) / len(wanted))
        text, marks, joints = "given", *(one.given or kept)
        if one.given is None:
            proposal = ground.propose(joints, hidden=one.hidden, pieces=one.pieces, progress=stretch(part, 0.0, 0.8))
            text, joints = proposal.text, proposal.joints
        try:
            measures = ground.weigh(joints, stretch(part, 0.8, 1.0))
        except CutError as error:
            raise InputError(f"{one.words}: joint {error.joint + 1}: {error.problem}") from None
        letters = kept_letters([*marks, *[""] * (len(joints) - len(marks))])
        out.append(Weighed(one, joints, letters, measures, text))
    return out


def plans_table(plans: Sequence[Weighed], job: Job) -> str:
    """The plans side by side, a column each, for a terminal."""
    rows = [("", [name_of(k) for k in range(len(plans))]), ("wish", [plan.wanted.words for plan in plans])]
    figures = [measure_rows(plan.measures, job) for plan in plans]
    rows += [(row[0][0], [figure for _, figure in row]) for row in zip(*figures, strict=True)]
    first = max(len(word) for word, _ in rows)
    widths = [max(len(cells[k]) for _, cells in rows) for k in range(len(plans))]
    lines = [
        "  ".join([word.ljust(first), *(cell.rjust(wide) for cell, wide in zip(cells, widths, strict=True))]).rstrip()
        for word, cells in rows
    ]
    return "\n".join(lines) + "\n"


def plans_files(plans: Sequence[Weighed], job: Job) -> dict[str, bytes]:
    """Files of the folder: a joints file for each plan, and all of them as tables."""
    files = {
        f"{name_of(k).replace(' ', '-')}.json": joints_json(zip(plan.letters, plan.joints, strict=True))
        for k, plan in enumerate(plans)
    }
    head = ("plan", "wish", *_COLUMNS)
    rows: list[tuple[Cell, ...]] = [
        (name_of(k), plan.wanted.words, *_cells(plan.measures)) for k, plan in enumerate(plans)
    ]
    files["plans.csv"] = csv_text(head, rows)
    files["plans.json"] = json_text(
        {
            "schema_version": SCHEMA_VERSION,
            "title": job.title,
            "plans": [
                {
                    "name": name_of(k),
                    "wish": plan.wanted.words,
                    "text": plan.text,
                    **dict(zip(_COLUMNS, _cells(plan.measures), strict=True)),
                }
                for k, plan in enumerate(plans)
            ],
        }
    )
    return {name: text.encode("utf-8") for name, text in files.items()}


_COLUMNS = (
    "joints",
    "pieces",
    "over_limit",
    "heaviest_kg",
    "lightest_kg",
    "joint_area_m2",
    "visible_length_m",
    "on_seam_length_m",
    "on_seam_share",
    "loads",
    "load_floor_length_m",
    "left_out",
)


def _cells(measures: PlanMeasures) -> tuple[Cell, ...]:
    return (
        measures.joints,
        measures.pieces,
        measures.over,
        measures.heaviest,
        measures.lightest,
        measures.area,
        measures.line,
        measures.on_seam,
        measures.share,
        measures.loads,
        measures.floor,
        measures.left_out,
    )


def name_of(number: int) -> str:
    """Name of a plan by its place."""
    return f"plan {number + 1}"

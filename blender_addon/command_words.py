# SPDX-License-Identifier: GPL-3.0-or-later
"""The words of the command line: verbs and what each takes."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import Any

from .core.intake.prepare import UP_AXES
from .plans_command import WISHES

PROGRAM = "seamwright"


def read_words(argv: Sequence[str]) -> argparse.Namespace:
    """Verb and options of a command; usage that is wrong, and help, end the program as `argparse` does."""
    return _parser().parse_args(_joined(argv))


def _joined(argv: Sequence[str]) -> list[str]:
    """The words with ``--up -y`` as one, which would be read as two options."""
    words: list[str] = []
    for word in argv:
        if words and words[-1] == "--up" and word in UP_AXES:
            words[-1] = f"--up={word}"
        else:
            words.append(word)
    return words


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog=PROGRAM, description="Cut a foam carving into pieces that can be carried.", allow_abbrev=False
    )
    verbs = parser.add_subparsers(dest="verb", required=True, metavar="VERB")

    inspect = verbs.add_parser("inspect", help="what a scan is and what is wrong with it", allow_abbrev=False)
    inspect.add_argument("carving", metavar="CARVING")
    inspect.add_argument("--object", metavar="NAME", help="the object in a file that holds several")
    inspect.add_argument("--unit", metavar="UNIT", help='unit of the file\'s numbers: mm, in, "23.6 mm" (default: m)')
    inspect.add_argument("--up", metavar="AXIS", choices=UP_AXES, help="the file's axis that points up (default: z)")
    inspect.add_argument(
        "--job", metavar="JOB.toml", help="read and mend it as run would by these settings; --unit and --up go before"
    )
    inspect.add_argument("--json", action="store_true", help="for machines")

    run = verbs.add_parser("run", help="the whole job", allow_abbrev=False)
    run.add_argument("carving", metavar="CARVING")
    run.add_argument("--object", metavar="NAME", help="the object in a file that holds several")
    run.add_argument("--job", metavar="JOB.toml", help="settings (default: those that job-template prints)")
    run.add_argument(
        "--joints", metavar="FILE", help="joints to cut along instead of proposed ones: JOINTS.json, job.json"
    )
    run.add_argument(
        "--prices", metavar="FILE", help="your own price list (CSV): the pack then says what the job costs"
    )
    run.add_argument(
        "--marks", metavar="FILE", help="lines that joints may follow, zones and viewpoints: MARKS.json, in metres"
    )
    run.add_argument("--keep", metavar="FILE", help="joints that stay; the rest is planned round them: JOINTS.json")
    _add_out(run)

    _add_plans(verbs)

    demo = verbs.add_parser("demo", help="the demo job", allow_abbrev=False)
    _add_out(demo)

    verbs.add_parser("job-template", help="print a commented JOB.toml", allow_abbrev=False)
    return parser


def _add_plans(verbs: Any) -> None:
    plans = verbs.add_parser("plans", help="several plans of joints, weighed and set side by side", allow_abbrev=False)
    plans.add_argument("carving", metavar="CARVING")
    plans.add_argument("--object", metavar="NAME", help="the object in a file that holds several")
    plans.add_argument("--job", metavar="JOB.toml", help="settings (default: those that job-template prints)")
    plans.add_argument("--marks", metavar="FILE", help="as for run")
    plans.add_argument(
        "--wish",
        metavar="WISH",
        action="append",
        default=[],
        help="a plan to make: hidden=0.8 (0 few pieces, 1 well hidden joints), pieces=14, or both with a comma "
        f"between; as often as you like (default without --joints: {', '.join(WISHES)})",
    )
    plans.add_argument(
        "--joints", metavar="FILE", action="append", default=[], help="a plan that you have: JOINTS.json, job.json"
    )
    plans.add_argument("--keep", metavar="FILE", help="joints that stay in every plan that is made: JOINTS.json")
    plans.add_argument("--out", metavar="DIR", required=True, help="folder for the plans' joints, new or empty")


def _add_out(verb: argparse.ArgumentParser) -> None:
    verb.add_argument("--out", metavar="DIR", required=True, help="folder for the job pack, new or empty")
    verb.add_argument("--replace", action="store_true", help="replace the job pack that is in DIR")

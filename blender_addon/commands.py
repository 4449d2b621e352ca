# SPDX-License-Identifier: GPL-3.0-or-later
"""The command line: ``inspect``, ``run``, ``plans``, ``demo``, ``job-template``.

Exit codes: 0 done; 1 done, some finding is an error (`inspect`: it can be mended); 2 bad input or usage (`inspect`:
unreadable or not a solid); 130 stopped by Ctrl-C. Results go to standard output, everything else to standard error.
Blender is loaded only by the verbs and files that need it.
"""

from __future__ import annotations

import argparse
import json
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Final

from .carving_file import CarvingFile, read_file, require_blender
from .command_input import (
    errors_of,
    keep_clear_bodies,
    keep_out,
    read_carving,
    read_job,
    read_joints,
    read_text,
    remesher_of,
    to_scale,
)
from .command_words import PROGRAM, read_words
from .core.cutting.joint import Joint
from .core.errors import InputError, Progress, SeamwrightError
from .core.findings import Finding, Severity, worst
from .core.intake.mend import Recipe
from .core.intake.prepare import check_size, set_upright, upright_notes
from .core.intake.report import describe
from .core.job import Job, job_template
from .core.jobpack.pack import pack_files
from .core.jobpack.record import JobResult
from .core.mesh.mesh import Mesh
from .core.pipeline import run_job
from .core.plans import Ground
from .core.seams.marks import Marks
from .core.seams.marks_file import read_marks
from .core.settings import FileUnit
from .core.skin.prices import PriceList, read_prices
from .pack_folder import check_target, cost_before, write_pack
from .plans_command import WISHES, Wanted, plans_files, plans_table, read_wish, weigh_plans
from .progress_bar import ProgressBar, stretch
from .summary import summary

STOPPED = 130


def main(argv: Sequence[str]) -> int:
    """Run one command.

    Parameters
    ----------
    argv : the words after the program's name.

    Returns
    -------
    int
        The exit code. A fault of the program itself raises.
    """
    try:
        options = read_words(argv)
    except SystemExit as end:
        return int(end.code or 0)
    bar = ProgressBar(sys.stderr)
    try:
        with _stoppable():
            return _VERBS[options.verb](options, bar)
    except KeyboardInterrupt:
        return _tell(bar, "stopped; nothing was written", STOPPED)
    except SeamwrightError as error:
        return _tell(bar, str(error), 2)
    finally:
        bar.close()


def _tell(bar: ProgressBar, message: str, code: int) -> int:
    bar.close()
    sys.stderr.write(f"{PROGRAM}: {' '.join(message.split())}\n")
    sys.stderr.flush()
    return code


@contextmanager
def _stoppable() -> Iterator[None]:
    """Ctrl-C raises KeyboardInterrupt, also inside Blender, which otherwise keeps it to itself."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        yield
    finally:
        # A handler that Python did not set reads as None and cannot be put back.
        signal.signal(signal.SIGINT, before if before is not None else signal.SIG_DFL)


def _template(_: argparse.Namespace, bar: ProgressBar) -> int:
    sys.stdout.write(job_template())
    return 0


def _inspect(options: argparse.Namespace, bar: ProgressBar) -> int:
    settings = (Job() if options.job is None else read_job(options.job)).carving
    unit, up = settings.unit, settings.up
    if options.unit is not None:
        unit = FileUnit("length", 'mm or "23.6 mm"').read(options.unit, "--unit")
    carving = read_file(options.carving, options.object)
    if carving.says_unit:
        if options.unit is not None:
            _tell(bar, f"{carving.name}: says its own unit; --unit is passed over", 0)
        unit = 1.0
        if options.up is not None:
            _tell(bar, f"{carving.name}: says which way is up; --up is passed over", 0)
    elif options.up is not None:
        up = options.up
    notes = (*carving.notes, *upright_notes(unit, up))
    mesh, how = carving.mesh, (unit, up)
    if settings.taped:
        mesh, scaled = to_scale(carving, unit, up, settings, options.job or "")
        notes, how = (*notes, *(finding.message.rstrip(".") for finding in scaled)), (1.0, "z")
    report = describe(
        mesh,
        *how,
        base=settings.base,
        name=carving.name,
        notes=notes,
        recipe=Recipe.of(settings),
        progress=stretch(bar, 0.1, 1.0),
        remesher=remesher_of(settings),
    )
    bar.close()
    if options.json:
        sys.stdout.write(json.dumps(report.to_dict(), sort_keys=True, indent=1, ensure_ascii=False) + "\n")
    else:
        sys.stdout.write(report.to_text())
    if len(carving.mesh.triangles):
        # A wrong unit is no fault of the surface: the report stands, and the word is said.
        try:
            check_size(set_upright(mesh, how[0]), unit, carving.name, "give --unit")
        except InputError as error:
            return _tell(bar, str(error), 2)
    return report.exit_code


def _run(options: argparse.Namespace, bar: ProgressBar) -> int:
    check_target(options.out, options.replace)
    if options.replace:
        for path in (options.carving, options.job, options.joints, options.keep, options.prices, options.marks):
            keep_out(path, options.out)
    job = Job() if options.job is None else read_job(options.job)
    letters: Sequence[str] = ()
    joints: Sequence[Joint] | None = None
    locked: Sequence[Joint] = ()
    if options.joints is not None and options.keep is not None:
        raise InputError("--joints and --keep do not go together: --joints cuts along these joints and no others")
    if options.joints is not None:
        letters, joints = read_joints(options.joints)
    elif options.keep is not None:
        letters, locked = read_joints(options.keep)
    prices = None if options.prices is None else read_prices(read_text(options.prices), Path(options.prices).name)
    marked = None if options.marks is None else read_marks(read_text(options.marks), Path(options.marks).name)
    require_blender()
    bodies = keep_clear_bodies(job, options)
    carving, mesh, marks, scaled = read_carving(options, job, marked, bar)
    result = _job(mesh, job, joints, letters, prices, marks, carving, bodies, options, stretch(bar, 0.02, 0.5), locked)
    result = replace(result, findings=(*scaled, *result.findings))
    return _hand_over(result, options, bar)


def _plans(options: argparse.Namespace, bar: ProgressBar) -> int:
    check_target(options.out)
    job = Job() if options.job is None else read_job(options.job)
    marked = None if options.marks is None else read_marks(read_text(options.marks), Path(options.marks).name)
    kept = ((), ()) if options.keep is None else read_joints(options.keep)
    wanted = [Wanted(Path(path).name, given=read_joints(path)) for path in options.joints]
    wanted += [read_wish(text) for text in options.wish or ([] if options.joints else WISHES)]
    require_blender()
    carving, mesh, marks, _ = read_carving(options, job, marked, bar)
    with errors_of(carving, options.job, options.keep):
        ground = Ground.of(mesh, job, marks, remesher_of(job.carving), stretch(bar, 0.02, 0.1))
        plans = weigh_plans(ground, wanted, kept, stretch(bar, 0.1, 0.98))
    bar(0.98, "writing the plans")
    write_pack(options.out, plans_files(plans, job))
    bar.close()
    sys.stdout.write(plans_table(plans, job))
    sys.stdout.write(f"written: {options.out}; of the plan that you choose: run --joints {options.out}/plan-1.json\n")
    return 1 if all(plan.measures.over for plan in plans) else 0


def _demo(options: argparse.Namespace, bar: ProgressBar) -> int:
    check_target(options.out, options.replace)
    require_blender()
    from .core.demo import demo_carving, demo_job_toml, demo_keep_clear, demo_prices_csv

    prices = read_prices(demo_prices_csv(), "the demo's invented price list")
    bar(0.0, "making the demo carving")
    mesh = demo_carving()
    job = Job.from_toml(demo_job_toml())
    result = run_job(mesh, job, progress=stretch(bar, 0.05, 0.5), prices=prices, keep_clear=demo_keep_clear())
    return _hand_over(result, options, bar)


def _job(
    mesh: Mesh,
    job: Job,
    joints: Sequence[Joint] | None,
    letters: Sequence[str],
    prices: PriceList | None,
    marks: Marks | None,
    carving: CarvingFile,
    bodies: Mapping[str, Mesh],
    options: argparse.Namespace,
    progress: Progress,
    locked: Sequence[Joint],
) -> JobResult:
    """The whole job, its errors naming the file at fault, with what reading the carving took among its findings."""
    from .voxel_skin import voxel_skin

    with errors_of(carving, options.job, options.joints or options.keep):
        result = run_job(
            mesh,
            job,
            joints,
            progress,
            voxel_skin,
            prices=prices,
            user_marks=marks,
            keep_clear=bodies,
            letters=letters,
            locked=locked,
        )
    read = tuple(Finding("intake", Severity.NOTE, f"{note[:1].upper()}{note[1:]}.") for note in carving.notes)
    return replace(result, findings=(*read, *result.findings))


def _hand_over(result: JobResult, options: argparse.Namespace, bar: ProgressBar) -> int:
    """Pictures, files, folder, summary; the exit code."""
    from .job_blend import blend_bytes
    from .pictures import render_pictures

    pictures = render_pictures(result, stretch(bar, 0.5, 0.92))
    bar(0.92, "tables and pages")
    files = pack_files(result, pictures)
    bar(0.95, "job.blend")
    files["job.blend"] = blend_bytes(result)
    bar(0.98, "writing the job pack")
    before = cost_before(options.out) if options.replace else None
    write_pack(options.out, files, options.replace)
    bar.close()
    sys.stdout.write(summary(result, before) + f"written: {options.out}\n")
    return 1 if worst(result.findings) == "error" else 0


_VERBS: Final[Mapping[str, Callable[[argparse.Namespace, ProgressBar], int]]] = {
    "inspect": _inspect,
    "run": _run,
    "plans": _plans,
    "demo": _demo,
    "job-template": _template,
}

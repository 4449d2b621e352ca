# SPDX-License-Identifier: GPL-3.0-or-later
"""The command line: ``inspect``, ``run``, ``plans``, ``demo``, ``job-template``.

Exit codes: 0 done; 1 done, some finding is an error (`inspect`: it can be mended); 2 bad input or usage (`inspect`:
unreadable or not a solid); 130 stopped by Ctrl-C. Results go to standard output, everything else to standard error.
Blender is loaded only by the verbs and files that need it.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import sys
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

from .carving_file import CarvingFile, read_file, require_blender
from .core.clearance.job_bodies import files_of
from .core.cutting.joint import Joint
from .core.errors import CutError, InputError, JobError, MeshError, Progress, SeamwrightError
from .core.findings import Finding, Severity, worst
from .core.intake.mend import Recipe
from .core.intake.prepare import UP_AXES, check_size, set_upright, upright_notes
from .core.intake.readers import read_mesh
from .core.intake.remesh import Remesher
from .core.intake.report import describe
from .core.intake.taped import scale_taped
from .core.job import Carving, Job, job_template
from .core.jobpack.joints_file import read_marked_joints
from .core.jobpack.pack import pack_files
from .core.jobpack.record import JobResult
from .core.mesh.mesh import Mesh
from .core.pipeline import run_job
from .core.plans import Ground
from .core.seams.marks import Marks
from .core.seams.marks_file import MarksFile, read_marks
from .core.settings import FileUnit
from .core.skin.prices import PriceList, read_prices
from .pack_folder import RECORD, check_target, cost_before, write_pack
from .plans_command import WISHES, Wanted, plans_files, plans_table, read_wish, weigh_plans
from .progress_bar import ProgressBar, stretch
from .summary import summary

PROGRAM = "seamwright"
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
        options = _parser().parse_args(_joined(argv))
    except SystemExit as end:
        return int(end.code or 0)
    bar = ProgressBar(sys.stderr)
    try:
        with _stoppable():
            code: int = options.do(options, bar)
            return code
    except KeyboardInterrupt:
        return _tell(bar, "stopped; nothing was written", STOPPED)
    except SeamwrightError as error:
        return _tell(bar, str(error), 2)
    finally:
        bar.close()


def _joined(argv: Sequence[str]) -> list[str]:
    """The words with ``--up -y`` as one, which would be read as two options."""
    words: list[str] = []
    for word in argv:
        if words and words[-1] == "--up" and word in UP_AXES:
            words[-1] = f"--up={word}"
        else:
            words.append(word)
    return words


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
    inspect.set_defaults(do=_inspect)

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
    run.set_defaults(do=_run)

    _add_plans(verbs)

    demo = verbs.add_parser("demo", help="the demo job", allow_abbrev=False)
    _add_out(demo)
    demo.set_defaults(do=_demo)

    template = verbs.add_parser("job-template", help="print a commented JOB.toml", allow_abbrev=False)
    template.set_defaults(do=_template)
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
    plans.set_defaults(do=_plans)


def _add_out(verb: argparse.ArgumentParser) -> None:
    verb.add_argument("--out", metavar="DIR", required=True, help="folder for the job pack, new or empty")
    verb.add_argument("--replace", action="store_true", help="replace the job pack that is in DIR")


def _template(_: argparse.Namespace, bar: ProgressBar) -> int:
    sys.stdout.write(job_template())
    return 0


def _inspect(options: argparse.Namespace, bar: ProgressBar) -> int:
    settings = (Job() if options.job is None else _read_job(options.job)).carving
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
        mesh, scaled = _scaled(carving, unit, up, settings, options.job or "")
        notes, how = (*notes, *(finding.message.rstrip(".") for finding in scaled)), (1.0, "z")
    report = describe(
        mesh,
        *how,
        base=settings.base,
        name=carving.name,
        notes=notes,
        recipe=Recipe.of(settings),
        progress=stretch(bar, 0.1, 1.0),
        remesher=_remesher(settings),
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
            _keep_out(path, options.out)
    job = Job() if options.job is None else _read_job(options.job)
    letters: Sequence[str] = ()
    joints: Sequence[Joint] | None = None
    locked: Sequence[Joint] = ()
    if options.joints is not None and options.keep is not None:
        raise InputError("--joints and --keep do not go together: --joints cuts along these joints and no others")
    if options.joints is not None:
        letters, joints = _read_joints(options.joints)
    elif options.keep is not None:
        letters, locked = _read_joints(options.keep)
    prices = None if options.prices is None else read_prices(_read_text(options.prices), Path(options.prices).name)
    marked = None if options.marks is None else read_marks(_read_text(options.marks), Path(options.marks).name)
    require_blender()
    bodies = _keep_clear_bodies(job, options)
    carving, mesh, marks, scaled = _read_carving(options, job, marked, bar)
    result = _job(mesh, job, joints, letters, prices, marks, carving, bodies, options, stretch(bar, 0.02, 0.5), locked)
    result = replace(result, findings=(*scaled, *result.findings))
    return _hand_over(result, options, bar)


def _plans(options: argparse.Namespace, bar: ProgressBar) -> int:
    check_target(options.out)
    job = Job() if options.job is None else _read_job(options.job)
    marked = None if options.marks is None else read_marks(_read_text(options.marks), Path(options.marks).name)
    kept = ((), ()) if options.keep is None else _read_joints(options.keep)
    wanted = [Wanted(Path(path).name, given=_read_joints(path)) for path in options.joints]
    wanted += [read_wish(text) for text in options.wish or ([] if options.joints else WISHES)]
    require_blender()
    carving, mesh, marks, _ = _read_carving(options, job, marked, bar)
    with _errors_of(carving, options.job, options.keep):
        ground = Ground.of(mesh, job, marks, _remesher(job.carving), stretch(bar, 0.02, 0.1))
        plans = weigh_plans(ground, wanted, kept, stretch(bar, 0.1, 0.98))
    bar(0.98, "writing the plans")
    write_pack(options.out, plans_files(plans, job))
    bar.close()
    sys.stdout.write(plans_table(plans, job))
    sys.stdout.write(f"written: {options.out}; of the plan that you choose: run --joints {options.out}/plan-1.json\n")
    return 1 if all(plan.measures.over for plan in plans) else 0


def _read_joints(path: str) -> tuple[tuple[str, ...], tuple[Joint, ...]]:
    return read_marked_joints(_read_text(path), Path(path).name)


def _read_carving(
    options: argparse.Namespace, job: Job, marked: MarksFile | None, bar: ProgressBar
) -> tuple[CarvingFile, Mesh, Marks | None, tuple[Finding, ...]]:
    """The carving's file; the carving in metres, z up; what is marked on it; and findings of its scale."""
    bar(0.0, "reading the carving")
    carving = read_file(options.carving, options.object)
    unit = 1.0 if carving.says_unit else job.carving.unit
    mesh, scaled = _scaled(carving, unit, job.carving.up, job.carving, options.job or "")
    carving = replace(carving, notes=(*carving.notes, *upright_notes(unit, job.carving.up)))
    where = "check unit and the taped distances" if job.carving.taped else "set unit"
    check_size(mesh, unit, carving.name, f"{where} under [carving] in the job file")
    if marked is None:
        return carving, mesh, None, scaled
    mesh, marks = marked.on(mesh)
    return carving, mesh, marks, scaled


def _scaled(
    carving: CarvingFile, unit: float, up: str, settings: Carving, job: str
) -> tuple[Mesh, tuple[Finding, ...]]:
    """The carving in metres, z up, scaled by the taped distances of a job, and findings of that."""
    try:
        return scale_taped(set_upright(carving.mesh, unit, up), settings.taped)
    except MeshError as error:
        raise MeshError(f"{carving.name}: {error}") from None
    except JobError as error:
        raise JobError(f"{Path(job).name}: {error}", error.key) from None


def _remesher(settings: Carving) -> Remesher | None:
    """Blender's, where a new skin is asked for."""
    if settings.mend != "steps" or "remesh" not in settings.steps:
        return None
    require_blender()
    from .voxel_skin import voxel_skin

    return voxel_skin


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

    with _errors_of(carving, options.job, options.joints or options.keep):
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


@contextmanager
def _errors_of(carving: CarvingFile, job: str | None, joints: str | None) -> Iterator[None]:
    """Errors of the core name the file at fault: the carving, the job, or the file of the joints."""
    try:
        yield
    except MeshError as error:
        raise InputError(f"{carving.name}: {error}") from None
    except CutError as error:
        if joints is None or error.joint < 0:
            raise InputError(f"{carving.name}: {error}") from None
        raise InputError(f"{Path(joints).name}: joint {error.joint + 1}: {error.problem}") from None
    except JobError as error:
        raise JobError(f"{Path(job).name}: {error}" if job else str(error), error.key) from None


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


def _keep_clear_bodies(job: Job, options: argparse.Namespace) -> dict[str, Mesh]:
    """Meshes of the job's keep-clear bodies, sought beside the job file."""
    found = {}
    for file in files_of(job.keep_clear):
        path = str(Path(options.job).parent / file)
        if options.replace:
            _keep_out(path, options.out)
        found[file] = read_mesh(path)
    return found


def _keep_out(path: str | None, folder: str) -> None:
    """Refuse to replace a folder that the user's own input lies in: it would be gone. The pack's record is ours."""
    if path is None:
        return
    inside, target = Path(os.path.realpath(path)), Path(os.path.realpath(folder))
    if target in inside.parents and inside != target / RECORD:
        raise InputError(f"{path}: lies in {folder}, which would be replaced; move it out first")


def _read_text(path: str) -> str:
    name = Path(path).name or path
    try:
        return Path(path).read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputError(f"{name}: the file cannot be read: {error.strerror or error}; check the path") from None
    except UnicodeDecodeError:
        raise InputError(f"{name}: is not text in UTF-8; save it as that") from None


def _read_job(path: str) -> Job:
    text = _read_text(path)
    try:
        return Job.from_toml(text)
    except JobError as error:
        raise JobError(f"{Path(path).name}: {error}", error.key) from None

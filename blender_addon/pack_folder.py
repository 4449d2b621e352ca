# SPDX-License-Identifier: GPL-3.0-or-later
"""A job pack on disk: written as a whole or not at all."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path, PurePosixPath

from .core.errors import InputError, Progress
from .core.jobpack.job_json import is_job_record

RECORD = "job.json"


def is_ours(folder: Path) -> bool:
    """Whether `folder` holds a job.json that this program wrote."""
    try:
        return is_job_record((folder / RECORD).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False


def cost_before(folder: str | os.PathLike[str]) -> tuple[str, Decimal] | None:
    """Currency and total of the job pack in a folder; None where it has none."""
    try:
        cost = json.loads((Path(os.path.realpath(folder)) / RECORD).read_text(encoding="utf-8"))["cost"]
        return str(cost["currency"]), Decimal(str(cost["total"]))
    except (OSError, ValueError, KeyError, TypeError, ArithmeticError):
        return None


def check_target(folder: str | os.PathLike[str], replace: bool = False) -> Path:
    """Whether a pack can be written to `folder`; looks only, changes nothing.

    Returns
    -------
    Path
        The folder as an absolute path, links followed.

    Raises
    ------
    InputError
        Its parent is missing or cannot be written to, it is a file, it is where this process stands, it has something
        in it and `replace` is off, or `replace` is on and what is in it is not a job pack of ours.
    """
    target = Path(os.path.realpath(folder))
    if target.exists() and not target.is_dir():
        raise InputError(f"{folder}: is a file; give a new folder for the job pack")
    here = Path(os.path.realpath(os.curdir))
    if here == target or target in here.parents:
        raise InputError(f"{folder}: the working folder lies in it and it would be replaced; give a new folder")
    if not target.parent.is_dir():
        raise InputError(f"{folder}: the folder {Path(folder).parent} is not there; make it first")
    if not os.access(target.parent, os.W_OK | os.X_OK):
        raise InputError(f"{folder}: the folder {Path(folder).parent} cannot be written to; choose another")
    if target.is_dir():
        try:
            full = any(target.iterdir())
        except OSError as error:
            raise InputError(f"{folder}: cannot be looked into ({error.strerror}); choose another folder") from None
        if full and not replace:
            raise InputError(
                f"{folder}: is not empty; give a new folder, or have the job pack in it replaced (--replace)"
            )
        if full and not is_ours(target):
            raise InputError(f"{folder}: holds no {RECORD} of Seamwright, so it is not replaced; give a new folder")
    return target


def write_pack(
    folder: str | os.PathLike[str], files: Mapping[str, bytes], replace: bool = False, progress: Progress | None = None
) -> None:
    """Write a pack as a whole: beside `folder` first, then renamed; an old pack stays until the new one stands.

    Parameters
    ----------
    folder : where the pack goes; see `check_target`.
    files : path in the pack, with ``/``, to contents.
    replace : whether a job pack of ours may be replaced.
    progress : called before each file and before the rename; what it raises leaves everything as it was.

    Raises
    ------
    InputError
        The folder cannot be used, or the disk says no; nothing was changed.
    ValueError
        A path in `files` leads out of the pack.
    """
    target = check_target(folder, replace)
    for name in files:
        parts = PurePosixPath(name)
        if parts.is_absolute() or ".." in parts.parts or "\\" in name or not parts.parts:
            raise ValueError(f"{name!r} is not a path inside the pack")
    try:
        staged = Path(tempfile.mkdtemp(prefix=f".{target.name}.new-", dir=target.parent))
        try:
            _fill(staged, files, progress)
            _put(staged, target)
        except BaseException:
            shutil.rmtree(staged, ignore_errors=True)
            raise
    except OSError as error:
        reason = error.strerror or str(error)
        raise InputError(f"{folder}: could not be written ({reason}); nothing was changed") from None


def _fill(staged: Path, files: Mapping[str, bytes], progress: Progress | None) -> None:
    for number, (name, contents) in enumerate(files.items()):
        if progress is not None:
            progress(number / len(files), name)
        path = staged / PurePosixPath(name)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(contents)
    # mkdtemp closes its folder to everyone else; a pack is an ordinary folder.
    mask = os.umask(0)
    os.umask(mask)
    staged.chmod(0o777 & ~mask)
    if progress is not None:
        progress(1.0, "putting the folder in place")


def _put(staged: Path, target: Path) -> None:
    """Rename `staged` to `target`; what stood there is moved aside, and comes back if the rename fails."""
    if not target.exists():
        staged.rename(target)
        return
    aside = Path(tempfile.mkdtemp(prefix=f".{target.name}.old-", dir=target.parent))
    old = aside / target.name
    try:
        target.rename(old)
        try:
            staged.rename(target)
        except BaseException:
            old.rename(target)
            raise
    except BaseException:
        aside.rmdir()
        raise
    shutil.rmtree(aside, ignore_errors=True)

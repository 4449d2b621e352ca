# SPDX-License-Identifier: GPL-3.0-or-later
import os
import stat
from pathlib import Path

import pytest
from pack_sample import sample_result
from seamwright.core.errors import InputError
from seamwright.core.jobpack.pack import pack_files
from seamwright.pack_folder import check_target, write_pack

OURS = b'{"schema_version": 1, "made_by": "seamwright", "joints": []}'
FILES = {"job.json": OURS, "pieces/1.ply": b"ply\0\r\n", "page.html": b"<p>"}


def tree(folder: Path) -> dict[str, bytes]:
    """Every file under a folder, hidden ones included."""
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


@pytest.fixture
def parent(tmp_path: Path) -> Path:
    path = tmp_path / "parent"
    path.mkdir()
    return path


def test_writes_every_file_byte_for_byte_and_nothing_else(parent: Path) -> None:
    write_pack(parent / "out", FILES)
    assert tree(parent) == {f"out/{name}": contents for name, contents in FILES.items()}


def test_the_folder_has_the_permissions_of_an_ordinary_one(parent: Path) -> None:
    write_pack(parent / "out", FILES)
    (parent / "plain").mkdir()
    assert stat.S_IMODE((parent / "out").stat().st_mode) == stat.S_IMODE((parent / "plain").stat().st_mode)


def test_an_empty_folder_is_filled(parent: Path) -> None:
    (parent / "out").mkdir()
    write_pack(parent / "out", FILES)
    assert tree(parent / "out") == FILES
    assert os.listdir(parent) == ["out"]


@pytest.mark.parametrize("replace", [False, True])
def test_a_folder_with_other_things_in_it_is_left_alone(parent: Path, replace: bool) -> None:
    (parent / "out").mkdir()
    (parent / "out" / "notes.txt").write_text("mine")
    with pytest.raises(InputError, match="is not empty" if not replace else r"holds no job\.json of Seamwright"):
        write_pack(parent / "out", FILES, replace)
    assert tree(parent) == {"out/notes.txt": b"mine"}


@pytest.mark.parametrize(
    "record",
    [
        b"{}",
        b"[]",
        b"not json",
        b"\xff\xfe",
        b'{"schema_version": 1}',
        b'{"made_by": "seamwright"}',
        b'{"schema_version": 1, "made_by": "somebody"}',
        b"[" * 100_000,
    ],
)
def test_a_job_json_of_somebody_else_is_not_replaced(parent: Path, record: bytes) -> None:
    (parent / "out").mkdir()
    (parent / "out" / "job.json").write_bytes(record)
    with pytest.raises(InputError, match=r"holds no job\.json of Seamwright"):
        write_pack(parent / "out", FILES, replace=True)
    assert tree(parent) == {"out/job.json": record}


def test_replace_takes_what_pack_files_writes_and_leaves_nothing_of_the_old_pack(parent: Path) -> None:
    old = pack_files(sample_result(), {})
    write_pack(parent / "out", old)
    with pytest.raises(InputError, match="is not empty"):
        write_pack(parent / "out", FILES)
    assert tree(parent / "out") == old
    write_pack(parent / "out", FILES, replace=True)
    assert tree(parent) == {f"out/{name}": contents for name, contents in FILES.items()}


def test_a_failure_while_writing_leaves_the_old_pack_and_no_rest(parent: Path) -> None:
    write_pack(parent / "out", FILES)
    # A file and a folder of the same name cannot both be.
    with pytest.raises(InputError, match="nothing was changed"):
        write_pack(parent / "out", {"a": b"1", "a/b": b"2"}, replace=True)
    assert tree(parent) == {f"out/{name}": contents for name, contents in FILES.items()}


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), KeyboardInterrupt()])
@pytest.mark.parametrize("step", [1, 2])
def test_a_failure_of_either_rename_leaves_the_old_pack(
    parent: Path, monkeypatch: pytest.MonkeyPatch, error: BaseException, step: int
) -> None:
    write_pack(parent / "out", FILES)
    rename, calls = Path.rename, []

    def failing(self: Path, target: Path) -> Path:
        calls.append(self)
        if len(calls) == step:
            raise error
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", failing)
    expected = InputError if isinstance(error, OSError) else KeyboardInterrupt
    with pytest.raises(expected):
        write_pack(parent / "out", {"job.json": OURS, "new": b"new"}, replace=True)
    assert tree(parent) == {f"out/{name}": contents for name, contents in FILES.items()}
    assert os.listdir(parent) == ["out"]


def test_places_that_cannot_be_used(parent: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (parent / "file").write_bytes(b"")
    (parent / "deep" / "inner").mkdir(parents=True)
    for place, word in (
        (parent / "file", "is a file"),
        (parent / "file" / "out", "is not there"),
        (parent / "no" / "out", "is not there"),
    ):
        with pytest.raises(InputError, match=word) as caught:
            check_target(place)
        assert str(caught.value).startswith(f"{place}: ")
    monkeypatch.chdir(parent / "deep" / "inner")
    for place in (".", "..", parent / "deep"):
        with pytest.raises(InputError, match="the working folder lies in it"):
            check_target(place, replace=True)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write anywhere")
def test_a_parent_that_cannot_be_written_to(parent: Path) -> None:
    parent.chmod(0o500)
    try:
        with pytest.raises(InputError, match="cannot be written to"):
            check_target(parent / "out")
    finally:
        parent.chmod(0o700)


def test_a_link_is_followed(parent: Path) -> None:
    (parent / "real").mkdir()
    (parent / "link").symlink_to(parent / "real")
    write_pack(parent / "link", FILES)
    assert (parent / "link").is_symlink()
    assert tree(parent / "real") == FILES


@pytest.mark.parametrize("name", ["../x", "/x", "a/../../x", "a\\b", ""])
def test_a_path_that_leads_out_of_the_pack_is_refused(parent: Path, name: str) -> None:
    with pytest.raises(ValueError, match="not a path inside the pack"):
        write_pack(parent / "out", {name: b""})
    assert os.listdir(parent) == []


def test_stopped_while_it_is_written_leaves_everything_as_it_was(tmp_path: Path) -> None:
    from seamwright.core.errors import Cancelled

    write_pack(tmp_path / "pack", FILES)
    for stop in range(len(FILES) + 1):
        told: list[str] = []

        def progress(share: float, text: str, stop: int = stop, told: list[str] = told) -> None:
            told.append(text)
            if len(told) > stop:
                raise Cancelled("stopped")

        with pytest.raises(Cancelled):
            write_pack(tmp_path / "pack", {**FILES, "new.csv": b"1"}, replace=True, progress=progress)
        assert sorted(path.name for path in tmp_path.iterdir()) == ["pack"]
        assert not (tmp_path / "pack" / "new.csv").exists()

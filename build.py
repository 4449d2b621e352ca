# SPDX-License-Identifier: GPL-3.0-or-later
"""The few commands of this project; each makes the environment that it needs.

::

    python3 build.py demo [--out DIR]     the demo job, into demo-output/
    python3 build.py test [--all]         check, then the tests; --all: on every supported Blender
    python3 build.py check                lint, format and types
    python3 build.py zip                  the extension, into dist/
    python3 build.py bench [...]          time against the peers
    python3 build.py fuzz --minutes N     random carvings and joints
    python3 build.py report [...]         the planning tables

Exit code: 0 all well, 1 something failed, 2 the machine or the call is not right (one clear line).
"""

from __future__ import annotations

import argparse
import contextlib
import ctypes
import hashlib
import importlib.util
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple, NoReturn

ROOT = Path(__file__).resolve().parent
STAGE = ROOT / ".stage"
PACKAGE = "seamwright"
MARK = "complete.json"
"""Written into an environment as the very last step of making it."""

LIBRARIES = {
    "libEGL.so.1": "libegl1",
    "libGL.so.1": "libgl1",
    "libICE.so.6": "libice6",
    "libSM.so.6": "libsm6",
    "libX11.so.6": "libx11-6",
    "libXext.so.6": "libxext6",
    "libXfixes.so.3": "libxfixes3",
    "libXi.so.6": "libxi6",
    "libXrender.so.1": "libxrender1",
    "libXxf86vm.so.1": "libxxf86vm1",
    "libgomp.so.1": "libgomp1",
    "libxkbcommon.so.0": "libxkbcommon0",
}
"""What Blender's module links (as ldd shows it) or opens, and Debian's package for each."""


class Environment(NamedTuple):
    """A virtual environment beside this file, with the pins of one dependency group of pyproject.toml."""

    folder: str
    group: str
    python: str
    blender: bool = True

    @property
    def path(self) -> Path:
        """Folder of the environment."""
        return ROOT / self.folder

    @property
    def interpreter(self) -> Path:
        """Python inside the environment."""
        return self.path / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


FAILED = "FAILED"
MAIN = Environment(".venv", "dev", "3.11")
TYPES = Environment(".venv-types", "types", "3.11", blender=False)
BENCH = Environment(".venv-bench", "bench", "3.11")
OTHERS = {
    "4.2": Environment(".venv-4.2", "blender-4-2", "3.11"),
    "5.0": Environment(".venv-5.0", "blender-5-0", "3.11"),
    "5.2": Environment(".venv-5.2", "blender-5-2", "3.13"),
}


def stop(message: str) -> NoReturn:
    """End with exit code 2 and one clear message."""
    print(f"build.py: {message}", file=sys.stderr)
    raise SystemExit(2)


def say(text: str) -> None:
    """Tell what is going on, in step with what the commands print."""
    print(f"== {text}", flush=True)


def settings() -> dict[str, Any]:
    """Read pyproject.toml."""
    import tomllib  # here, so that an old Python still gets the message of main()

    return tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))


def clean_environ() -> dict[str, str]:
    """Environment variables without those that would let other packages in."""
    environ = {key: value for key, value in os.environ.items() if key not in {"PYTHONPATH", "PYTHONHOME"}}
    return {**environ, "PYTHONNOUSERSITE": "1", "PYTHONUTF8": "1"}


def run(command: Sequence[str | Path], **environ: str) -> int:
    """Run a command to its end, its output going where ours goes; return its exit code."""
    sys.stdout.flush()
    words = [str(part) for part in command]
    return subprocess.run(words, cwd=ROOT, env=clean_environ() | environ, check=False).returncode


def ask(command: Sequence[str | Path], cwd: Path = ROOT) -> tuple[int, str]:
    """Run a command and keep what it prints; a command that cannot start counts as failed."""
    words = [str(part) for part in command]
    try:
        done = subprocess.run(words, cwd=cwd, env=clean_environ(), check=False, capture_output=True, text=True)
    except OSError as error:
        return 127, str(error)
    return done.returncode, done.stdout + done.stderr


@contextlib.contextmanager
def alone(name: str) -> Iterator[None]:
    """Wait until no other build.py of this folder is in the same part; the system lets go if we die."""
    lock = ROOT / ".cache" / f"{name}.lock"
    lock.parent.mkdir(exist_ok=True)
    with lock.open("w") as handle:
        if importlib.util.find_spec("fcntl"):
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX)
        yield


# ---------------------------------------------------------------------------------------------- environments


def find_python(version: str) -> str | None:
    """Find an interpreter of this version, such as "3.11": this one, one on the path, or one of pyenv's."""
    if version == f"{sys.version_info[0]}.{sys.version_info[1]}" and sys.prefix == sys.base_prefix:
        return sys.executable
    pyenv = Path(os.environ.get("PYENV_ROOT", Path.home() / ".pyenv")) / "versions"
    found = [shutil.which(f"python{version}"), *map(str, sorted(pyenv.glob(f"{version}.*/bin/python")))]
    test = f"import sys, venv; raise SystemExit(sys.version_info[:2] != ({version.replace('.', ', ')}))"
    return next((path for path in found if path and ask([path, "-c", test])[0] == 0), None)


def check_system(environment: Environment) -> str:
    """Check what the environment needs of the machine; return the interpreter to make it with."""
    python = find_python(environment.python)
    if python is None:
        stop(f"{environment.folder} needs Python {environment.python}: python{environment.python} is not on the path")
    if not sys.platform.startswith("linux"):
        return python
    missing = []
    if ask([python, "-c", "import ensurepip"])[0] != 0:
        missing.append(f"python{environment.python}-venv")
    if environment.blender:
        for soname, package in LIBRARIES.items():
            try:
                ctypes.CDLL(soname)
            except OSError:
                missing.append(package)
    if missing:
        stop(f"this system lacks what Blender needs; install it with:\n  sudo apt install {' '.join(missing)}")
    return python


def fingerprint(environment: Environment) -> dict[str, object]:
    """Tell two states of an environment apart: its pins, its place, and what the editable install wrote into it."""
    table = settings()
    project = {key: table["project"][key] for key in ("name", "version", "requires-python", "dependencies")}
    mapping = table["tool"]["setuptools"]["package-dir"]
    text = json.dumps([project, mapping], sort_keys=True)
    return {
        "pins": sorted(table["dependency-groups"][environment.group]),
        "root": str(ROOT),
        "project": hashlib.sha256(text.encode()).hexdigest(),
    }


PROBE = """
import importlib.metadata, json, sys
pins = json.loads(sys.argv[1])
wrong = [pin for pin in pins if importlib.metadata.version(pin.partition("==")[0]) != pin.partition("==")[2]]
raise SystemExit(len(wrong))
"""


def is_complete(environment: Environment) -> bool:
    """Whether the environment was made to its end, from today's pins, and still has them."""
    try:
        made = json.loads((environment.path / MARK).read_text("utf-8"))
    except (OSError, ValueError):
        return False
    wanted = fingerprint(environment)
    if made != wanted:
        return False
    return ask([environment.interpreter, "-c", PROBE, json.dumps(wanted["pins"])])[0] == 0


def install(environment: Environment, *arguments: str) -> None:
    """Run pip in the environment, silent unless it fails."""
    quiet = ["--quiet", "--disable-pip-version-check", "--no-input", "--retries", "8"]
    code, output = ask([environment.interpreter, "-m", "pip", "install", *quiet, *arguments])
    if code != 0:
        print("\n".join(output.splitlines()[-25:]), file=sys.stderr)
        stop(f"pip could not fill {environment.folder}; is the package index reached?")


def make(environment: Environment) -> Path:
    """Make the environment if it is missing, stale or broken; return its interpreter."""
    with alone(environment.folder):
        if is_complete(environment):
            return environment.interpreter
        python = check_system(environment)
        started = time.monotonic()
        say(
            f"Making {environment.folder} (with Blender, a few minutes)"
            if environment.blender
            else f"Making {environment.folder}"
        )
        shutil.rmtree(environment.path, ignore_errors=True)
        code, output = ask([python, "-m", "venv", environment.path])
        if code != 0:
            stop(f"{python} could not make {environment.folder}: {output.strip()}")
        wanted = fingerprint(environment)
        install(environment, *settings()["dependency-groups"][environment.group])
        if environment.blender:
            install(environment, "--no-build-isolation", "--no-deps", "--editable", str(ROOT))
            check_linked(environment)
        (environment.path / MARK).write_text(json.dumps(wanted, indent=1), "utf-8")
        say(f"{environment.folder} is ready after {time.monotonic() - started:.0f} s")
    return environment.interpreter


def check_linked(environment: Environment) -> None:
    """Ask the system's linker whether the Blender module just installed finds all it links."""
    for module in environment.path.glob("lib/python*/site-packages/bpy/__init__.so"):
        names = re.findall(r"^\s*(\S+) => not found", ask(["ldd", module])[1], re.MULTILINE)
        if names:
            stop(f"Blender links libraries that this system lacks: {', '.join(sorted(set(names)))}")


# ------------------------------------------------------------------------------------------ the staged tree


def stage() -> Path:
    """Lay the one tree that is zipped and type-checked, `seamwright/` with `core/` inside; return it."""
    target = STAGE / PACKAGE
    shutil.rmtree(target, ignore_errors=True)
    leave = shutil.ignore_patterns("__pycache__", "*.pyc", ".*")
    shutil.copytree(ROOT / "blender_addon", target, ignore=leave)
    shutil.copytree(ROOT / "core", target / "core", ignore=leave)
    shutil.copy2(ROOT / "LICENSE", target / "LICENSE")
    return target


def check_types() -> int:
    """Run the type checker over the staged tree and this file; name the files as they lie here."""
    interpreter = make(TYPES)
    with alone("stage"):
        stage()
        mypy = [str(interpreter), "-m", "mypy", f"--config-file={ROOT / 'pyproject.toml'}"]
        mypy.append(f"--cache-dir={ROOT / '.mypy_cache'}")
        code, output = ask([*mypy, "--package", PACKAGE], cwd=STAGE)
        own, own_output = ask([*mypy, "build.py"])
    output = re.sub(rf"^{PACKAGE}[/\\]core\b", "core", output, flags=re.MULTILINE)
    print(re.sub(rf"^{PACKAGE}\b", "blender_addon", output, flags=re.MULTILINE), own_output, sep="", end="", flush=True)
    return code or own


def build_zip() -> Path | None:
    """Build, repack and validate the extension with Blender's own builder; return the zip, or None if it objects."""
    interpreter = make(MAIN)
    scripts = next(MAIN.path.glob("[Ll]ib/**/site-packages/bpy/[0-9]*/scripts"))
    builder = [interpreter, scripts / "addons_core/bl_pkg/cli/blender_ext.py"]
    tags = f"--valid-tags={scripts / 'modules/_bpy_internal/extensions/tags.py'}"
    version = settings()["project"]["version"]
    target = ROOT / "dist" / f"{PACKAGE}-{version}.zip"
    target.parent.mkdir(exist_ok=True)
    with alone("stage"):
        tree, raw = stage(), STAGE / "raw.zip"
        code, output = ask([*builder, "build", "--source-dir", tree, "--output-filepath", raw, tags])
        if code == 0:
            repack(raw, target)
            code, output = ask([*builder, "validate", target, tags])
    if code != 0:
        print(output, file=sys.stderr)
        return None
    return target


def repack(raw: Path, target: Path) -> None:
    """Write the same entries sorted and with one fixed time, so that the same files give the same zip."""
    with zipfile.ZipFile(raw) as source, zipfile.ZipFile(target, "w") as out:
        for name in sorted(source.namelist()):
            entry = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            entry.create_system = 3
            out.writestr(entry, source.read(name), compresslevel=9)


# --------------------------------------------------------------------------------------------------- verbs


def do_demo(options: argparse.Namespace) -> int:
    """Run the demo job."""
    out = Path(options.out).resolve() if options.out else ROOT / "demo-output"
    return run([make(MAIN), "-m", PACKAGE, "demo", "--out", out, "--replace"])


def do_check(_: argparse.Namespace) -> int:
    """Lint, format, types; all three, whatever the first says."""
    python = make(MAIN)
    failed = False
    for name, command in (("Lint", ["check"]), ("Format", ["format", "--check"])):
        say(name)
        failed |= run([python, "-m", "ruff", *command, "."]) != 0
    say("Types")
    failed |= check_types() != 0
    return int(failed)


def pytest(environment: Environment, *folders: str, **environ: str) -> str:
    """Run the tests of these folders in one process of their own and tell how it went."""
    present = [folder for folder in folders if any((ROOT / folder).rglob("test_*.py"))]
    if not present:
        return "no tests yet"
    python = make(environment)
    say(f"Tests in {environment.folder}: {', '.join(present)}")
    return "passed" if run([python, "-m", "pytest", "-q", *present], **environ) == 0 else FAILED


@contextlib.contextmanager
def core_tests(went: dict[str, str]) -> Iterator[None]:
    """Tests that need no Blender, beside whatever is done meanwhile; what they print comes at the end."""
    name, python = "tests/core, tests/outside", make(MAIN)
    say(f"Tests in {MAIN.folder}: {name}, beside what follows")
    with tempfile.TemporaryFile("w+", encoding="utf-8") as printed:
        words = [str(python), "-m", "pytest", "-q", *name.split(", ")]
        with subprocess.Popen(words, cwd=ROOT, env=clean_environ(), stdout=printed, stderr=printed) as running:
            try:
                yield
            except BaseException:
                running.kill()
                raise
            code = running.wait()
        printed.seek(0)
        say(f"{name}:")
        print(printed.read(), flush=True)
    went[name] = FAILED if code else "passed"


def do_test(options: argparse.Namespace) -> int:
    """Check, then test; on Blender 4.5, or with --all on every supported Blender."""
    went = {"check": FAILED if do_check(options) else "passed"}
    with core_tests(went):
        test_blender(options, went)
    for name, outcome in went.items():
        say(f"{name}: {outcome}")
    return int(FAILED in went.values())


def test_blender(options: argparse.Namespace, went: dict[str, str]) -> None:
    """Build the zip and test add-on and zip, with a minute of random cuts; `went` gains what came of each."""
    say("Random cuts, a minute")
    fuzz: list[str | Path] = [make(MAIN), ROOT / "tests" / "fuzz.py", "--first", "0", "--minutes", "1"]
    went["random cuts"] = FAILED if run(fuzz) else "passed"
    zipped = build_zip()
    went["zip"] = "passed" if zipped else FAILED
    environments = {"4.5": MAIN, **(OTHERS if options.all else {})}
    for version, environment in environments.items():
        for folder in ("tests/addon", "tests/extension"):
            name = f"{folder} on Blender {version}"
            if version == "5.2" and find_python(environment.python) is None:
                went[name] = f"left out, there is no Python {environment.python} here"
            elif zipped is None and folder == "tests/extension":
                went[name] = "left out, there is no zip"
            else:
                went[name] = pytest(environment, folder, SEAMWRIGHT_ZIP=str(zipped))


def do_zip(_: argparse.Namespace) -> int:
    """Build the extension and list what is in it."""
    target = build_zip()
    if target is None:
        return 1
    code, changed = ask(["git", "status", "--porcelain", "--", "core", "blender_addon", "LICENSE", "pyproject.toml"])
    with zipfile.ZipFile(target) as archive:
        for entry in archive.infolist():
            print(f"{entry.file_size:9d}  {entry.filename}")
    print(f"{target.relative_to(ROOT)}  sha256 {hashlib.sha256(target.read_bytes()).hexdigest()}")
    if code == 0 and changed.strip():
        print("Not for release: built from files that are not committed.")
    return 0


def do_script(options: argparse.Namespace) -> int:
    """Hand over to the script of the same name in tests/."""
    script = ROOT / "tests" / f"{options.verb}.py"
    if not script.is_file():
        stop(f"there is no tests/{options.verb}.py yet, so '{options.verb}' can do nothing")
    return run([make(BENCH if options.verb == "bench" else MAIN), script, *options.rest])


def main(arguments: Sequence[str]) -> int:
    """Read the command and run its verb."""
    if sys.version_info < (3, 11):  # noqa: UP036 (people do try)
        stop(f"needs Python 3.11 or newer, this is {sys.version.split()[0]}; try: python3.11 build.py ...")
    parser = argparse.ArgumentParser(prog="build.py", description="Build, test and try Seamwright.")
    verbs = parser.add_subparsers(dest="verb", required=True, metavar="VERB")
    demo = verbs.add_parser("demo", help="run the demo job")
    demo.add_argument("--out", metavar="DIR", help="where to (default: demo-output beside build.py)")
    demo.set_defaults(do=do_demo)
    test = verbs.add_parser("test", help="lint, types and tests")
    test.add_argument("--all", action="store_true", help="on every supported Blender")
    test.set_defaults(do=do_test)
    verbs.add_parser("check", help="lint, format and types").set_defaults(do=do_check)
    verbs.add_parser("zip", help="build the extension into dist/").set_defaults(do=do_zip)
    scripts = {"bench": "time against the peers", "fuzz": "random cuts, --minutes N", "report": "the planning tables"}
    for name, text in scripts.items():
        verbs.add_parser(name, help=text, add_help=False).set_defaults(do=do_script)
    options, rest = parser.parse_known_args(arguments)
    if rest and options.do is not do_script:
        parser.error(f"unrecognized arguments: {' '.join(rest)}")
    options.rest = rest
    result: int = options.do(options)
    return result


if __name__ == "__main__":
    try:
        raise SystemExit(main(sys.argv[1:]))
    except KeyboardInterrupt:
        print("\nbuild.py: stopped", file=sys.stderr)
        raise SystemExit(130) from None

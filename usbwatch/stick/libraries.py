"""The Python libraries that usbwatch needs, in the versions that it runs with here, for the stick's own Python."""

from __future__ import annotations

import hashlib
import importlib.metadata
import importlib.util
import re
import shutil
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Iterable, Sequence
from pathlib import Path, PurePosixPath

from usbwatch.errors import CannotBuild
from usbwatch.stick.running import run

__all__ = ["compile_all", "fetched_wheels", "lay_out", "pinned", "python_in", "requirements", "without_tests"]

_PLATFORMS = ("manylinux_2_28_x86_64", "manylinux_2_17_x86_64", "manylinux2014_x86_64")
"""What wheels are taken, by the C library that they need (PEP 600): that of Debian 10 and later."""


def requirements(extras: Iterable[str] = ("live",)) -> list[str]:
    """What usbwatch asks for, with some of its extras, as it was declared when it was installed."""
    wanted = set(extras)
    found = []
    try:
        declared = importlib.metadata.requires("usbwatch") or []
    except importlib.metadata.PackageNotFoundError as error:
        problem = "usbwatch runs from its sources, so it is not known what libraries it needs"
        raise CannotBuild(problem, "install it as README.md says, and build with that") from error
    for line in declared:
        need, _, marker = (part.strip() for part in line.partition(";"))
        extra = re.fullmatch(r"""extra\s*==\s*['"]([^'"]+)['"]""", marker)
        if not marker or (extra and extra[1] in wanted):
            found.append(need)
    return sorted(found)


def pinned() -> list[str]:
    """Every library that is installed here, in its version; only those that something needs are taken."""
    found: dict[str, str] = {}
    for one in importlib.metadata.distributions():
        if one.metadata["Name"]:
            # Where a library is there twice, Python takes the one that its path has first; they come in that order.
            found.setdefault(re.sub(r"[-_.]+", "-", one.metadata["Name"]).lower(), one.version)
    return [f"{name}=={found[name]}" for name in sorted(found) if name not in ("usbwatch", "pip", "setuptools")]


def python_in(root: Path) -> Path:
    """The Python of an unpacked root, ``python3.11`` or another; raises ``CannotBuild`` where there is none."""
    found = [one for one in (root / "usr" / "bin").glob("python3.*") if re.fullmatch(r"python3\.\d+", one.name)]
    if not found:
        raise CannotBuild("the distribution's Python is not among the packages", "run sudo apt-get update")
    return found[0]


def fetched_wheels(python: str, needs: list[str], pins: list[str], cache: Path) -> list[Path]:
    """The wheels of these libraries and all that they need, for a Python such as ``3.11``, kept in the cache."""
    key = hashlib.sha256("\n".join([python, *needs, "", *pins]).encode()).hexdigest()[:16]
    place = cache / key
    if not place.is_dir():
        cache.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=cache, prefix="arriving-") as scratch:
            arriving = Path(scratch) / "wheels"
            constraints = Path(scratch) / "constraints.txt"
            constraints.write_text("\n".join(pins) + "\n", "utf-8")
            _download(python, ["-d", str(arriving), "-c", str(constraints), *needs])
            arriving.rename(place)
    return sorted(place.glob("*.whl"))


def _download(python: str, what: list[str]) -> None:
    if importlib.util.find_spec("pip") is None:
        raise CannotBuild("pip is not installed beside usbwatch", f"install it with: {sys.executable} -m ensurepip")
    kind = ["--only-binary=:all:", "--implementation=cp", f"--python-version={python}"]
    kind += [f"--platform={one}" for one in _PLATFORMS]
    try:
        run(sys.executable, "-m", "pip", "download", "-q", "--disable-pip-version-check", *kind, *what)
    except CannotBuild as error:
        problem = f"the Python libraries for Python {python} could not be fetched ({error.problem[:_LAST_WORDS]} …)"
        raise CannotBuild(problem, "see that Python's package index can be reached, and build again") from error


_LAST_WORDS = 300
"""Characters of pip's complaint that are told."""


def lay_out(wheels: Iterable[Path], target: Path) -> None:
    """Unpack wheels into a folder that Python looks into (PEP 427); programs that come along are left out."""
    for wheel in wheels:
        with zipfile.ZipFile(wheel) as archive:
            for name in archive.namelist():
                parts = _parts(name)
                if parts:
                    place = target.joinpath(*parts)
                    place.parent.mkdir(parents=True, exist_ok=True)
                    place.write_bytes(archive.read(name))


def _parts(name: str) -> tuple[str, ...]:
    """Where a wheel's file goes, part by part; nothing for what is no file, leads elsewhere, or is no library."""
    parts = PurePosixPath(name).parts
    if name.endswith("/") or ".." in parts or name.startswith("/"):
        return ()
    if not parts[0].endswith(".data"):
        return parts
    return parts[2:] if parts[1] in ("purelib", "platlib") else ()


_NEVER_RUN = ("tests", "test", "idlelib", "tkinter", "turtledemo", "ensurepip", "lib2to3", "pydoc_data")


def without_tests(folder: Path) -> None:
    """Take away what libraries bring along and no program of ours runs: their tests, and teaching aids of Python."""
    for name in _NEVER_RUN:
        for one in folder.rglob(name):
            if one.is_dir():
                shutil.rmtree(one)


def compile_all(root: Path, folders: Sequence[Path]) -> None:
    """Compile sources with the root's own Python, so that nothing is compiled on the unit.

    The results name neither times nor folders of this computer (``--invalidation-mode=unchecked-hash``, PEP 552).
    Raises ``CannotBuild`` where nothing came of it.
    """
    python = python_in(root)
    loader = next((root / "lib64").glob("ld-linux-x86-64.so.*"))
    libraries = f"{root}/lib/x86_64-linux-gnu:{root}/usr/lib/x86_64-linux-gnu"
    compiling = ["-I", "-B", "-m", "compileall", "-qq", "--invalidation-mode=unchecked-hash"]
    compiling += ["-s", str(root), "-p", "/"]
    command = [str(loader), "--library-path", libraries, str(python), *compiling, *map(str, folders)]
    # A file that does not compile is left to be compiled when it is used, if ever; but some do.
    done = subprocess.run(command, check=False, capture_output=True, env={"PYTHONHOME": str(root / "usr")})  # noqa: S603
    for folder in folders:
        if next(folder.rglob("*.pyc"), None) is None:
            said = done.stderr.decode(errors="replace").strip()[-_LAST_WORDS:]
            problem = f"the distribution's Python compiles nothing here ({said})"
            raise CannotBuild(problem, "run sudo apt-get update, and build again")

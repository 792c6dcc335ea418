"""Packages of the distribution: which are needed, fetched by its own package manager, unpacked and never installed."""

from __future__ import annotations

import hashlib
import re
import subprocess
import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from usbwatch.errors import CannotBuild
from usbwatch.stick.running import path_of, run

__all__ = ["Package", "described", "fetched", "planned", "unpacked"]


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Package:
    """One package in one version, and the digest that the distribution's signed list gives its file."""

    name: str
    version: str
    sha256: str = ""
    source: str = ""
    """Name of the source package, with its version where that differs."""

    @property
    def pin(self) -> str:
        """How the package manager is asked for just this one."""
        return f"{self.name}={self.version}"


_NO_PACKAGE = ("-o", "Dir::State::status=/dev/null")
_NAME = re.compile(r"[a-z0-9][a-z0-9+.-]+")
"""Debian Policy, section 5.6.7; nothing that the package manager would take for an option or a pattern."""
_PLANNED = re.compile(r"^Inst (\S+) (?:\[\S+\] )?\((\S+)", re.MULTILINE)


def planned(*names: str) -> dict[str, str]:
    """By name, the versions of all that these packages come to on a machine that has none.

    Raises ``CannotBuild`` when one of them is not in the package manager's lists.
    """
    for name in names:
        if not _NAME.fullmatch(name):
            remedy = "give names as the package manager has them, such as firmware-misc-nonfree"
            raise CannotBuild(f"{name} is no name of a package", remedy)
    try:
        plan = run("apt-get", "-s", "install", "--no-install-recommends", *_NO_PACKAGE, *names).decode()
    except CannotBuild as error:
        found = re.findall(r"Unable to locate package (\S+)|Package '?(\S+?)'? has no installation", error.problem)
        unknown = ", ".join(sorted({one for pair in found for one in pair if one}))
        problem = f"the package lists have no {unknown}" if unknown else error.problem
        remedy = "run sudo apt-get update, and see that the package sources have it (docs/stick.md)"
        raise CannotBuild(problem, remedy) from error
    return {name.removesuffix(":amd64"): version for name, version in _PLANNED.findall(plan)}


def described(versions: Mapping[str, str]) -> tuple[Package, ...]:
    """These packages with what the package manager's lists say of them, by name."""
    told = run("apt-cache", "show", *(f"{name}={version}" for name, version in sorted(versions.items()))).decode()
    packages = {}
    for record in told.split("\n\n"):
        fields: dict[str, str] = dict(re.findall(r"^([A-Za-z0-9-]+): (.+)$", record, re.MULTILINE))
        name, version = fields.get("Package", ""), fields.get("Version", "")
        if versions.get(name) == version:
            source = fields.get("Source", name)
            packages[name] = Package(name=name, version=version, sha256=fields.get("SHA256", ""), source=source)
    return tuple(packages[name] for name in sorted(packages))


def fetched(packages: Iterable[Package], cache: Path) -> dict[str, Path]:
    """By name, the file of each package in the folder ``cache``; what is not there is fetched.

    Every file is held against the distribution's digest, also one that was there.
    """
    cache.mkdir(parents=True, exist_ok=True)
    wanted = list(packages)
    lacking = [one for one in wanted if not _is_whole(_place(one, cache), one)]
    if lacking:
        with tempfile.TemporaryDirectory(dir=cache, prefix="arriving-") as arriving:
            _download(lacking, Path(arriving))
            for one in lacking:
                _take_in(one, Path(arriving), cache)
    return {one.name: _place(one, cache) for one in wanted}


def _download(packages: list[Package], folder: Path) -> None:
    try:
        run("apt-get", "download", "-q", *(one.pin for one in packages), cwd=folder)
    except CannotBuild as error:
        problem = f"packages could not be fetched ({error.problem[-_LAST_WORDS:]})"
        remedy = "see that the package index can be reached, run sudo apt-get update, and build again"
        raise CannotBuild(problem, remedy) from error


_LAST_WORDS = 200
"""Characters of a program's complaint that are told."""


def _place(package: Package, cache: Path) -> Path:
    return cache / f"{package.name}_{package.version.replace(':', '%3a')}.deb"


def _is_whole(file: Path, package: Package) -> bool:
    if not file.is_file() or not package.sha256:
        return False
    with file.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest() == package.sha256


def _take_in(package: Package, arriving: Path, cache: Path) -> None:
    """Put a file that was fetched in its place, and drop those of other versions."""
    version = package.version.replace(":", "%3a")
    for file in arriving.glob("*.deb"):
        if file.name.startswith(f"{package.name}_{version}_") and _is_whole(file, package):
            for old in cache.glob(f"{package.name}_*.deb"):
                old.unlink()
            file.rename(_place(package, cache))
            return
    raise CannotBuild(f"the package {package.pin} did not arrive whole", "run sudo apt-get update, and build again")


def unpacked(file: Path, root: Path) -> None:
    """Lay a package's files out under ``root``, through links of folders that are there; no script of it is run."""
    root.mkdir(parents=True, exist_ok=True)
    tools = [path_of(tool) for tool in ("dpkg-deb", "tar")]
    assert all(tools)
    dpkg, tar = map(str, tools)
    with subprocess.Popen([dpkg, "--fsys-tarfile", str(file)], stdout=subprocess.PIPE) as opening:  # noqa: S603
        options = ("-x", "--keep-directory-symlink", "--no-same-owner", "-C", str(root))
        done = subprocess.run([tar, *options], stdin=opening.stdout, capture_output=True, check=False)  # noqa: S603
    if done.returncode or opening.returncode:
        said = done.stderr.decode(errors="replace").strip()[-500:]
        raise CannotBuild(f"{file.name} cannot be unpacked: {said}", "remove it from the cache, and build again")

"""The computer that a stick is built on: whether its programs are there, what they say, and where there is room."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

from usbwatch.errors import CannotBuild

__all__ = ["ENVIRONMENT", "TOOLS", "check_host", "disk_for_work", "path_of", "run"]

TOOLS = {
    "apt-get": "apt",
    "cpio": "cpio",
    "depmod": "kmod",
    "dpkg-deb": "dpkg",
    "mcopy": "mtools",
    "mkfs.vfat": "dosfstools",
    "mmd": "mtools",
    "sgdisk": "gdisk",
    "tar": "tar",
    "zstd": "zstd",
}
"""Programs that a build needs, and the packages of the distribution that have them."""

_NOT_ON_EVERY_PATH = "/usr/local/sbin:/usr/sbin:/sbin"
"""Where programs for administration are, which a user's ``PATH`` leaves out; a build needs no rights to run them."""

ENVIRONMENT = {"LC_ALL": "C.UTF-8", "TZ": "UTC", "DEBIAN_FRONTEND": "noninteractive"}
"""What programs are told beyond the user's own environment, so that they do the same everywhere."""


def path_of(tool: str) -> str | None:
    """Path of a program, also of one that is for administration alone."""
    return shutil.which(tool, path=f"{os.environ.get('PATH', os.defpath)}:{_NOT_ON_EVERY_PATH}")


def check_host() -> None:
    """Raise ``CannotBuild`` where this computer has no packages to build of, or lacks a program."""
    instead = "build it on such a computer; usbwatch kit writes a collector that needs no image"
    if path_of("apt-get") is None or path_of("dpkg") is None:
        raise CannotBuild("this system is not Debian or made like it, so it has no packages to build of", instead)
    architecture = run("dpkg", "--print-architecture").decode().strip()
    if architecture != "amd64":
        raise CannotBuild(f"this system is for {architecture}, and a stick is for 64-bit x86 (amd64)", instead)
    lacking = sorted({package for tool, package in TOOLS.items() if path_of(tool) is None})
    if lacking:
        raise CannotBuild(
            f"programs are lacking that it is made with ({', '.join(lacking)})",
            f"install them with: sudo apt-get install --no-install-recommends {' '.join(lacking)}",
        )


def run(tool: str | Path, *arguments: str | Path, cwd: Path | None = None, given: bytes = b"", clock: int = 0) -> bytes:
    """What a program prints; raises ``CannotBuild`` with its complaint when it fails.

    ``clock``: the time, in seconds since 1970, that it is to write into what it makes.
    """
    command = [path_of(str(tool)) or str(tool), *map(str, arguments)]
    environment = os.environ | ENVIRONMENT | ({"SOURCE_DATE_EPOCH": str(clock)} if clock else {})
    try:
        done = subprocess.run(command, cwd=cwd, input=given, capture_output=True, check=False, env=environment)  # noqa: S603
    except OSError as error:
        raise CannotBuild(f"{tool} cannot be run ({error.strerror})", "mend that, and build again") from error
    if done.returncode:
        said = (done.stderr or done.stdout).decode(errors="replace").strip()
        last = " / ".join(said.splitlines()[-3:])
        name = " ".join([str(tool), *command[1:2]])
        raise CannotBuild(f"{name} failed with {done.returncode}: {last}", "mend that, and build again")
    return done.stdout


def disk_for_work() -> Path | None:
    """Where large short-lived files are best kept: in memory where the system has such a folder with 2 GB free."""
    memory = Path("/dev/shm")  # noqa: S108 - what is made in it has a folder of its own
    return memory if os.access(memory, os.W_OK) and shutil.disk_usage(memory).free > 2 << 30 else None

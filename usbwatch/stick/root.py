"""The system on a stick: one tree of files that the kernel keeps in memory, and how it is packed."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterable, Mapping
from importlib.resources import files
from pathlib import Path

from usbwatch.stick.running import run

__all__ = ["add_busybox", "add_init", "add_usbwatch", "clamp_times", "newest_time", "packed", "prune", "skeleton"]

_NOT_NEEDED = (
    "usr/share/doc",
    "usr/share/man",
    "usr/share/info",
    "usr/share/locale",
    "usr/share/lintian",
    "usr/share/perl5",
    "usr/share/bash-completion",
    "usr/share/python3",
    "usr/share/debconf",
    "usr/share/initramfs-tools",
    "usr/lib/x86_64-linux-gnu/gconv",
    "usr/lib/x86_64-linux-gnu/perl-base",
    "usr/lib/dpkg",
    "usr/lib/initramfs-tools",
    "var",
)
_MERGED = ("bin", "sbin", "lib", "lib64")


def skeleton(root: Path) -> None:
    """A root in which ``/bin``, ``/lib`` and their like are links into ``/usr``, as the distribution has it."""
    for name in _MERGED:
        (root / "usr" / name).mkdir(parents=True, exist_ok=True)
        (root / name).symlink_to(f"usr/{name}")
    for name in ("etc", "opt", "root"):
        (root / name).mkdir()


def prune(root: Path) -> None:
    """Take away what no program on the stick reads: pages to read, other languages, lists of the package manager."""
    for folder in _NOT_NEEDED:
        shutil.rmtree(root / folder, ignore_errors=True)


def add_busybox(root: Path) -> None:
    """Make the distribution's busybox the shell, and the users that programs look up."""
    shell = root / "bin" / "sh"
    shell.unlink(missing_ok=True)
    shell.symlink_to("busybox")
    (root / "etc" / "passwd").write_text("root:x:0:0:root:/root:/bin/sh\n")
    (root / "etc" / "group").write_text("root:x:0:\n")


def add_init(root: Path) -> None:
    """Put PID 1 in place."""
    (root / "init").write_bytes(files("usbwatch.stick").joinpath("init").read_bytes())
    (root / "init").chmod(0o755)


def add_usbwatch(place: Path, shipped: Mapping[str, Path]) -> None:
    """Lay this very package out as in its source tree: ``usbwatch`` with the shipped folders beside it."""
    package = Path(str(files("usbwatch")))
    unwanted = shutil.ignore_patterns("__pycache__", "_shipped")
    shutil.copytree(package, place / "usbwatch", ignore=unwanted)
    for name, folder in shipped.items():
        shutil.copytree(folder, place / name, ignore=unwanted)


def newest_time(roots: Iterable[Path]) -> int:
    """When the newest file in these folders was changed, in seconds since 1970."""
    return max((int(path.lstat().st_mtime) for root in roots for path in root.rglob("*") if path.is_file()), default=0)


def clamp_times(root: Path, seconds: int) -> None:
    """Give every file one time, and rights that do not depend on who unpacked it."""
    for path in (root, *root.rglob("*")):
        if not path.is_symlink():
            path.chmod(0o755 if path.is_dir() or path.stat().st_mode & 0o100 else 0o644)
        os.utime(path, (seconds, seconds), follow_symlinks=False)


def packed(root: Path, level: int = 6) -> bytes:
    """A folder as an archive of the kind that the kernel unpacks (newc of cpio), the same for the same files.

    ``level`` is of its compression; 0 for none.

    Source of the format: the kernel's Documentation/driver-api/early-userspace/buffer-format.rst.
    """
    names = "\n".join(sorted(str(path.relative_to(root)) for path in root.rglob("*"))).encode()
    options = ("-o", "-H", "newc", "--quiet", "--owner", "0:0", "--reproducible")
    archive = run("cpio", *options, cwd=root, given=names)
    if not level:
        return archive
    # Two workers on every computer: what they make depends on how many there are.
    return run("zstd", "-q", f"-{level}", "-T2", "-c", given=archive)

"""Kernel and initramfs of the emulated laptop, made from packages of the distribution, as the bench stick is.

Nothing is installed on the host and no rights are needed: packages are
fetched by apt and unpacked. The result holds the distribution's kernel with
the drivers of a laptop, a busybox, the distribution's Python and strace, and
the libraries that usbwatch depends on, with those of its extras ``live`` and
``portable``. It is kept in the user's cache folder under a key of the package
versions and of this recipe; usbwatch itself is added afresh each time.
"""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from dataclasses import dataclass
from pathlib import Path

from usbwatch.stick.building import cache_folder
from usbwatch.stick.drivers import add_drivers
from usbwatch.stick.libraries import compile_all, fetched_wheels, lay_out, pinned, python_in
from usbwatch.stick.packages import Package, described, fetched, planned, unpacked
from usbwatch.stick.root import packed
from usbwatch.stick.running import disk_for_work

__all__ = ["TOOLS", "Built", "built", "work_folder"]

work_folder = disk_for_work

TOOLS = {
    "qemu-system-x86_64": "qemu-system-x86",
    "busybox": "busybox-static",
    "iasl": "acpica-tools",
    "cpio": "cpio",
    "zstd": "zstd",
    "depmod": "kmod",
    "setpriv": "util-linux",
    "apt-get": "apt",
    "dpkg-deb": "dpkg",
}
"""Programs that the emulated laptop needs, and the packages that have them."""

_HERE = Path(__file__).parent
_PROJECT = _HERE.parent.parent
_KERNEL = "linux-image-amd64"
_PROGRAMS = ("python3", "strace", "libstdc++6", "libudev1", "libc-bin", "dash")
"""Packages of the guest; those that they need come along. numpy's compiled parts want the library of C++; pyudev
loads libudev, which Python finds through ``ldconfig``."""

_MODULES = (
    "ac",
    "ahci",
    "battery",
    "bochs",
    "btusb",
    "button",
    "cdc_acm",
    "e1000e",
    "evdev",
    "hid_generic",
    "hid_multitouch",
    "i2c_hid_acpi",
    "i2c_i801",
    "lpc_ich",
    "nvme",
    "pcspkr",
    "psmouse",
    "sd_mod",
    "serio_raw",
    "snd_hda_codec_generic",
    "snd_hda_intel",
    "snd_usb_audio",
    "thermal",
    "uas",
    "usb_storage",
    "usbhid",
    "uvcvideo",
    "xhci_pci",
)
"""Drivers of a laptop's parts; those that they need come along."""

_NOT_NEEDED = ("usr/share/doc", "usr/share/man", "usr/share/locale", "usr/lib/x86_64-linux-gnu/gconv", "var")


@dataclass(frozen=True, slots=True, kw_only=True)
class Built:
    """What the emulator starts."""

    kernel: Path
    initramfs: Path


def built(folder: Path) -> Built:
    """Kernel, and initramfs (in ``folder``) with the usbwatch of this source tree. Raises ``CannotBuild``."""
    base = _base()
    initramfs = folder / "initramfs"
    with initramfs.open("wb") as whole:
        whole.write((base / "initramfs").read_bytes())
        # The kernel unpacks archives that follow one another into the same root.
        root = _with_usbwatch(folder / "usbwatch")
        _compile(root, (base / "python").read_text("ascii"))
        whole.write(packed(root, level=0))
    return Built(kernel=base / "vmlinuz", initramfs=initramfs)


def _compile(root: Path, guest: str) -> None:
    """Compile usbwatch here where this is the guest's version of Python: emulated, that takes seconds at each start."""
    if guest != f"python{sys.version_info[0]}.{sys.version_info[1]}":
        return
    how = ("-m", "compileall", "-qq", "--invalidation-mode=unchecked-hash", "-s", str(root), "-p", "/")
    subprocess.run([sys.executable, "-I", *how, str(root / "opt" / "usbwatch")], check=False)


def _base() -> Path:
    """The folder of what does not change with usbwatch, made when it is not in the cache."""
    cache = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "usbwatch-tests"
    packages = _packages()
    made = cache / _key(packages)
    if not made.is_dir():
        cache.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=work_folder(), prefix="usbwatch-build-") as scratch:
            result = _make(Path(scratch), packages)
            arriving = Path(tempfile.mkdtemp(dir=cache))
            shutil.copytree(result, arriving, dirs_exist_ok=True)
        try:
            arriving.rename(made)
        except OSError:  # another run was quicker
            shutil.rmtree(arriving)
    return made


_MAKERS = ("drivers", "libraries", "packages", "root", "running")
"""Modules of the bench stick that make the base, too."""


def _key(packages: tuple[Package, ...]) -> str:
    recipe = [Path(__file__).read_bytes(), (_HERE / "guest" / "init").read_bytes()]
    recipe += [(_PROJECT / "usbwatch" / "stick" / f"{name}.py").read_bytes() for name in _MAKERS]
    recipe += [repr(packages).encode(), repr((_dependencies(), pinned())).encode()]
    return hashlib.sha256(b"\0".join(recipe)).hexdigest()[:24]


def _dependencies() -> list[str]:
    project = tomllib.loads((_PROJECT / "pyproject.toml").read_text("utf-8"))
    extras = project["project"]["optional-dependencies"]
    return [str(one) for one in (*project["project"]["dependencies"], *extras["portable"], *extras["live"])]


def _packages() -> tuple[Package, ...]:
    """The kernel's package and all that the programs need on a machine with no package at all, with their versions."""
    kernel = {name: version for name, version in planned(_KERNEL).items() if re.match(r"linux-image-\d", name)}
    return described(kernel | planned(*_PROGRAMS))


def _make(scratch: Path, packages: tuple[Package, ...]) -> Path:
    """Fetch, unpack and pack; the folder with ``vmlinuz`` and ``initramfs``."""
    kernel, tree, result = (scratch / name for name in ("kernel", "root", "result"))
    result.mkdir()
    for name, archive in fetched(packages, cache_folder() / "packages").items():
        unpacked(archive, kernel if name.startswith("linux-image") else tree)
    for folder in _NOT_NEEDED:
        shutil.rmtree(tree / folder, ignore_errors=True)
    version = add_drivers(kernel, tree, _MODULES, ())
    shutil.copy(kernel / "boot" / f"vmlinuz-{version}", result / "vmlinuz")
    _add_libraries(tree)
    (result / "python").write_text(python_in(tree).name, "ascii")
    _add_busybox(tree)
    # Emulated, unpacking what is compressed takes longer than anything that compressing it saves.
    (result / "initramfs").write_bytes(packed(tree, level=0))
    return result


def _add_libraries(tree: Path) -> None:
    """Install what usbwatch depends on, for the guest's Python, and compile all of it with that Python."""
    python, target = python_in(tree), tree / "opt" / "packages"
    version = python.name.removeprefix("python")
    lay_out(fetched_wheels(version, _dependencies(), pinned(), cache_folder() / "wheels"), target)
    compile_all(tree, (tree / "usr" / "lib" / python.name, target))


def _add_busybox(root: Path) -> None:
    """Put the shell and PID 1 in place."""
    busybox = shutil.which("busybox")
    assert busybox is not None
    for folder in ("bin", "etc"):
        (root / folder).mkdir(exist_ok=True)
    shutil.copy(busybox, root / "bin" / "busybox")
    (root / "bin" / "sh").unlink(missing_ok=True)
    (root / "bin" / "sh").symlink_to("busybox")
    shutil.copy(_HERE / "guest" / "init", root / "init")
    (root / "init").chmod(0o755)
    (root / "etc" / "passwd").write_text("root:x:0:0:root:/root:/bin/sh\nbench:x:1000:1000:bench:/tmp:/bin/sh\n")
    (root / "etc" / "group").write_text("root:x:0:\nbench:x:1000:\n")


def _with_usbwatch(root: Path) -> Path:
    """A root with this source tree's package, profiles (the emulated models' too) and captures, the programs of
    ``guest``, and a module's ban."""
    place = root / "opt" / "usbwatch"
    for name in ("usbwatch", "profiles", "captures"):
        shutil.copytree(_PROJECT / name, place / name, ignore=shutil.ignore_patterns("__pycache__"))
    for program in (_HERE / "guest").glob("*.py"):
        shutil.copy(program, place)
    shutil.copytree(_HERE / "profiles", place / "emulated")
    configured = root / "etc" / "modprobe.d"
    configured.mkdir(parents=True)
    (configured / "bench.conf").write_text("blacklist invented_driver\n")
    return root

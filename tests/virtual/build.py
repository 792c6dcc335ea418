"""Kernel and initramfs of the emulated laptop, made from packages of the distribution.

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

__all__ = ["TOOLS", "BuildError", "Built", "built", "work_folder"]

TOOLS = {
    "qemu-system-x86_64": "qemu-system-x86",
    "busybox": "busybox-static",
    "iasl": "acpica-tools",
    "cpio": "cpio",
    "zstd": "zstd",
    "depmod": "kmod",
    "modprobe": "kmod",
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


class BuildError(RuntimeError):
    """A step of the build failed; says which, and its complaint."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Built:
    """What the emulator starts."""

    kernel: Path
    initramfs: Path


def work_folder() -> Path | None:
    """Where large short-lived files are best kept: in memory when the system has such a folder."""
    memory = Path("/dev/shm")
    return memory if os.access(memory, os.W_OK) and shutil.disk_usage(memory).free > 2 << 30 else None


def built(folder: Path) -> Built:
    """Kernel, and initramfs (in ``folder``) with the usbwatch of this source tree. Raises ``BuildError``."""
    base = _base()
    initramfs = folder / "initramfs"
    with initramfs.open("wb") as whole:
        whole.write((base / "initramfs").read_bytes())
        # The kernel unpacks archives that follow one another into the same root.
        whole.write(_packed(_with_usbwatch(folder / "usbwatch")))
    return Built(kernel=base / "vmlinuz", initramfs=initramfs)


def _base() -> Path:
    """The folder of what does not change with usbwatch, made when it is not in the cache."""
    cache = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "usbwatch-tests"
    packages = _versions()
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


def _key(packages: dict[str, str]) -> str:
    recipe = [Path(__file__).read_bytes(), (_HERE / "guest" / "init").read_bytes()]
    recipe += [repr(sorted(packages.items())).encode(), repr(_dependencies()).encode()]
    return hashlib.sha256(b"\0".join(recipe)).hexdigest()[:24]


def _dependencies() -> list[str]:
    project = tomllib.loads((_PROJECT / "pyproject.toml").read_text("utf-8"))
    extras = project["project"]["optional-dependencies"]
    return [str(one) for one in (*project["project"]["dependencies"], *extras["portable"], *extras["live"])]


def _run(*command: str | Path, cwd: Path | None = None, given: bytes = b"") -> bytes:
    """What a command prints; raises ``BuildError`` with its complaint when it fails."""
    done = subprocess.run(command, cwd=cwd, input=given, capture_output=True, check=False)
    if done.returncode:
        said = (done.stderr or done.stdout).decode(errors="replace").strip()[-2000:]
        raise BuildError(f"{' '.join(map(str, command[:4]))} … failed with {done.returncode}: {said}")
    return done.stdout


def _versions() -> dict[str, str]:
    """The kernel's package and all that the programs need on a machine with no package at all, with their versions."""
    kernel = {name: version for name, version in _planned(_KERNEL).items() if re.match(r"linux-image-\d", name)}
    return kernel | {name: version for program in _PROGRAMS for name, version in _planned(program).items()}


def _planned(package: str) -> dict[str, str]:
    """What apt would install for a package on an empty machine, with the versions."""
    empty = ("-o", "Dir::State::status=/dev/null")
    plan = _run("apt-get", "-s", "install", "--no-install-recommends", *empty, package).decode()
    return dict(re.findall(r"^Inst (\S+) \((\S+)", plan, re.MULTILINE))


def _make(scratch: Path, packages: dict[str, str]) -> Path:
    """Fetch, unpack and pack; the folder with ``vmlinuz`` and ``initramfs``."""
    kernel, root, result = (scratch / name for name in ("kernel", "root", "result"))
    result.mkdir()
    for archive in _fetched(scratch / "fetched", packages):
        _run("dpkg-deb", "-x", archive, kernel if archive.name.startswith("linux-image") else root)
    for folder in _NOT_NEEDED:
        shutil.rmtree(root / folder, ignore_errors=True)
    version = next((kernel / "lib" / "modules").iterdir()).name
    shutil.copy(kernel / "boot" / f"vmlinuz-{version}", result / "vmlinuz")
    _add_modules(kernel, root, version)
    _add_libraries(root)
    _add_busybox(root)
    (result / "initramfs").write_bytes(_packed(root))
    return result


def _fetched(folder: Path, packages: dict[str, str]) -> list[Path]:
    folder.mkdir()
    _run("apt-get", "download", "-q", *(f"{name}={version}" for name, version in packages.items()), cwd=folder)
    return sorted(folder.glob("*.deb"))


def _add_modules(kernel: Path, root: Path, version: str) -> None:
    """Copy the drivers and what they need."""
    _run("depmod", "-b", kernel, version)
    needed: set[str] = set()
    for module in _MODULES:
        # Fails for a module that is built in, which is as good.
        plan = subprocess.run(
            ["modprobe", "-d", kernel, "-S", version, "--show-depends", module], capture_output=True, check=False
        )
        needed |= {line.split()[1] for line in plan.stdout.decode().splitlines() if line.startswith("insmod ")}
    for path in needed:
        target = root / Path(path).relative_to(kernel)
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(path, target)
    for name in ("modules.order", "modules.builtin", "modules.builtin.modinfo"):
        shutil.copy(kernel / "lib" / "modules" / version / name, root / "lib" / "modules" / version)
    _run("depmod", "-b", root, version)


def _add_libraries(root: Path) -> None:
    """Install what usbwatch depends on, for the guest's Python, and compile all of it with that Python."""
    python = next(path for path in (root / "usr" / "bin").glob("python3.*") if not path.is_symlink())
    target = root / "opt" / "packages"
    kind = ["--only-binary=:all:", "--implementation=cp", f"--python-version={python.name.removeprefix('python')}"]
    kind += ["--platform=manylinux_2_28_x86_64", "--platform=manylinux2014_x86_64"]
    _run(sys.executable, "-m", "pip", "install", "-q", "--no-compile", f"--target={target}", *kind, *_dependencies())
    loader = next((root / "lib64").glob("ld-linux-x86-64.so.*"))
    libraries = f"{root}/lib/x86_64-linux-gnu:{root}/usr/lib/x86_64-linux-gnu"
    compiling = ("-I", "-m", "compileall", "-qq", "--invalidation-mode=unchecked-hash")
    # A file that does not compile is left to be compiled when it is used, if ever.
    sources = (root / "usr" / "lib" / python.name, target)
    subprocess.run([loader, "--library-path", libraries, python, *compiling, *sources], check=False)


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


def _packed(root: Path) -> bytes:
    """A folder as a compressed archive of the kind that the kernel unpacks (the newc format of cpio)."""
    names = sorted(str(path.relative_to(root)) for path in root.rglob("*"))
    archive = _run("cpio", "-o", "-H", "newc", "--quiet", "--owner", "0:0", cwd=root, given="\n".join(names).encode())
    return _run("zstd", "-q", "-6", "-c", given=archive)

"""What does not change with usbwatch: kernel, boot chain, drivers, Python and its libraries, kept once they are made.

The result is a folder of the user's cache, under a key of the packages, of the
libraries and of the modules that make it.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from usbwatch.errors import CannotBuild
from usbwatch.stick import drivers, libraries, licences, root
from usbwatch.stick.packages import Package, described, fetched, planned, unpacked
from usbwatch.stick.running import disk_for_work, run

__all__ = ["Tell", "made_base"]

Tell = Callable[[str], None]
"""Is given a few words as each stage begins."""

_KERNEL = "linux-image-amd64"
_BOOT = ("shim-signed", "grub-efi-amd64-signed")
_PROGRAMS = ("python3", "kmod", "busybox-static", "libstdc++6", "libudev1", "libc-bin")
"""What runs on the unit; all that these need comes along. numpy's compiled parts want the library of C++; pyudev loads
libudev, which Python finds through ``ldconfig``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Plan:
    """What a base is made of."""

    boot: tuple[Package, ...]
    """The kernel and what starts it: they alone, for what they need is needed by a system that is installed."""
    system: tuple[Package, ...]
    needs: list[str]
    pins: list[str]


def made_base(further: tuple[str, ...], cache: Path, tell: Tell) -> Path:
    """The folder with all that an image is put together of, made when it is not in the cache; ``further``: packages.

    It holds ``shim``, ``grub``, ``vmlinuz``, ``initramfs`` (the system without
    usbwatch), ``python.tar``, ``LICENCES.txt``, and ``facts.json`` with the
    kernel's release and when the newest file in its packages was changed.
    """
    tell("asking the package lists what is needed")
    plan = _plan(further)
    made = cache / "made" / _key(plan)
    if (made / "facts.json").is_file():
        made.touch()
        return made
    tell(f"fetching {len(plan.boot) + len(plan.system)} packages, as far as they are not here")
    packages = fetched({*plan.boot, *plan.system}, cache / "packages")
    (cache / "made").mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=disk_for_work(), prefix="usbwatch-stick-") as scratch:
        result = _make(Path(scratch), plan, packages, cache, tell)
        arriving = Path(tempfile.mkdtemp(dir=cache / "made"))
        shutil.copytree(result, arriving, dirs_exist_ok=True)
    try:
        arriving.rename(made)
    except OSError:  # another run was quicker
        shutil.rmtree(arriving)
    _drop_unused(cache / "made")
    return made


_UNUSED_S = 30 * 24 * 3600


def _drop_unused(folder: Path) -> None:
    """Take away what no build has used for a month: an earlier kernel's, mostly."""
    for one in folder.iterdir():
        if one.is_dir() and one.stat().st_mtime < time.time() - _UNUSED_S:
            shutil.rmtree(one, ignore_errors=True)


def _plan(further: tuple[str, ...]) -> _Plan:
    starting = planned(_KERNEL, *_BOOT)
    boot = {name for name in starting if name in _BOOT or (name.startswith("linux-image-") and name != _KERNEL)}
    system = planned(*_PROGRAMS, *further)
    versions = {name: starting[name] for name in boot} | system
    packages = described(versions)
    return _Plan(
        boot=tuple(one for one in packages if one.name in boot),
        system=tuple(one for one in packages if one.name in system),
        needs=libraries.requirements(),
        pins=libraries.pinned(),
    )


_MAKERS = ("base", "drivers", "libraries", "licences", "packages", "root")


def _key(plan: _Plan) -> str:
    recipe = [files("usbwatch.stick").joinpath(f"{name}.py").read_bytes() for name in _MAKERS]
    recipe.append(repr((plan.boot, plan.system, plan.needs, plan.pins)).encode())
    return hashlib.sha256(b"\0".join(recipe)).hexdigest()[:24]


def _make(scratch: Path, plan: _Plan, packages: dict[str, Path], cache: Path, tell: Tell) -> Path:
    """Unpack, choose, compile and pack."""
    result, parts, tree = scratch / "result", scratch / "parts", scratch / "root"
    result.mkdir()
    tell("unpacking them")
    root.skeleton(parts)
    for one in plan.boot:
        unpacked(packages[one.name], parts)
    root.skeleton(tree)
    for one in plan.system:
        unpacked(packages[one.name], tree)
    newest = root.newest_time([parts, tree])
    named = [(one, licences.of_package(parts, one)) for one in plan.boot]
    named += [(one, licences.of_package(tree, one)) for one in plan.system]
    root.prune(tree)
    wheels = _add_python(tree, result / "python.tar", plan, cache, tell)
    page = licences.licences_text(sorted(named), map(licences.of_wheel, wheels))
    (result / "LICENCES.txt").write_text(page, "utf-8", newline="")
    tell("choosing drivers")
    release = drivers.add_drivers(parts, tree)
    drivers.hold_back(tree)
    root.add_busybox(tree)
    root.clamp_times(tree, newest)
    tell("packing the system")
    (result / "initramfs").write_bytes(root.packed(tree, level=12))
    for name, place in _boot_files(parts, release).items():
        shutil.copyfile(place, result / name)
    (result / "facts.json").write_text(json.dumps({"kernel": release, "newest": str(newest)}))
    return result


def _add_python(tree: Path, kept: Path, plan: _Plan, cache: Path, tell: Tell) -> list[Path]:
    """Add the libraries and compile all of it; ``kept`` gets the Python alone, for what is compiled later."""
    interpreter = libraries.python_in(tree)
    version = interpreter.name.removeprefix("python")
    tell(f"fetching libraries for Python {version}, as far as they are not here")
    wheels = libraries.fetched_wheels(version, plan.needs, plan.pins, cache / "wheels")
    own = tree / "usr" / "lib" / interpreter.name
    libraries.without_tests(own)
    run("tar", "-c", "-f", kept, "-C", tree, "usr/lib", "usr/lib64", "usr/bin", "lib", "lib64", "bin")
    target = tree / "opt" / "packages"
    libraries.lay_out(wheels, target)
    libraries.without_tests(target)
    tell("compiling Python")
    libraries.compile_all(tree, (own, target))
    return wheels


def _boot_files(parts: Path, release: str) -> dict[str, Path]:
    """Where the packages have what firmware starts, one after the other."""
    found = {
        "shim": parts / "usr" / "lib" / "shim" / "shimx64.efi.signed",
        "grub": parts / "usr" / "lib" / "grub" / "x86_64-efi-signed" / "grubx64.efi.signed",
        "vmlinuz": parts / "boot" / f"vmlinuz-{release}",
    }
    for place in found.values():
        if not place.is_file():
            problem = f"the packages have no {place.name} where the distribution used to keep it"
            raise CannotBuild(problem, "use a newer usbwatch")
    return found

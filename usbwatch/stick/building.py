"""One image from beginning to end: what does not change with usbwatch, which is kept, and what is added each time."""

from __future__ import annotations

import datetime
import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path

import usbwatch as package
from usbwatch.errors import CannotBuild
from usbwatch.stick import drivers, libraries, licences, root
from usbwatch.stick.image import DATA_GUID, Contents, assembled
from usbwatch.stick.packages import Package, disk_for_work, fetched, needed, unpacked
from usbwatch.stick.running import check_host
from usbwatch.stick.settings import Settings, to_json

__all__ = ["Recipe", "build_image", "cache_folder"]

_BOOT = ("shim-signed", "grub-efi-amd64-signed")
_KERNEL = "linux-image-amd64"
_PROGRAMS = ("python3", "kmod", "busybox-static", "libstdc++6", "libudev1", "libc-bin")
"""What runs on the unit; all that these need comes along. numpy's compiled parts want the library of C++; pyudev loads
libudev, which Python finds through ``ldconfig``."""

_KERNEL_WORDS = (
    "console=tty0",
    "quiet",
    "loglevel=3",
    "fbcon=font:TER16x32",  # large type, from the kernel itself
    "noresume",  # no image of a sleeping system on the unit's disk is looked for
    "erst_disable",  # should the kernel fail, its last words are not written into the unit's firmware
)

Tell = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """What a stick is to be, beyond what every one has."""

    profiles: Mapping[str, str] = field(default_factory=dict)
    """The user's own profiles: by file name, the text."""
    experience: str | None = None
    """What the shop's closed cases come to (``usbwatch.stick.experience.to_json``)."""
    money: bool = False
    """Whether prices may be shown on the unit."""
    further: tuple[str, ...] = ()
    """Further packages of the distribution, such as firmware for radios."""
    kernel_words: tuple[str, ...] = ()
    """Further words of the kernel's command line; for tests."""
    data_mib: int = 64
    """Room for captures."""


def cache_folder() -> Path:
    """Where packages are kept once they were fetched; it need not exist."""
    from platformdirs import user_cache_dir

    return Path(user_cache_dir("usbwatch")) / "stick"


def build_image(target: Path, recipe: Recipe, *, cache: Path | None = None, tell: Tell = lambda _: None) -> Settings:
    """Write a bootable image to ``target``, over what is there, in one step; what it was built of.

    ``tell`` is given a sentence as each stage begins. Needs no rights. Raises
    ``CannotBuild``; what was at ``target`` is then as it was.
    """
    check_host()
    kept = cache or cache_folder()
    base = _base(recipe, kept, tell)
    facts = json.loads((base / "facts.json").read_text("utf-8"))
    with tempfile.TemporaryDirectory(dir=disk_for_work(), prefix="usbwatch-stick-") as scratch:
        tell("adding usbwatch, profiles and settings")
        added, settings = _added(Path(scratch), recipe, base, facts)
        tell("writing the image")
        initramfs = Path(scratch) / "initramfs"
        with initramfs.open("wb") as whole:
            # The kernel unpacks archives that follow one another into the same root.
            whole.write((base / "initramfs").read_bytes())
            whole.write(added)
        arriving = target.with_name(f".{target.name}.part")
        try:
            assembled(
                arriving, _contents(base, initramfs, recipe), data_mib=recipe.data_mib, clock=_seconds(settings.built)
            )
            arriving.replace(target)
        finally:
            arriving.unlink(missing_ok=True)
    return settings


def _contents(base: Path, initramfs: Path, recipe: Recipe) -> Contents:
    words = " ".join((*_KERNEL_WORDS, *recipe.kernel_words))
    menu = files("usbwatch.stick").joinpath("grub.cfg").read_text("utf-8").replace("@WORDS@", words)
    page = files("usbwatch.stick").joinpath("READ-ME.txt").read_text("utf-8")
    return Contents(
        system={
            "EFI/BOOT/BOOTX64.EFI": base / "shim",
            "EFI/BOOT/grubx64.efi": base / "grub",
            "EFI/debian/grub.cfg": menu.encode(),
            "usbwatch/vmlinuz": base / "vmlinuz",
            "usbwatch/initramfs": initramfs,
        },
        data={
            "READ-ME.txt": page.replace("\n", "\r\n").encode("ascii"),
            "LICENCES.txt": base / "LICENCES.txt",
        },
        folders=("captures",),
    )


def _seconds(built: str) -> int:
    return int(datetime.datetime.fromisoformat(built).timestamp())


def _utc(seconds: int) -> str:
    return datetime.datetime.fromtimestamp(seconds, datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _added(scratch: Path, recipe: Recipe, base: Path, facts: dict[str, str]) -> tuple[bytes, Settings]:
    """The archive of what changes with usbwatch and the recipe, and the settings in it."""
    from usbwatch.profile import shipped

    tree = scratch / "added"
    own = tree / "opt" / "usbwatch"
    root.add_usbwatch(own, {kind: shipped(kind) for kind in ("profiles", "captures")})
    newest = max(int(facts["newest"]), root.newest_time([own]))
    stick = tree / "opt" / "stick"
    (stick / "profiles").mkdir(parents=True)
    for name, text in recipe.profiles.items():
        (stick / "profiles" / name).write_text(text, "utf-8")
    if recipe.experience is not None:
        (stick / "experience.json").write_text(recipe.experience, "utf-8")
    settings = Settings(
        built=_utc(int(os.environ.get("SOURCE_DATE_EPOCH") or newest)),
        usbwatch=package.__version__,
        kernel=facts["kernel"],
        data_partition=DATA_GUID,
        profiles="/opt/stick/profiles",
        experience=None if recipe.experience is None else "/opt/stick/experience.json",
        money=recipe.money,
    )
    (stick / "settings.json").write_text(to_json(settings), "utf-8")
    root.add_init(tree)
    _compile(own, base, scratch / "python")
    root.clamp_times(tree, _seconds(settings.built))
    return root.packed(tree), settings


def _compile(own: Path, base: Path, python: Path) -> None:
    """Compile usbwatch with the Python of the packages, laid out once more for that."""
    shutil.unpack_archive(base / "python.tar", python, "tar", filter="fully_trusted")
    here = python / "opt" / "usbwatch"
    here.parent.mkdir(parents=True, exist_ok=True)
    own.rename(here)
    libraries.compile_all(python, [here])
    here.rename(own)


def _base(recipe: Recipe, cache: Path, tell: Tell) -> Path:
    """The folder of what does not change with usbwatch, made when it is not in the cache."""
    tell("asking the package lists what is needed")
    kernel = tuple(one for one in needed(_KERNEL) if one.name.startswith("linux-image-") and one.name != _KERNEL)
    boot = needed(*_BOOT, dependencies=False)
    system = needed(*_PROGRAMS, *recipe.further)
    needs, pins = libraries.requirements(), libraries.pinned()
    made = cache / "made" / _key([*kernel, *boot, *system], [*needs, "", *pins])
    if (made / "facts.json").is_file():
        return made
    tell(f"fetching {len(kernel) + len(boot) + len(system)} packages, as far as they are not here")
    packages = fetched({*kernel, *boot, *system}, cache / "packages")
    (cache / "made").mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=disk_for_work(), prefix="usbwatch-stick-") as scratch:
        result = _make(Path(scratch), packages, (kernel, boot, system), (needs, pins), cache, tell)
        arriving = Path(tempfile.mkdtemp(dir=cache / "made"))
        shutil.copytree(result, arriving, dirs_exist_ok=True)
    try:
        arriving.rename(made)
    except OSError:  # another run was quicker
        shutil.rmtree(arriving)
    return made


def _key(packages: list[Package], texts: list[str]) -> str:
    recipe = [
        files("usbwatch.stick").joinpath(f"{name}.py").read_bytes()
        for name in ("building", "drivers", "libraries", "licences", "packages", "root")
    ]
    recipe += [repr(sorted(packages)).encode(), "\n".join(texts).encode()]
    return hashlib.sha256(b"\0".join(recipe)).hexdigest()[:24]


def _make(
    scratch: Path,
    packages: dict[str, Path],
    groups: tuple[tuple[Package, ...], ...],
    python: tuple[list[str], list[str]],
    cache: Path,
    tell: Tell,
) -> Path:
    """Unpack, choose, compile and pack: the folder with all that an image is put together of."""
    kernel, boot, system = groups
    result, parts, tree = scratch / "result", scratch / "parts", scratch / "root"
    result.mkdir()
    tell("unpacking them")
    for one in (*kernel, *boot):
        unpacked(packages[one.name], parts)
    newest = root.newest_time([parts])
    root.skeleton(tree)
    for one in system:
        unpacked(packages[one.name], tree)
    named = [(one, licences.of_package(parts if one in kernel + boot else tree, one)) for one in sorted({*kernel, *boot, *system})]
    root.prune(tree)
    tell("fetching Python libraries, as far as they are not here")
    interpreter = libraries.python_in(tree)
    version = interpreter.name.removeprefix("python")
    wheels = libraries.fetched_wheels(version, *python, cache / "wheels")
    (result / "LICENCES.txt").write_text(
        licences.licences_text(named, map(licences.of_wheel, wheels)), "utf-8", newline=""
    )
    libraries.without_tests(tree / "usr" / "lib" / interpreter.name)
    run_tar(tree, result / "python.tar")
    libraries.lay_out(wheels, tree / "opt" / "packages")
    libraries.without_tests(tree / "opt" / "packages")
    tell("choosing drivers")
    release = drivers.add_drivers(parts, tree)
    tell("compiling Python")
    libraries.compile_all(tree, (tree / "usr" / "lib" / interpreter.name, tree / "opt" / "packages"))
    root.add_busybox(tree)
    root.clamp_times(tree, newest)
    tell("packing the system")
    (result / "initramfs").write_bytes(root.packed(tree, level=12))
    for name, place in _boot_files(parts, release).items():
        shutil.copyfile(place, result / name)
    (result / "facts.json").write_text(json.dumps({"kernel": release, "newest": str(newest)}))
    return result


def run_tar(tree: Path, target: Path) -> None:
    """Keep the Python of a root, with the libraries that it loads, as an archive."""
    from usbwatch.stick.running import run

    kept = ["usr/lib", "usr/lib64", "usr/bin", "lib", "lib64", "bin"]
    run("tar", "-c", "-f", target, "-C", tree, *kept)


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

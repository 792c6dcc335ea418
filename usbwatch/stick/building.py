"""One image from beginning to end: what does not change with usbwatch, which is kept, and what is added each time."""

from __future__ import annotations

import datetime as dt
import json
import os
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path

import usbwatch as package
from usbwatch.errors import CannotBuild
from usbwatch.stick import libraries, root
from usbwatch.stick.base import Tell, made_base
from usbwatch.stick.image import DATA_GUID, Contents, assembled
from usbwatch.stick.running import check_host, disk_for_work, run
from usbwatch.stick.settings import Settings, to_json

__all__ = ["Recipe", "build_image", "cache_folder"]

_KERNEL_WORDS = (
    "console=tty0",
    "quiet",
    "loglevel=3",
    "fbcon=font:TER16x32",  # large type, from the kernel itself
    "noresume",  # no image of a sleeping system on the unit's disk is looked for
    "erst_disable",  # should the kernel fail, its last words are not written into the unit's firmware
)


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
    _told_time()
    try:
        return _built(target, recipe, cache or cache_folder(), tell)
    except OSError as error:
        where = f" at {error.filename}" if error.filename else ""
        if isinstance(error, PermissionError):
            problem = f"files may not be written{where}"
            raise CannotBuild(problem, "set XDG_CACHE_HOME to a folder of yours, or mend its rights") from error
        remedy = "it needs 2 GB where temporary files go, and 500 MB in your cache folder and beside the image"
        raise CannotBuild(f"files cannot be written{where} ({error.strerror or error})", remedy) from error


def _built(target: Path, recipe: Recipe, cache: Path, tell: Tell) -> Settings:
    base = made_base(recipe.further, cache, tell)
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
        contents = _contents(base, initramfs, recipe)
        arriving = target.with_name(f".{target.name}.part")
        try:
            assembled(arriving, contents, data_mib=recipe.data_mib, clock=_seconds(settings.built))
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
    return int(dt.datetime.fromisoformat(built).timestamp())


def _utc(seconds: int) -> str:
    return dt.datetime.fromtimestamp(seconds, dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


_FIRST_OF_FAT = 315_532_800
"""1980-01-01: FAT has no earlier time."""


def _told_time() -> int:
    """What ``SOURCE_DATE_EPOCH`` says (reproducible-builds.org), 0 where it is not set."""
    told = os.environ.get("SOURCE_DATE_EPOCH", "")
    if told and not (told.isdecimal() and _FIRST_OF_FAT <= int(told) < 1 << 32):
        remedy = "give it seconds since 1970, from 1980 on, or unset it"
        raise CannotBuild(f"SOURCE_DATE_EPOCH is {told[:40]}", remedy)
    return int(told or 0)


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
        built=_utc(_told_time() or newest),
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
    python.mkdir()
    run("tar", "-x", "-f", base / "python.tar", "-C", python)
    here = python / "opt" / "usbwatch"
    here.parent.mkdir(parents=True, exist_ok=True)
    own.rename(here)
    libraries.compile_all(python, [here])
    here.rename(own)

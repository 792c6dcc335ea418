"""Profiles put into the user's own library, whole or not at all.

The name of an installed file is made of the profile's checked id, never of the
name that its source had. Nothing in a profile is code: what is installed is
text that was read, checked and found sound.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import Enum
from hashlib import sha256
from pathlib import Path

from usbwatch.capture.opening import NO_TRANSLATION
from usbwatch.errors import BadProfile, UnwritableOutput
from usbwatch.model import Profile
from usbwatch.profile.faults import shown_path
from usbwatch.profile.library import users_folder
from usbwatch.profile.reading import LARGEST_FILE, load, parse, text_in
from usbwatch.profile.sealing import digest_of, sealed

__all__ = ["Installed", "Outcome", "files_in", "install"]

Write = Callable[[str, str], None]
"""Writes a text to a path in one step, over what is there; ``UnwritableOutput`` when that cannot be."""


class Outcome(Enum):
    """What became of a file that was to be installed."""

    ADDED = "added"
    REPLACED = "replaced"
    SAME = "there already"


@dataclass(frozen=True, slots=True, kw_only=True)
class Installed:
    """One profile that is now in the library."""

    profile: Profile
    outcome: Outcome
    path: str
    """The file in the library."""
    backup: str = ""
    """The copy of what was replaced."""
    was_edited: bool = False
    """Its digest was of an earlier content; the installed file has a new one."""


def files_in(folder: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The profile files in a folder, and what in it looks like one and is passed over: links, and no plain files.

    Raises ``BadProfile`` when the folder cannot be listed.
    """
    try:
        entries = sorted(Path(folder).iterdir())
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise BadProfile(shown_path(folder), (("", f"this folder cannot be listed: {reason}"),)) from error
    named = [one for one in entries if one.suffix == ".toml" and not one.name.startswith(".")]
    plain = [one for one in named if not one.is_symlink() and one.is_file()]
    return tuple(map(str, plain)), tuple(str(one) for one in named if one not in plain)


def install(path: str, write: Write, *, replace: bool = False) -> Installed:
    """Put the profile in a file into the user's library.

    Raises ``BadProfile`` for a file that is no sound profile, or whose id
    another profile of the library has when ``replace`` is not given, and
    ``UnwritableOutput``; the library is then as it was, but for copies of what
    was to be replaced (and for a second file with the id, where that could not
    be taken away: the error says so).
    """
    text = text_in(path)
    profile = parse(text, path)
    final = sealed(text)
    if len(final.encode("utf-8")) > LARGEST_FILE:
        raise BadProfile(shown_path(path), (("", f"with its digest it is larger than {LARGEST_FILE} bytes"),))
    folder = _made(users_folder())
    target = folder / _file_name(profile.id)
    there = tuple(_with_id(profile.id, folder, target))
    if any(_same(one, final) for one in there):
        return Installed(profile=profile, outcome=Outcome.SAME, path=str(there[0]))
    if there and not replace:
        raise BadProfile(shown_path(path), (("id", _taken(profile, there[0])),))
    backup = [_kept(one) for one in there]
    write(str(target), final)
    for one in there:
        if one != target:
            _removed(one)
    outcome = Outcome.REPLACED if there else Outcome.ADDED
    return Installed(
        profile=profile, outcome=outcome, path=str(target), backup=", ".join(backup), was_edited=profile.edited
    )


def _removed(path: Path) -> None:
    """Take a replaced file of another name away: two files with one id would both be told as faulty."""
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        remedy = "remove it by hand: the new profile and this one have the same id"
        raise UnwritableOutput(str(path), f"cannot be removed ({error.strerror})", remedy) from error


def _taken(profile: Profile, there: Path) -> str:
    return (
        f"your library has another profile in the place of {profile.id}: {shown_path(str(there))}; compare the two, and"
        " give --replace to put this one in its place (a copy of the old one is kept)"
    )


_RESERVED = frozenset(
    {"aux", "con", "nul", "prn", *(f"{port}{digit}" for port in ("com", "lpt") for digit in range(10))}
)
"""Names that Windows gives to devices (its documentation, "Naming Files")."""


def _file_name(id_: str) -> str:
    return f"{id_}-profile.toml" if id_ in _RESERVED else f"{id_}.toml"


def _made(folder: Path) -> Path:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return folder.resolve()
    except (OSError, ValueError, RuntimeError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        remedy = "mend that, or name another folder with USBWATCH_PROFILES"
        raise UnwritableOutput(str(folder), f"the folder of your profiles cannot be made ({reason})", remedy) from error


def _with_id(id_: str, folder: Path, target: Path) -> Iterator[Path]:
    """Files of the library that have an id, and whatever is in the way of the new file."""
    if os.path.lexists(target):
        if target.is_symlink() or not target.is_file():
            raise UnwritableOutput(str(target), "is there and is no plain file", "look at it and move it away")
        yield target
    for one in sorted(folder.iterdir()):
        if one.suffix == ".toml" and not one.name.startswith(".") and one != target and _id_in(one) == id_:
            yield one


def _id_in(path: Path) -> str:
    try:
        return load(str(path)).id
    except BadProfile:
        return ""


def _same(path: Path, final: str) -> bool:
    """Whether a file of the library says the same, digest left aside."""
    try:
        return digest_of(_sound_text(path)) == digest_of(final)
    except (BadProfile, ValueError):
        return False


def _sound_text(path: Path) -> str:
    """The text of a file of the library once it is known to be sound."""
    text = text_in(str(path))
    parse(text, str(path))
    return text


def _kept(path: Path) -> str:
    """A copy of a file that is about to be replaced, byte by byte, under a name that its content gives.

    Raises ``UnwritableOutput``. A link in the place of the copy is not followed.
    """
    try:
        content = path.read_bytes()
        copy = path.with_name(f"{path.stem}.{sha256(content).hexdigest()[:_MARK]}.bak")
        if not (copy.is_file() and not copy.is_symlink() and copy.read_bytes() == content):
            with os.fdopen(os.open(copy, os.O_WRONLY | os.O_CREAT | os.O_EXCL | NO_TRANSLATION, 0o666), "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
    except OSError as error:
        remedy = "nothing was replaced; mend that, or move the old one away"
        raise UnwritableOutput(str(path), f"cannot be copied ({error.strerror})", remedy) from error
    return str(copy)


_MARK = 12
"""Digits of the digest in the name of a copy."""

"""Profile files: from bytes to a checked ``Profile``, or to all that is wrong with them.

A good file takes the fast path: TOML, one conversion, our own cross checks.
Only when something is wrong is the file gone through for every misfit, each
with its line. A profile is written by hand and shared between strangers: its
faults are told kindly, and nothing in it is trusted.
"""

from __future__ import annotations

import os
import re
import stat
import tomllib
from dataclasses import replace
from functools import lru_cache
from itertools import islice

from usbwatch.errors import BadProfile
from usbwatch.model import Profile
from usbwatch.profile.crosschecks import crosschecks
from usbwatch.profile.digest import digest
from usbwatch.profile.exporting import FORMAT, PROFILE_SCHEMA
from usbwatch.profile.faults import SEARCHED, Fault, one_line, pairs, quoted, shown_path
from usbwatch.profile.lines import Lines
from usbwatch.profile.plain import plain

__all__ = ["LARGEST_FILE", "LONGEST_LINE", "load", "parse", "text_in"]

LARGEST_FILE = 1_000_000
"""Bytes. A profile of a hundred devices has about 20 000."""
LONGEST_LINE = 2_000
"""Characters. Long text can be wrapped with a backslash in triple quotes."""
_LARGEST_KEPT = 100_000
"""Characters. More is read anew each time it is asked for, so that what is kept stays within bounds."""
MOST_DOTS = 100
"""Dots in one line. Reading a dotted key costs the square of its parts."""

_TOML_LINE = re.compile(r" \(at line (\d+), column \d+\)\Z")
_COMMA = re.compile(r"=\s*\d+,\d")
_TOML_END = " (at end of document)"


def load(path: str) -> Profile:
    """The profile in a file; raises ``BadProfile`` with all its faults."""
    return parse(text_in(path), path)


def text_in(path: str) -> str:
    """What is in a profile file, as text; raises ``BadProfile`` when it is none of bearable size."""
    return _decoded(_bytes(path), path)


def parse(text: str, path: str) -> Profile:
    """The profile that a TOML text describes; raises ``BadProfile`` with all its faults.

    ``path`` is the name under which faults are told, and the profile's ``path``.
    """
    return (_kept if len(text) <= _LARGEST_KEPT else _parsed)(text, path)


def _parsed(text: str, path: str) -> Profile:
    text = text.removeprefix("\ufeff")
    document, oddities = plain(_document(text, path))
    _refuse_other_formats(document, text, path)
    profile, misfitting = _converted(document, path)
    odd = {fault.place for fault in oddities}
    others = (*misfitting, *islice(crosschecks(document), SEARCHED))
    faults = (*oddities, *(fault for fault in others if fault.place not in odd))
    if faults or profile is None:
        raise BadProfile(shown_path(path), pairs(faults, Lines(text).of))
    return replace(profile, edited=True) if profile.digest and profile.digest != digest(document) else profile


_kept = lru_cache(maxsize=64)(_parsed)
"""A profile is a value, and many captures of a run are compared with the same one: it is worked out once."""


def _bad(path: str, problem: str, place: str = "") -> BadProfile:
    return BadProfile(shown_path(path), ((place, problem),))


def _bytes(path: str) -> bytes:
    """What is in the file, as long as it is a plain file of bearable size."""
    try:
        mode = os.stat(path).st_mode  # noqa: PTH116 - a path here is text, and pathlib cannot hold every one
        if stat.S_ISDIR(mode):
            raise _bad(path, "is a folder; name a .toml file in it")
        if not stat.S_ISREG(mode):
            raise _bad(path, "is not a plain file; copy the profile into one")
        with open(path, "rb") as file:  # noqa: PTH123 - the same
            data = file.read(LARGEST_FILE + 1)
    except FileNotFoundError as error:
        raise _bad(path, "there is no such file; check the name, or see the list of known profiles") from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a name that a file can have"
        raise _bad(path, f"cannot be read: {reason}; check the name and its permissions") from error
    if len(data) > LARGEST_FILE:
        raise _bad(path, f"is larger than {LARGEST_FILE} bytes, too large for a profile; is it the right file?")
    return data


def _decoded(data: bytes, path: str) -> str:
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        problem = f"byte 0x{data[error.start]:02x} is not UTF-8 text; save the file as UTF-8"
        raise _bad(path, problem, f"line {line}") from error


def _document(text: str, path: str) -> dict[str, object]:
    """The TOML document, once no line is too long or has too many dots."""
    if text.lstrip().startswith("{"):
        raise _bad(path, _no_toml(text))
    for number, line in enumerate(text.split("\n"), 1):
        if len(line) > LONGEST_LINE or line.count(".") > MOST_DOTS:
            problem = f"has more than {LONGEST_LINE} characters or {MOST_DOTS} dots; wrap it"
            raise _bad(path, problem, f"line {number}")
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise _bad(path, "is nested too deeply for a profile") from error
    except ValueError as error:
        raise _syntax_fault(str(error), text, path) from error


def _no_toml(text: str) -> str:
    """What a JSON document given as a profile is."""
    if '"usbwatch-capture"' in text:
        return "is a capture, not a profile; draft one from it with: usbwatch profile draft"
    return "is JSON, and a profile is TOML; give a .toml file"


def _syntax_fault(message: str, text: str, path: str) -> BadProfile:
    """A TOML error as our one fault; tomllib writes the place at the end of its message."""
    found = _TOML_LINE.search(message)
    line = int(found.group(1)) if found else text.count("\n") + 1
    place = f"line {line}" if found or message.endswith(_TOML_END) else ""
    problem = message[: found.start()] if found else message.removesuffix(_TOML_END)
    told = text.split("\n")[line - 1 : line]
    hint = "; write a whole number, without a comma" if any(map(_COMMA.search, told)) else ""
    return _bad(path, f"not TOML: {one_line(problem)}{hint}; mend this first, the rest was not checked", place)


def _refuse_other_formats(document: dict[str, object], text: str, path: str) -> None:
    if document.get("format") != FORMAT:
        raise _bad(
            path, f'is no usbwatch profile: it must begin with format = "{FORMAT}" and schema = {PROFILE_SCHEMA}'
        )
    version = document.get("schema")
    if isinstance(version, bool) or version != PROFILE_SCHEMA:
        told = "is missing" if version is None else f"is {quoted(version)}"
        problem = f"the schema version {told}; this usbwatch reads schema = {PROFILE_SCHEMA}"
        raise BadProfile(shown_path(path), pairs([Fault(place=("schema",), problem=problem)], Lines(text).of))


def _converted(document: dict[str, object], path: str) -> tuple[Profile | None, tuple[Fault, ...]]:
    """The profile, or every misfit that stands in its way."""
    import msgspec

    from usbwatch.profile.building import profile_of  # needs msgspec
    from usbwatch.profile.shape import Document  # needs msgspec

    try:
        return profile_of(msgspec.convert(document, Document), path), ()
    except msgspec.ValidationError as error:
        from usbwatch.profile.misfits import misfits  # only a faulty file needs it

        found = tuple(islice(misfits(document), SEARCHED))
        return None, found or (
            Fault(place=(), problem=f"does not have the shape of a profile: {one_line(str(error))}"),
        )

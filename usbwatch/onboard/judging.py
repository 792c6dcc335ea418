"""From captures to what they come to: profile, verdict, suspects, plan; all of it by the rooms below."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from usbwatch.errors import UsbwatchError

if TYPE_CHECKING:
    from usbwatch.model import Capture, Experience, Profile
    from usbwatch.profile import Library
    from usbwatch.show import Localised, Seen

__all__ = ["NOT_KNOWN", "Case", "OldProcessorError", "can_weigh", "chosen", "judged_case", "with_capture"]

_PROCESSOR = Path("/proc/cpuinfo")
_NEEDED = frozenset({"ssse3", "sse4_1", "sse4_2", "popcnt"})
"""Flags of the level x86-64-v2 (System V ABI, AMD64 supplement, 3.1.1) that NumPy's packages are made for."""

NOT_KNOWN = (
    "This model is not known to this stick: it is compared by function with a generic laptop, and what cannot be known "
    "of it is not called missing."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """All that was seen of the unit and done to it, as far as this stick knows."""

    seen: tuple[Seen, ...] = ()
    """Oldest first; the last is the latest capture."""
    names: tuple[str, ...] = ()
    """Of each, the key under which it is saved, or its file name on the stick."""
    picked: str = ""
    """Id of the profile that a person picked."""
    label: str = ""
    notices: tuple[str, ...] = ()
    """What is to be known of how it was judged."""
    localised: Localised | None = field(default=None)
    """What all of it comes to; None before it was judged."""


class OldProcessorError(UsbwatchError):
    """The unit's processor lacks what the weighing needs; the program would end without a word."""

    def __str__(self) -> str:
        return "this unit's processor is older than what the weighing is made for (x86-64-v2, of 2009 and later)."


def can_weigh(cpuinfo: Path = _PROCESSOR) -> bool:
    """Whether suspects can be weighed on this processor: on one that is too old NumPy would end the program."""
    try:
        told = cpuinfo.read_text(encoding="ascii", errors="replace")
    except OSError:
        return True
    flags = next((set(row.partition(":")[2].split()) for row in told.splitlines() if row.startswith("flags")), None)
    return flags is None or flags >= _NEEDED


def chosen(capture: Capture, picked: str, library: Library) -> tuple[Profile, tuple[str, ...]]:
    """The profile that was picked, or that fits what firmware calls the unit, or the generic one; and what to say."""
    from usbwatch import profile as profiles
    from usbwatch.cli.choosing import GENERIC
    from usbwatch.show.words import counted

    broken = [f"{counted(len(library.broken), 'profile')} on this stick could not be read."] if library.broken else []
    by_id = {one.id: one for one in library.profiles}
    if picked in by_id:
        return by_id[picked], tuple(broken)
    fits = profiles.fitting(capture.unit, library.profiles)
    if not fits:
        return by_id[GENERIC], (NOT_KNOWN, *broken)
    equal = [one.name for one in fits if len(one.match.strings) == len(fits[0].match.strings)]
    several = [f"Other profiles fit this unit as well as {equal[0]}; press p to pick one."] if len(equal) > 1 else []
    return fits[0], (*several, *broken)


def with_capture(case: Case, seen: Seen, name: str) -> Case:
    """The case with one look more; what a hand proved stays proven until something is done to the unit."""
    if case.seen and not seen.steps:
        before = case.seen[-1].capture
        kept = (*before.observations, *(one for one in seen.capture.observations if one not in before.observations))
        seen = replace(seen, capture=replace(seen.capture, observations=kept))
    return replace(case, seen=(*case.seen, seen), names=(*case.names, name), localised=None)


def judged_case(case: Case, experience_path: str | None) -> Case:
    """The case with what it comes to."""
    from usbwatch import profile as profiles
    from usbwatch.cli.weighing import weighed

    profile, notices = chosen(case.seen[-1].capture, case.picked, profiles.library())
    experience, lacking = _experience(experience_path, profile)
    known = tuple(_of_profile(one, profile) for one in case.seen)
    localised, _ = weighed(known, profile, insisted=bool(case.picked), experience=experience)
    return replace(case, notices=(*notices, *lacking), localised=localised)


def _of_profile(seen: Seen, profile: Profile) -> Seen:
    """The look without steps and answers that this profile knows nothing of, as after another one was picked."""
    from usbwatch.plan import questions

    ids = {part.id for part in profile.parts} | {device.id for device in profile.devices}
    asked = questions(profile)
    return replace(
        seen,
        steps=tuple(step for step in seen.steps if not step.of or step.of in ids),
        answers=tuple(answer for answer in seen.answers if answer.check in asked),
        findings=None,
    )


def _experience(path: str | None, profile: Profile) -> tuple[Experience | None, tuple[str, ...]]:
    from usbwatch.stick.experience import read_experience

    if path is None:
        return None, ()
    try:
        return read_experience(path, profile.id), ()
    except UsbwatchError:
        return None, ("The shop's closed cases on this stick could not be read, and are left out.",)

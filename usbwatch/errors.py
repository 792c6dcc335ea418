"""The errors of usbwatch, told apart by whose fault they are.

Each carries its facts as attributes and builds one sentence: what is wrong,
where, and what to do. ``cli`` prints that sentence and exits with ``exit_code``.
No foreign text in it can begin a line of its own: ``str()`` makes each one safe.
"""

from __future__ import annotations

from usbwatch.safe import safe

__all__ = [
    "MORE_FAULTS",
    "AlteredCapture",
    "BadArchive",
    "BadBook",
    "BadCapture",
    "BadEntry",
    "BadImage",
    "BadLog",
    "BadNotes",
    "BadProfile",
    "BadReport",
    "BadSettings",
    "BadSupposition",
    "BadTree",
    "CannotBuild",
    "CannotListen",
    "CannotWriteStick",
    "NoLibrary",
    "NoProfile",
    "NoUnit",
    "Refused",
    "TooManyLooks",
    "UnwritableOutput",
    "UsbwatchError",
    "WorkerLost",
]

EXIT_BAD_INPUT = 3
_LONGEST = 1000
"""Characters of one path or problem that are told."""

MORE_FAULTS = "there are more faults after these; mend these first"
"""The last word of a list of faults that was cut; not a fault itself."""


class UsbwatchError(Exception):
    """Anything a user can act on; ``str()`` is one clear sentence."""

    exit_code = EXIT_BAD_INPUT


class _FileError(UsbwatchError):
    """A file that is wrong, what is wrong with it, and what to do."""

    noun = "file"

    def __init__(self, path: str, problem: str, remedy: str = "") -> None:
        super().__init__(path, problem, remedy)
        self.path = path
        self.problem = problem
        self.remedy = remedy

    def __str__(self) -> str:
        sentence = f"{self.noun} {safe(self.path, _LONGEST)}: {safe(self.problem, _LONGEST)}"
        return f"{sentence}; {safe(self.remedy, _LONGEST)}." if self.remedy else f"{sentence}."


class BadCapture(_FileError):
    """A capture file that cannot be read as one."""

    noun = "capture"


class AlteredCapture(BadCapture):
    """A capture file whose digest does not fit what it holds."""


class BadReport(_FileError):
    """A file that is no report, or cannot be read as one."""

    noun = "report"


class BadNotes(_FileError):
    """What was noted of a unit on the unit itself, in a file that cannot be read as that."""

    noun = "notes"


class BadSettings(_FileError):
    """A stick's settings that cannot be read as such, or its counts of closed cases."""

    noun = "settings of the stick"


class CannotBuild(UsbwatchError):
    """A stick's image that cannot be built here: why, and what to do."""

    def __init__(self, problem: str, remedy: str) -> None:
        super().__init__(problem, remedy)
        self.problem = problem
        self.remedy = remedy

    def __str__(self) -> str:
        return f"the stick cannot be built: {safe(self.problem, _LONGEST)}; {safe(self.remedy, _LONGEST)}."


class BadImage(_FileError):
    """A file that is no image of a bench stick, or no whole one."""

    noun = "image"


class CannotWriteStick(_FileError):
    """A device that is not written to, or that could not be written: why, and what to do."""

    noun = "device"


class BadLog(_FileError):
    """A saved kernel log (``--log``) that cannot be read."""

    noun = "kernel log"


class BadTree(_FileError):
    """A copied tree (``--root``) that cannot be read."""

    noun = "tree"


class UnwritableOutput(_FileError):
    """A file that could not be written; what was there before is untouched."""

    noun = "output"


class CannotListen(UsbwatchError):
    """An address or port at which this computer cannot listen."""

    def __init__(self, address: str, port: int, why: str) -> None:
        super().__init__(address, port, why)
        self.address, self.port, self.why = address, port, why

    def __str__(self) -> str:
        return (
            f"cannot listen at {safe(self.address)}, port {self.port} ({safe(self.why)}); "
            "give an address of this computer with --address, and a free port with --port."
        )


class BadBook(_FileError):
    """A casebook that cannot be opened, read or written; what was recorded in it before is untouched."""

    noun = "casebook"


class BadArchive(_FileError):
    """An archive of units that cannot be taken in; nothing of it was."""

    noun = "archive"


class BadEntry(UsbwatchError):
    """An entry of a unit's history that is not what it should be; ``entry`` is its id, "" where that is not known."""

    def __init__(self, entry: str, problem: str) -> None:
        super().__init__(entry, problem)
        self.entry = entry
        self.problem = problem

    def __str__(self) -> str:
        name = f"entry {safe(self.entry, _LONGEST)}" if self.entry else "an entry"
        return f"{name} {safe(self.problem, _LONGEST)}."


class NoUnit(UsbwatchError):
    """No unit of the casebook, or several, are called so."""

    def __init__(self, asked: str, near: tuple[str, ...] = ()) -> None:
        super().__init__(asked, near)
        self.asked = asked
        self.near = near

    def __str__(self) -> str:
        asked = safe(self.asked, _LONGEST)
        if self.near:
            return f"no unit of the casebook is called {asked}; did you mean {', '.join(safe(n) for n in self.near)}?"
        return f"no unit of the casebook is called {asked}; usbwatch unit list shows those on the bench."


class Refused(UsbwatchError):
    """Something that cannot be recorded of a unit as it stands: why, and what to do."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(what, remedy)
        self.what = what
        self.remedy = remedy

    def __str__(self) -> str:
        return f"{safe(self.what, _LONGEST)}; {safe(self.remedy, _LONGEST)}."


class BadProfile(UsbwatchError):
    """A profile with faults: all of them, each with its place.

    ``faults`` are pairs ``(place, problem)``; a place is ``line 12,
    device.keyboard.needs[0]`` or as much of that as is known.
    """

    def __init__(self, path: str, faults: tuple[tuple[str, str], ...]) -> None:
        super().__init__(path, faults)
        self.path = path
        self.faults = faults

    def __str__(self) -> str:
        count = sum(problem != MORE_FAULTS for _, problem in self.faults)
        head = f"profile {safe(self.path, _LONGEST)}: {count} {'fault' if count == 1 else 'faults'}:"
        told = (f"{place}: {problem}" if place else problem for place, problem in self.faults)
        return "\n".join([head, *(f"  {safe(one, 2 * _LONGEST)}" for one in told)])


class NoProfile(UsbwatchError):
    """No profile fits, or none has the name that was asked for."""

    def __init__(self, asked: str, known: tuple[str, ...]) -> None:
        super().__init__(asked, known)
        self.asked = asked
        self.known = known

    def __str__(self) -> str:
        return (
            f"no profile named {safe(self.asked, _LONGEST)}; known profiles: {', '.join(self.known)}; "
            "name one of these or give a .toml file."
        )


class NoLibrary(UsbwatchError):
    """A Python package that is needed for what was asked is not installed."""

    def __init__(self, package: str, extra: str, needed_by: str = "a capture through libusb") -> None:
        super().__init__(package, extra, needed_by)
        self.package = package
        self.extra = extra
        self.needed_by = needed_by

    def __str__(self) -> str:
        return (
            f"the Python package {self.package} is not installed, and {self.needed_by} needs it; "
            f"install it with: pip install '{self.extra}'."
        )


class NoSysfs(UsbwatchError):
    """A system without sysfs, which a live watch listens to."""

    def __str__(self) -> str:
        return (
            "this system has no sysfs, and what comes and goes is told there alone; "
            "start Linux on the unit and run usbwatch watch there."
        )


class TooManyLooks(UsbwatchError, ValueError):
    """More captures of one unit than can be weighed together."""

    def __init__(self, given: int, most: int) -> None:
        super().__init__(
            f"{given} captures that differ are too many to be weighed together; give at most {most}, "
            "such as the first and the latest ones."
        )


class WorkerLost(UsbwatchError):
    """A process that worked on many files for this one was ended from outside; what came before is written."""

    def __init__(self, done: int, of: int) -> None:
        super().__init__(done, of)
        self.done = done
        self.of = of

    def __str__(self) -> str:
        return (
            f"a process of this run was ended from outside (killed, or memory ran out) after {self.done} of {self.of} "
            f"files; what was written of those stands; run it again for the others."
        )


class BadSupposition(UsbwatchError, ValueError):
    """A supposition that cannot be made of this unit."""

    def __init__(self, said: str, problem: str, remedy: str) -> None:
        super().__init__(said, problem, remedy)
        self.said = said
        self.problem = problem
        self.remedy = remedy

    def __str__(self) -> str:
        said, problem, remedy = (safe(one, _LONGEST) for one in (self.said, self.problem, self.remedy))
        return f'supposition "{said}": {problem}; {remedy}.'

"""What ``usbwatch stick`` shows: what it built, and what would be lost on a device before anything is written."""

from __future__ import annotations

import shlex
from collections.abc import Iterable

from usbwatch.show.lines import BLANK, Line, Style, line
from usbwatch.show.safe import safe
from usbwatch.stick.devices import Part, Target
from usbwatch.stick.settings import Settings

__all__ = ["built_view", "next_steps", "target_view", "written_view"]

_COLUMN = 14

_NEXT = (
    "Plug the stick into the unit while that is off; switch on, and choose the stick in the firmware's boot menu.",
    "Press nothing: the answer comes to the screen, and the capture to the stick.",
    "Back here: usbwatch unit import FOLDER-OF-THE-STICK.",
)


def built_view(image: str, size: int, settings: Settings, facts: Iterable[tuple[str, str]]) -> list[Line]:
    """The image, what it is made of, and what goes along."""
    return [
        line("image built: ", (safe(image), Style.STRONG), f", {_megabytes(size)}", hang=2),
        _row("usbwatch", settings.usbwatch),
        _row("kernel", settings.kernel),
        *(_row(name, value) for name, value in facts),
    ]


def _row(name: str, value: str) -> Line:
    return line(f"  {name.ljust(_COLUMN)}", safe(value, 400), hang=_COLUMN + 2)


def written_view(target: Target, digest: str) -> list[Line]:
    """That a stick is ready, and what to do with it."""
    return [
        line("stick written and read back: ", (safe(target.path), Style.STRONG), hang=2),
        _row("SHA-256", digest),
        *next_steps(),
    ]


def next_steps(image: str = "", at_hand: Iterable[tuple[str, str, int]] = ()) -> list[Line]:
    """What to do with a stick, from writing it on where there is only an image yet; ``at_hand``: sticks plugged in."""
    writing = (f"Write it to a stick: {_command(image)} ({_plugged_in(at_hand)})",) if image else ()
    return [
        BLANK,
        *(line(f"{number}. ", step, hang=3) for number, step in enumerate((*writing, *_NEXT), start=1)),
        BLANK,
        line(("Note: ", Style.CAUTION), "a capture holds serial numbers of the unit; keep the stick safe.", hang=6),
    ]


def _command(image: str) -> str:
    return f'sudo "$(command -v usbwatch)" stick {safe(shlex.quote(image))} --write /dev/sdX'


def _plugged_in(at_hand: Iterable[tuple[str, str, int]]) -> str:
    sticks = [
        f"{safe(path)} is {safe(model, 60) or 'of no known model'}, {_megabytes(size)}" for path, model, size in at_hand
    ]
    return f"plugged in now: {'; '.join(sticks)}" if sticks else "no stick is plugged in now"


def target_view(target: Target) -> list[Line]:
    """A device, and all that is on it now."""
    what = f"stands for the file {safe(target.behind)}" if target.behind else safe(target.model) or "of no known model"
    return [
        line(("All that is on this device will be erased: ", Style.CAUTION), (safe(target.path), Style.STRONG), hang=2),
        line(f"  {safe(target.name).ljust(_COLUMN)}", f"{what}, {_megabytes(target.size)}", hang=_COLUMN + 2),
        *(line(f"    {safe(one.name).ljust(_COLUMN - 2)}", _part(one), hang=_COLUMN + 4) for one in target.parts),
        *([] if target.parts else [line("    the kernel sees no partitions on it")]),
    ]


def _part(part: Part) -> str:
    label = f'"{safe(part.label, 60)}"' if part.label else "no label"
    return f"{_megabytes(part.size)}, {safe(part.kind, 20) or 'unknown content'}, {label}"


def _megabytes(size: int) -> str:
    """A size as it is printed on sticks: in powers of ten."""
    return f"{size / 1e9:.1f} GB" if size >= 1e9 else f"{-(-size // 1_000_000)} MB"  # noqa: PLR2004

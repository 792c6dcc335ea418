"""The first screen: that usbwatch is at work, and on what. It needs nothing that takes a while to import."""

from __future__ import annotations

from dataclasses import dataclass

from usbwatch.onboard.blocks import Block, page_of
from usbwatch.show.lines import BLANK, Line, Style, line

__all__ = ["STAGES", "Looking", "looking_page", "looking_words"]

STAGES = (
    "Waiting until no more devices come",
    "Reading what firmware and kernel enumerate on every bus",
    "Comparing it with the model's profile, and weighing",
)
"""What is done, in its order."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Looking:
    """How far a look has got."""

    stage: int
    """Which of ``STAGES`` is at work."""
    again: bool = False
    """Whether it is not the first."""


_READ_ONLY = (
    "It reads only: nothing is written to the unit or its disks. Nothing has to be pressed; the answer comes by itself."
)


def looking_page(looking: Looking, width: int, height: int, version: str) -> list[Line]:
    """The page as exactly ``height`` lines."""
    verb = "is looking at this unit again" if looking.again else "is looking at this unit"
    blocks = [
        Block(wordings=((line(("usbwatch", Style.STRONG), f" {verb} ..."),),)),
        Block(wordings=((BLANK,), ()), yields=(1,)),
        Block(wordings=(tuple(_stage_line(at, looking.stage) for at in range(len(STAGES))),)),
        Block(wordings=((BLANK,), ()), yields=(2,)),
        Block(wordings=((line(_READ_ONLY),), ()), yields=(3,)),
    ]
    return page_of(blocks, [line((f"usbwatch {version}", Style.FAINT))], width, height)


def _stage_line(at: int, now: int) -> Line:
    if at < now:
        return line((" √ ", Style.FINE), STAGES[at], hang=3)
    if at == now:
        return line((" > ", Style.CAUTION), (f"{STAGES[at]} ...", Style.STRONG), hang=3)
    return line((f"   {STAGES[at]}", Style.FAINT), hang=3)


def looking_words(looking: Looking, version: str) -> str:
    """The same for a line on which nothing is painted: one sentence for each stage."""
    if looking.stage == 0 and not looking.again:
        return f"usbwatch {version} is looking at this unit. {_READ_ONLY}\n{STAGES[0]} ..."
    return f"{STAGES[looking.stage]} ..."

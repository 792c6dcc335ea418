"""What a watch goes far enough to suggest; a check weighs it, and this says nothing that it would contradict."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from usbwatch.model import Change, Incident
from usbwatch.show.lines import Line, line
from usbwatch.show.live_page import LivePage
from usbwatch.show.ticket import heading
from usbwatch.show.watch_words import by_kind, names_of
from usbwatch.show.words import listed

__all__ = ["alone", "always_stayed", "suggests"]

_OFTEN = 3
"""From this many times on, coming and going is no longer one jolt of the bench."""


def alone(told: Iterable[Incident]) -> dict[str, list[Incident]]:
    """By device, the moments in which it left and nothing else did; ``told`` are of ``moments``."""
    found: dict[str, list[Incident]] = {}
    for one in told:
        if one.change is Change.GONE and len(one.devices) == 1 and not one.head:
            found.setdefault(one.devices[0], []).append(one)
    return found


def always_stayed(alike: Sequence[Incident]) -> tuple[str, ...]:
    """Who needs the device's own link, too, and stayed each time that it left alone."""
    common = set.intersection(*(set(one.stayed_on_link) for one in alike))
    return tuple(one for one in alike[-1].stayed_on_link if one in common)


def suggests(watched: LivePage, told: Sequence[Incident], *, recorded: bool) -> list[Line]:
    """The section of the summary; nothing where the data suggest nothing. ``recorded``: whether a check can follow."""
    said = [*_often(watched, told)]
    if said:
        said[-1] += " Move one link at a time, and mark what you move."
    said += _together(watched, told)
    if not said:
        return []
    said += ["usbwatch check weighs it."] if recorded else []
    return [*heading("What that suggests"), *(line("  ", one, hang=2) for one in said)]


def _often(watched: LivePage, told: Sequence[Incident]) -> Iterator[str]:
    often = [one.device for one in watched.standings if one.times_gone >= _OFTEN]
    if not often:
        return
    singly = {device: alike for device, alike in alone(told).items() if len(alike) >= _OFTEN and alike[-1].own_link}
    others = [one for one in often if one not in singly]
    if others:
        names = listed([names_of((one,), watched.profile) for one in others])
        yield (
            f"{names} came and went {_OFTEN} times or more: a contact that opens and closes is likelier than a dead "
            "part (common practice, no source)."
        )
    yield from (_of_one(device, singly[device], watched) for device in often if device in singly)


def _of_one(device: str, alike: Sequence[Incident], watched: LivePage) -> str:
    """What speaks for and against the link of one that left alone: whoever stayed on it speaks against it."""
    name = names_of((device,), watched.profile)
    link = names_of((alike[-1].own_link,), watched.profile)
    stayed = tuple(dict.fromkeys(other for one in alike for other in one.stayed_on_link))
    if stayed:
        who = names_of(stayed, watched.profile)
        needs = "need" if len(stayed) > 1 else "needs"
        return (
            f"{name} left alone while {who} stayed, which {needs} {link}, too: that link is less likely, "
            f"and {name}'s own plug or branch, or {name} itself, likelier."
        )
    return f"{name} left alone, and nothing that was seen to stay needs {link}: that link is suspect."


def _together(watched: LivePage, told: Sequence[Incident]) -> Iterator[str]:
    together = [one for one in told if one.shared]
    common = set.intersection(*(set(one.shared) for one in together)) if together else set()
    if len(together) > 1 and common:
        ids = by_kind([one for one in together[0].shared if one in common], watched.profile)
        yield (
            f"Each of the {len(together)} times that several left together, all of them needed "
            f"{names_of(ids, watched.profile)}, and nothing that stayed did: look there first."
        )

"""What watching a unit makes of a finding: a device that comes and goes is impaired, one that stayed is so far well.

A departure that a person made on purpose, by reseating a link with power on,
looks like one that a bad contact made: a mark near it is the only sign, and is
told with it.

Without a watch the kernel's log can still show it. A line "USB disconnect" is
written by ``usb_disconnect`` in drivers/usb/core/hub.c, and not only for a lost
contact: a device that does not come back from sleep, or that has other
descriptors after a reset, is disconnected and enumerated anew (from memory). A
sleep, a firmware update or a start of the system explain one or a few such
lines; they do not explain four of them, half a minute apart or less on the
average, at a port that firmware calls hardwired. Fewer remain a reason and no more.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from usbwatch.compare.durations import MARK_NEAR_MS, lasted, lasted_between
from usbwatch.compare.scene import Scene
from usbwatch.model import Episode, ExpectedDevice, Finding, Rung, Symptom, Verdict, Watched

__all__ = ["LONG_ENOUGH_MS", "fault_by_log", "left_words", "with_watch"]

LONG_ENOUGH_MS = 60_000
"""Watching shorter than this says nothing of a device that stayed (elicited, no source)."""

_LEAST_LINES, _LONGEST_US, _SHORTEST_US = 4, 30_000_000, 10_000_000
"""Of the log: departures at the least, their mean distance at the most, and first to last at the least (elicited)."""

_MINUTE_MS = 60_000


def fault_by_log(episode: Episode, device: ExpectedDevice, place: str, scene: Scene) -> bool:
    """Whether departures that the log tells of are no sleep, update or hand, but a device that comes and goes."""
    times = episode.count - episode.doubtful
    lasted_us = episode.last_us - episode.first_us
    often = times >= _LEAST_LINES and lasted_us <= _LONGEST_US * (episode.count - 1)
    return often and lasted_us >= _SHORTEST_US and not device.optional and _wired(place, scene)


def _wired(place: str, scene: Scene) -> bool:
    port = scene.ports.get(place)
    return port is not None and port.facts.get("connect_type") == "hardwired"


def _may_be_pulled(finding: Finding, device: ExpectedDevice, scene: Scene) -> bool:
    """Whether a person takes it out in daily use: an adapter, or what firmware says is in a socket or removable."""
    if device.function == "mains-adapter":
        return True
    places = {*device.locations, *([finding.node.location] if finding.node is not None else [])}
    ports = (scene.ports[place] for place in places if place in scene.ports)
    socket = any(port.facts.get("connect_type") == "hotplug" for port in ports)
    return socket or (finding.node is not None and finding.node.facts.get("removable") == "removable")


def with_watch(
    finding: Finding,
    device: ExpectedDevice,
    watched: Watched | None,
    scene: Scene,
    devices: Mapping[str, ExpectedDevice],
) -> Finding:
    """The same finding, with what the watches of the capture tell of its device; ``devices`` are by id."""
    if watched is None:
        return finding
    finding = replace(finding, watched=watched)
    names = {id_: one.name for id_, one in devices.items()}
    more = tuple(_beside(watched))
    if watched.left or watched.fallbacks:
        pulled = _may_be_pulled(finding, device, scene) or _perhaps_switched(watched, device, devices)
        return _comes_and_goes(finding, device, names, more, excused=pulled)
    if watched.failures and finding.verdict is Verdict.MISSING:
        return _failed(finding, more)
    if watched.with_carrier and finding.verdict is Verdict.PRESENT:
        carrier = names.get(watched.carrier, watched.carrier)
        told = f"{carrier} left {_times(watched.with_carrier)} while it was watched, and took it along: counted there"
        return replace(finding, charged_to=watched.carrier, reasons=(*finding.reasons, told, *more))
    return replace(finding, reasons=(*finding.reasons, *_stayed(finding, watched), *more))


def _perhaps_switched(watched: Watched, device: ExpectedDevice, devices: Mapping[str, ExpectedDevice]) -> bool:
    """Whether it left once, and with nothing that no key or switch turns off, too."""
    others = (devices[one].function for one in watched.together if one in devices)
    once = watched.left == 1 and not watched.fallbacks and device.function in _SWITCHED
    return once and all(one in _SWITCHED for one in others)


def _comes_and_goes(
    finding: Finding, device: ExpectedDevice, names: Mapping[str, str], more: tuple[str, ...], *, excused: bool
) -> Finding:
    watched = finding.watched
    assert watched is not None
    told = (*_left(watched), *_with_whom(watched, names), *_fell_back(watched), *_switched(device), *more)
    if excused or (finding.verdict is Verdict.UNSEEN and finding.node is None):
        return replace(finding, reasons=(*finding.reasons, *told))
    never_back = watched.left == 1 and watched.away_at_end and not watched.fallbacks
    if finding.verdict is Verdict.MISSING and (never_back or device.optional):
        return replace(finding, reasons=(*finding.reasons, *told))
    verdict = Verdict.IMPAIRED if finding.verdict in (Verdict.PRESENT, Verdict.UNSEEN) else finding.verdict
    return replace(
        finding,
        verdict=verdict,
        symptom=Symptom.INTERMITTENT,
        reasons=(*told, *finding.reasons),
        would_tell="",
        by_hand_alone=False,
    )


def _failed(finding: Finding, more: tuple[str, ...]) -> Finding:
    watched = finding.watched
    assert watched is not None
    told = f"attached {_times(watched.failures)} in {lasted(watched.lasted_ms)} of watching, and each time failed"
    reasons = (f"{told} to enumerate", *finding.reasons, *more)
    return replace(finding, verdict=Verdict.IMPAIRED, rung=Rung.ATTACHED, symptom=Symptom.FAILED, reasons=reasons)


# --- In words ------------------------------------------------------------------------------


def left_words(watched: Watched) -> str:
    """How often it left and for how long: "left its place 7 times in 4 min of watching (1.8 a minute), away …"."""
    rate = watched.left * _MINUTE_MS / watched.lasted_ms if watched.lasted_ms >= _MINUTE_MS else 0.0
    often = f" ({rate:.1f} a minute)" if rate >= 0.05 and watched.left > 1 else ""  # noqa: PLR2004 - rounds to 0.1
    what = "its readings stopped" if watched.fell_silent == watched.left else "left its place"
    said = f"{what} {_times(watched.left)} in {lasted(watched.lasted_ms)} of watching{often}"
    if watched.left == 1 and watched.away_at_end:
        return f"{said}, and it had not come back when the watch ended{_marked(watched)}"
    ended = ", and it was away when the watch ended" if watched.away_at_end else ""
    return f"{said}, away {lasted_between(watched.shortest_ms, watched.longest_ms)}{ended}{_marked(watched)}"


def _marked(watched: Watched) -> str:
    """That a person was at work near a departure."""
    if not watched.marked:
        return ""
    of_them = "" if watched.left == 1 else f"{watched.marked} of them "
    near = f"{of_them}within {MARK_NEAR_MS // 1000} s of your marks"
    return f" ({near}; a reseat done on purpose would look the same)"


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _with_whom(watched: Watched, names: Mapping[str, str]) -> Iterator[str]:
    if watched.together:
        yield f"in the same moments as {', '.join(names.get(one, one) for one in watched.together)}"
    if watched.with_carrier:
        carrier = names.get(watched.carrier, watched.carrier)
        yield f"and {_times(watched.with_carrier)} more with {carrier}, counted there"


def _left(watched: Watched) -> Iterator[str]:
    if watched.left:
        yield left_words(watched)


_SWITCHED = frozenset({"bluetooth", "camera", "wlan", "wwan"})
"""Functions of parts that many units have a key, a switch or a shutter for, which takes them off their bus."""


def _switched(device: ExpectedDevice) -> Iterator[str]:
    if device.function in _SWITCHED:
        yield "a key or switch that turns it off would look the same"


def _fell_back(watched: Watched) -> Iterator[str]:
    """That it fell back. A speed is settled when a device is reset after it connects (USB 2.0 section 7.1.7.5)."""
    if watched.fallbacks:
        slowest = f", to {watched.slowest_kbps / 1000:g} Mbit/s at the slowest" if watched.slowest_kbps else ""
        in_time = f" in {lasted(watched.lasted_ms)} of watching"
        yield f"fell back to a lower speed {_times(watched.fallbacks)}{in_time}{slowest}"


def _stayed(finding: Finding, watched: Watched) -> Iterator[str]:
    """That it stayed, where leaving would have shown."""
    silent = not watched.came and not watched.anew and watched.tells and finding.verdict is not Verdict.MISSING
    if silent and watched.lasted_ms >= LONG_ENOUGH_MS:
        yield f"watched for {lasted(watched.lasted_ms)}, and never left"


def _beside(watched: Watched) -> Iterator[str]:
    """What else happened to it, and what may have been missed."""
    if watched.anew:
        yield (
            f"enumerated anew {_times(watched.anew)} with all else on its controller or right after a sleep: "
            "not held against it"
        )
    if watched.came:
        yield f"came {_times(watched.came)} in the course of watching, where nothing had been"
    for count, what in (
        (watched.resets, "the kernel reset it"),
        (watched.over_currents, "its port reported over-current"),
        (watched.unbound, "it lost its driver"),
        (watched.failures, "something attached there failed to enumerate"),
    ):
        if count:
            yield f"{what} {_times(count)} while it was watched"
    if watched.missed and not watched.left:
        yield "the kernel dropped news while it was watched, so that more may have happened"

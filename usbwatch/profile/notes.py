"""What is not wrong with a profile, but makes the answers worse: told when it is validated, never refused."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice

from usbwatch.model import ExpectedDevice, Part, PartKind, Profile, Rung, outward
from usbwatch.profile.faults import MOST, place_text, word
from usbwatch.profile.orders import contrary, reached
from usbwatch.profile.overlaps import claims_of, overlaps

__all__ = ["USUAL_WEIGHTS", "notes"]

USUAL_WEIGHTS = (0.05, 20.0)
"""A weight outside these makes a part so likely, or so unlikely, to be at fault that evidence hardly counts."""

_SHOWN = 4
"""How many parts one note names."""

_Note = tuple[str, str]


def notes(profile: Profile) -> tuple[_Note, ...]:
    """Pairs of place and remark, at most ``MOST``; none for a profile that could hardly be better."""
    found = (
        *_beyond_suspicion(profile),
        *_without_way(profile),
        *_without_carrier(profile),
        *_never_missed(profile),
        *_taken_twice(profile),
        *_contrary_paths(profile),
        *_odd_weights(profile),
        *_times(profile),
        *_prices(profile),
        *_money(profile),
    )
    return tuple(islice(found, MOST))


def _beyond_suspicion(profile: Profile) -> Iterator[_Note]:
    """Parts on which nothing that can be observed depends."""
    named = (*(device.needs for device in profile.devices), *(check.needs for check in profile.checks))
    needed = reached((name for needs in named for name in needs), profile)
    needed |= {device.within for device in profile.devices}
    needed |= {part.within for part in profile.parts if part.id in needed}
    for part in profile.parts:
        if part.id not in needed:
            yield place_text((part.kind.value, part.id)), _NEVER_SUSPECTED


_NEVER_SUSPECTED = (
    "nothing depends on it, so it can never be suspected; name it in the needs of a device or hand check, or leave it"
    " out"
)


def _without_way(profile: Profile) -> Iterator[_Note]:
    """Devices whose needs leave out a link between their subassembly and the processor's."""
    links = [part for part in profile.parts if part.kind is PartKind.LINK]
    inner = {part.id for part in profile.parts if part.kind is PartKind.SUBASSEMBLY} - {link.joins[1] for link in links}
    for device in profile.devices:
        named = reached(device.needs, profile)
        ends = _ends(device, links) & inner
        if ends and not _ends(device, [link for link in links if link.id in named]) & inner:
            remark = (
                f"name no way of links from {word(device.within)} to {_either(ends)}; a link that this device is lost"
                " with must be among its needs"
            )
            yield place_text(("device", device.id, "needs")), remark


def _ends(device: ExpectedDevice, links: list[Part]) -> set[str]:
    """The subassemblies to which these links lead from the device's own."""
    found = {device.within}
    while more := {end for link in links if found & set(link.joins) for end in link.joins} - found:
        found |= more
    return found


def _either(names: set[str]) -> str:
    return " or ".join(word(name) for name in sorted(names))


def _without_carrier(profile: Profile) -> Iterator[_Note]:
    """Devices placed behind another one that their needs do not come to."""
    at = {place: device.id for device in profile.devices for place in device.locations}
    for device in profile.devices:
        behind = [next((at[other] for other in outward(place) if other in at), "") for place in device.locations]
        carriers = set(behind)
        if "" not in carriers and carriers and not carriers & reached((device.id,), profile):
            remark = f"its location lies behind {word(behind[0])}, so it is lost with it; name {word(behind[0])} here"
            yield place_text(("device", device.id, "needs")), remark


def _never_missed(profile: Profile) -> Iterator[_Note]:
    for device in profile.devices:
        if device.reaches is Rung.ABSENT:
            remark = "a healthy one gets no farther than absent, so it can never be missed; name how far it gets"
            yield place_text(("device", device.id, "reaches")), remark


def _taken_twice(profile: Profile) -> Iterator[_Note]:
    lacking = (frozenset(variant.without) for variant in profile.variants)
    for overlap in overlaps(claims_of(profile), lacking):
        yield place_text(("device", overlap.device, overlap.key)), overlap.problem


def _contrary_paths(profile: Profile) -> Iterator[_Note]:
    found = contrary(profile)
    if found:
        device, what = found
        remark = (
            f"{what}; name what both need in one order, from the processor outward (until then the order in which"
            " each is first named stands for all)"
        )
        yield place_text(("device", device, "needs")), remark


def _odd_weights(profile: Profile) -> Iterator[_Note]:
    least, most = USUAL_WEIGHTS
    weights = {(part.kind.value, part.id): part.weight for part in profile.parts}
    weights |= {("device", device.id): device.weight for device in profile.devices}
    for place, weight in weights.items():
        if not least <= weight <= most:
            remark = f"is {weight:g}: {weight:g} times as likely as usual to be at fault; is that meant?"
            yield place_text((*place, "weight")), remark


def _times(profile: Profile) -> Iterator[_Note]:
    """Hand checks in an opened unit that are to take a minute, which is what stands in where none is given."""
    kinds = {part.id: part.kind for part in profile.parts}
    for check in profile.checks:
        caution = check.caution.casefold()
        opened = "disconnect" in caution and "battery" in caution
        inner = bool(check.needs) and all(kinds.get(need) in _INNER for need in check.needs)
        if check.minutes == 1 and (opened or inner):
            why = "the battery has to be disconnected" if opened else f"it looks at {_some(list(check.needs))}"
            remark = f"1 stands here or stands in, and {why}; give the bench time, or this check is proposed too early"
            yield place_text(("check", check.id, "minutes")), remark


_INNER = frozenset({PartKind.LINK, PartKind.SECTION, PartKind.RAIL})


def _prices(profile: Profile) -> Iterator[_Note]:
    if profile.generic:
        return  # it describes no model, so it has no prices
    for kind in (PartKind.SUBASSEMBLY, PartKind.LINK):
        of_kind = [part for part in profile.parts if part.kind is kind]
        for key in ("cost", "minutes"):
            lacking = [part.id for part in of_kind if getattr(part, key) is None]
            if lacking:
                yield kind.value, f"{key} not given for {_some(lacking)}; a usual figure stands in"
    sells_for = profile.money.value_working
    for part in profile.parts:
        if sells_for is not None and part.cost is not None and part.cost > sells_for > 0:
            remark = f"is {part.cost}, more than the working unit sells for ({sells_for}); is that meant?"
            yield place_text((part.kind.value, part.id, "cost")), remark


def _some(names: list[str]) -> str:
    shown = ", ".join(word(name) for name in names[:_SHOWN])
    return shown if len(names) <= _SHOWN else f"{shown} and {len(names) - _SHOWN} more"


def _money(profile: Profile) -> Iterator[_Note]:
    money = profile.money
    if profile.generic:
        return
    if money.hourly_rate is None:
        yield "money", "hourly_rate not given; a usual figure stands in"
    fetched = [value for value in (money.value_as_is, money.value_parts) if value is not None]
    if money.value_working is None or not fetched:
        yield "money", "value_working and value_as_is (or value_parts) are not both given; when to stop is not weighed"
    elif max(fetched) >= money.value_working:
        yield (
            "money",
            f"the unit brings {max(fetched)} unrepaired and {money.value_working} when it works; no repair can pay",
        )

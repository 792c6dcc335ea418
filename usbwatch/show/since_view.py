"""What goes first in the check of a returning unit: what is not as it was when it left.

Parts that are no longer the ones fitted come first, then the wear of the
battery, then what else changed, in short. Each by subassembly, as the unit
comes apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from usbwatch.model import (
    BOARD,
    UNIT,
    DeviceSince,
    Fitted,
    Kind,
    NodeChange,
    Profile,
    SinceBaseline,
    Wear,
    hangs_on,
)
from usbwatch.model.changes import FactChange
from usbwatch.show.diff_view import CARRIERS, CHANGE_LOOKS
from usbwatch.show.harness import stubs
from usbwatch.show.json_values import Json, plain_value
from usbwatch.show.lines import Line, Style, line
from usbwatch.show.safe import safe
from usbwatch.show.ticket import heading, stub_name
from usbwatch.show.words import counted, listed, node_name

__all__ = ["changed_since", "since_sentence", "since_value", "since_view"]

_MARGIN = 20
"""Columns that a sign and the longest word take, with the gap after them."""

_LOOKS = {
    Fitted.ANOTHER: ("≠", "ANOTHER ONE", Style.WRONG),
    Fitted.PERHAPS_ANOTHER: ("≠", "PERHAPS ANOTHER", Style.CAUTION),
    Fitted.GONE: ("✗", "GONE", Style.WRONG),
    Fitted.NEW: ("+", "NEW", Style.STRONG),
    Fitted.SAME: ("✓", "same", Style.FINE),
    Fitted.UNTOLD: ("?", "cannot be told", Style.UNSEEN),
}
"""Sign, word and style of each answer, and the order in which the answers are counted."""

_FIRMWARE = {UNIT: ("", "The unit's own serial number"), BOARD: ("", "Board (as firmware names it)")}
"""What is said of no expected device: in no subassembly, and its name."""

_MOST = 6
"""Changes that are named; the whole of them is in the comparison of the two captures."""

_FACTS = 3

_Homes = dict[str, tuple[str, str]]
"""By expected device: the subassembly's name as every page shows it, and the device's name; as the unit comes apart."""


def since_view(since: SinceBaseline, profile: Profile, when: str = "") -> list[Line]:
    """The block "since the baseline"; ``when`` is the baseline's time as it is to be read, else its day is shown.

    No line of it is fitted to a width by itself: the writers wrap them at any.
    """
    homes = _homes(profile)
    return [
        *heading(_title(since, when)),
        line((since_sentence(since), Style.STRONG), hang=2),
        *_part_lines(since, homes),
        *_wear_lines(since, homes),
        *_other_lines(since, homes),
        *_quiet_lines(since, homes),
    ]


def since_sentence(since: SinceBaseline) -> str:
    """The answers in one sentence: "1 part is another one; 5 are the same, 14 cannot be told."."""
    counts = [(fitted, sum(one.fitted is fitted for one in (*since.unit, *since.devices))) for fitted in _LOOKS]
    changed = [f"{count} {fitted.value}" for fitted, count in counts[:4] if count]
    rest = [f"{count} {fitted.value}" for fitted, count in counts[4:] if count]
    first = ", ".join(changed) if changed else "Nothing shows another part than was fitted"
    return "; ".join(filter(None, (first, ", ".join(rest)))) + "."


def changed_since(since: SinceBaseline, profile: Profile) -> str:
    """Which parts are not as they were fitted, as one phrase: "Battery is another one"; "" for none."""
    names = {device.id: device.name for device in profile.devices} | {id_: name for id_, (_, name) in _FIRMWARE.items()}
    told = [f"{safe(names.get(one.device, one.device), 60)} is {one.fitted.value}" for one in since.not_as_fitted]
    return listed(told)


def since_value(since: SinceBaseline) -> dict[str, Json]:
    """What became of the unit since its baseline, as a part of another document."""
    return {
        "baseline_taken_at": plain_value(since.taken_at),
        "days": since.days,
        "summary": since_sentence(since),
        "not_as_fitted": [plain_value(one.device) for one in since.not_as_fitted],
        "unit": plain_value(since.unit),
        "devices": plain_value(since.devices),
        "wear": [_wear_value(one) for one in since.wear],
        "others": plain_value(since.others),
        "changes": plain_value(since.changes),
    }


def _wear_value(one: Wear) -> Json:
    value = plain_value(one)
    assert isinstance(value, dict)
    return value | {"percent_now": one.percent_now, "percent_then": one.percent_then}


def _homes(profile: Profile) -> _Homes:
    found = [
        (device.id, (stub_name(stub), safe(device.name, 60))) for stub in stubs(profile) for device in stub.devices
    ]
    return _FIRMWARE | dict(found)


def _title(since: SinceBaseline, when: str) -> str:
    day = when or safe(since.taken_at.partition("T")[0], 20)
    ago = f" ({counted(since.days, 'day')})" if since.days is not None and since.days >= 0 else ""
    return f"Since the baseline of {day}{ago}" if day else "Since the baseline, of a day that it does not tell"


# --- Parts that are not the ones fitted ------------------------------------------------------


def _part_lines(since: SinceBaseline, homes: _Homes) -> list[Line]:
    return [one for part in _as_it_comes_apart(since.not_as_fitted, homes) for one in _lines_of(part, homes)]


def _as_it_comes_apart(parts: Sequence[DeviceSince], homes: _Homes) -> list[DeviceSince]:
    order = {device: at for at, device in enumerate(homes)}
    return sorted(parts, key=lambda one: order.get(one.device, len(order)))


def _lines_of(part: DeviceSince, homes: _Homes) -> Iterator[Line]:
    yield _opening(_LOOKS[part.fitted], *homes.get(part.device, ("", safe(part.device, 60))))
    yield from (_fact_line(fact) for fact in part.told_by[:_FACTS])
    told = _WHY[part.fitted].format(safe(part.why)) if part.why else ""
    if told:
        yield line(" " * _MARGIN, told, hang=_MARGIN)


_WHY = {
    Fitted.ANOTHER: "{}",
    Fitted.PERHAPS_ANOTHER: "{}",
    Fitted.GONE: "there then, missing now: {}",
    Fitted.NEW: "missing then, there now: {}",
    Fitted.SAME: "{}",
    Fitted.UNTOLD: "{}",
}


def _opening(look: tuple[str, str, Style], home: str, name: str) -> Line:
    sign, word, style = look
    where = f"{home}  " if home else ""
    return line((f"{sign} {word}".ljust(_MARGIN), style), (where, Style.STRONG), name, hang=_MARGIN)


def _fact_line(fact: FactChange) -> Line:
    before, after = ("nothing" if one is None or one == "" else safe(str(one), 80) for one in (fact.before, fact.after))
    named = (f"{safe(fact.field.removeprefix('facts.'), 60)}: ", Style.FAINT)
    return line(" " * _MARGIN, named, f"{before} → {after}", hang=_MARGIN + 2)


# --- Wear ------------------------------------------------------------------------------------


def _wear_lines(since: SinceBaseline, homes: _Homes) -> list[Line]:
    fitted = {one.device: one.fitted for one in since.devices}
    lines = []
    for one in since.wear:
        home, name = homes.get(one.device, ("", safe(one.device, 60)))
        lines.append(_opening(("·", "wear", Style.STRONG), home, name))
        lines += [line(" " * _MARGIN, told, hang=_MARGIN) for told in _wear_words(one, fitted.get(one.device))]
    return lines


def _wear_words(one: Wear, fitted: Fitted | None) -> Iterator[str]:
    unit = safe(one.unit, 8)
    yield f"full {one.full_now} of {one.design} {unit} ({one.percent_now}%), {_cycles(one.cycles_now)}"
    if one.same is False:
        perhaps = "perhaps " if fitted is Fitted.PERHAPS_ANOTHER else ""
        yield f"nothing to compare it with: {perhaps}not the pack of the baseline"
        return
    condition = "" if one.same else ", if it is still the same pack"
    if one.full_then is not None:
        lost = one.full_then - one.full_now
        changed = "unchanged" if not lost else f"{abs(lost)} {unit} {'less' if lost > 0 else 'more'}"
        then = f"{one.full_then} {unit} ({one.percent_then}%), {_cycles(one.cycles_then)}"
        yield f"then {then}: {changed}{_cycles_since(one)}{condition}"


def _cycles(count: int | None) -> str:
    return "cycle count not available" if count is None else counted(count, "cycle")


def _cycles_since(one: Wear) -> str:
    if one.cycles_now is None or one.cycles_then is None:
        return ""
    days = f" in {counted(one.days, 'day')}" if one.days is not None and one.days > 0 else ""
    more = one.cycles_now - one.cycles_then
    return f", {counted(more, 'cycle') if more else 'no cycle'} more{days}"


# --- What else changed, and what did not --------------------------------------------------------

_TOLD_WITH_UNIT = frozenset({"board_name", "board_vendor", "board_version", "product_serial"})


def _other_lines(since: SinceBaseline, homes: _Homes) -> list[Line]:
    """Strings of firmware and nodes, the first few of each; records that firmware keeps come last."""
    strings = [one for one in since.changes.unit if one.field not in _TOLD_WITH_UNIT]
    lines = []
    if strings:
        lines.append(_opening(("~", "CHANGED", Style.STRONG), "", "what firmware calls the unit"))
        lines += [_fact_line(one) for one in strings[:_FACTS]]
    placed = [(_home(one, since, homes), one) for one in since.others]
    order = {home: at for at, (home, _) in enumerate(homes.values())}
    placed.sort(key=lambda pair: (pair[1].node.kind is Kind.DECLARED, order.get(pair[0], len(order))))
    for home, change in placed[:_MOST]:
        lines.append(_opening(CHANGE_LOOKS[change.kind], home, node_name(change.node)))
        lines += [_fact_line(fact) for fact in change.facts[:_FACTS]]
    more = len(placed) - _MOST
    return [*lines, *([line(" " * _MARGIN, (f"and {counted(more, 'more change')}", Style.FAINT))] if more > 0 else [])]


def _home(change: NodeChange, since: SinceBaseline, homes: _Homes) -> str:
    """The subassembly of the expected device that a node is or hangs on, "" where none tells."""
    places = {node.location for node in (change.before, change.after) if node is not None}
    carriers = any(CARRIERS & set(one.functions) for one in (change.before, change.after) if one is not None)
    near = [
        one
        for one in since.devices
        if one.where and any(place == one.where or (hangs_on(place, one.where) and not carriers) for place in places)
    ]
    nearest = max(near, key=lambda one: len(one.where), default=None)
    return homes.get(nearest.device, ("", ""))[0] if nearest else ""


def _quiet_lines(since: SinceBaseline, homes: _Homes) -> list[Line]:
    """One row for what is the same, and one for each reason why the rest cannot be told."""
    groups: dict[tuple[Fitted, str], list[str]] = {}
    for fitted in (Fitted.SAME, Fitted.UNTOLD):
        parts = [one for one in (*since.unit, *since.devices) if one.fitted is fitted]
        for one in _as_it_comes_apart(parts, homes):
            reason = "by serial number" if fitted is Fitted.SAME else one.why
            groups.setdefault((fitted, reason), []).append(homes.get(one.device, ("", safe(one.device, 60)))[1])
    lines = []
    for (fitted, reason), names in groups.items():
        sign, word, style = _LOOKS[fitted]
        said = f"{listed(names)} ({safe(reason, 160)})"
        lines.append(line((f"{sign} {word}".ljust(_MARGIN), style), said, hang=_MARGIN))
    return lines

"""Whether what two captures show of one device, of the unit or of its board is the same part."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from usbwatch.compare.marks import Mark, Rank, marks
from usbwatch.compare.serials import board_record, is_serial
from usbwatch.compare.wear import readings_of, signs_of_another
from usbwatch.model import BOARD, UNIT, Capture, DeviceSince, Finding, Fitted, Node
from usbwatch.model.changes import FactChange

__all__ = ["Answer", "Side", "compared", "of_firmware"]

Answer = tuple[Fitted, tuple[FactChange, ...], str]
"""What is to be said of a part, the facts that tell it, and what else it rests on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """One of the two captures, as far as its parts go."""

    capture: Capture
    findings: Mapping[str, Finding]
    nodes: Mapping[str, tuple[Node, ...]]
    external: tuple[str, ...]
    """Locations of helper devices."""
    name: str
    """How a sentence calls it: "at the baseline", "now"."""


# --- Two looks at one part -----------------------------------------------------------------


def compared(old: Side, new: Side, device: str) -> Answer:
    """Whether a device that both captures show is one part in both."""
    olds, news = old.nodes[device], new.nodes[device]
    before, after = marks(olds), marks(news)
    then, now = readings_of(olds), readings_of(news)
    differing = _differing(before, after)
    named = any(_both(before, after, Rank.SERIAL))
    telling = [mark for mark in differing if mark.rank in (Rank.SERIAL, Rank.NAME)]
    if telling or (differing and not named and differing[-1].rank is Rank.VALUE):
        return Fitted.ANOTHER, _told(before, after, differing), ""
    if differing and differing[0].rank is Rank.ADDRESS and not named:
        why = "a system can choose a network address by itself"
        return Fitted.PERHAPS_ANOTHER, _told(before, after, differing), why
    odd, why = signs_of_another(then, now, named=named)
    if odd:
        return Fitted.PERHAPS_ANOTHER, odd, f"{why}; same serial number" if named else why
    same = [word for word in _both(before, after, Rank.SERIAL, Rank.ADDRESS) if after[word] not in differing]
    if same:
        return Fitted.SAME, (), " and ".join(same)
    return Fitted.UNTOLD, (), _without_serial(old, new, device)


def _differing(before: Mapping[str, Mark], after: Mapping[str, Mark]) -> list[Mark]:
    """The marks of ``after`` whose value is another one in ``before``, the most telling first."""
    shared = [mark for word, mark in after.items() if word in before]
    return [mark for mark in shared if _folded(before[mark.word]) != _folded(mark)]


def _folded(mark: Mark) -> object:
    return mark.value.casefold() if isinstance(mark.value, str) else mark.value


def _both(before: Mapping[str, Mark], after: Mapping[str, Mark], *ranks: Rank) -> Iterator[str]:
    """The words of marks that both looks have."""
    return (word for word, mark in after.items() if mark.rank in ranks and word in before)


def _told(before: Mapping[str, Mark], after: Mapping[str, Mark], differing: Iterable[Mark]) -> tuple[FactChange, ...]:
    return tuple(
        FactChange(field=mark.word, before=before[mark.word].value, after=after[mark.word].value) for mark in differing
    )


_SERIAL_FILES = {"nvme": "serial", "usb": "serial", "mmc": "serial", "power_supply": "serial_number"}


def _without_serial(old: Side, new: Side, device: str) -> str:
    """Why no serial number was compared."""
    for side in (new, old):
        buses = {node.bus for node in (*old.nodes[device], *new.nodes[device])}
        if any(_refused(side.capture, bus, _SERIAL_FILES[bus]) for bus in sorted(buses & _SERIAL_FILES.keys())):
            return f"its serial number could not be read {side.name}: for root alone"
    own = {side.name: marks(side.nodes[device]) for side in (old, new)}
    having = [name for name, found in own.items() if any(mark.rank <= Rank.ADDRESS for mark in found.values())]
    if having:
        return f"a serial number was read only {having[0]}"
    return "the same type, without a serial number" if all(own.values()) else "it shows nothing that names its type"


def _refused(capture: Capture, bus: str, file: str) -> bool:
    return any(one.bus == bus and one.root_would_help and file in one.unread_names for one in capture.coverage)


# --- What firmware calls the unit ---------------------------------------------------------


def of_firmware(old: Side, new: Side) -> Iterator[DeviceSince]:
    """The answers for the unit's own serial number and for its board, as far as firmware tells them."""
    for of, tell, rights in ((UNIT, _unit_marks, "dmi"), (BOARD, _board_marks, "smbios")):
        before, after = tell(old.capture), tell(new.capture)
        differing = _differing(before, after)
        serial = list(_both(before, after, Rank.SERIAL))
        if differing:
            why = "unless firmware's record was only written anew"
            yield DeviceSince(device=of, fitted=Fitted.ANOTHER, told_by=_told(before, after, differing), why=why)
        elif serial:
            yield DeviceSince(device=of, fitted=Fitted.SAME, why=" and ".join(serial))
        else:
            yield DeviceSince(device=of, fitted=Fitted.UNTOLD, why=_unnamed(old, new, rights))


def _unnamed(old: Side, new: Side, bus: str) -> str:
    """Why firmware's serial numbers could not be compared."""
    for side in (new, old):
        if any(one.bus == bus and one.root_would_help for one in side.capture.coverage):
            return f"its serial number could not be read {side.name}: for root alone"
    return "firmware gives no serial number of it in both captures"


def _unit_marks(capture: Capture) -> dict[str, Mark]:
    return _texts(("product serial number", capture.unit.product_serial, Rank.SERIAL))


def _board_marks(capture: Capture) -> dict[str, Mark]:
    record, unit = board_record(capture), capture.unit
    serial = str(record.facts.get("serial_number", "")) if record is not None else ""
    return _texts(
        ("board serial number", serial, Rank.SERIAL),
        ("board maker", unit.board_vendor, Rank.NAME),
        ("board name", unit.board_name, Rank.NAME),
        ("board version", unit.board_version, Rank.NAME),
    )


def _texts(*told: tuple[str, str, Rank]) -> dict[str, Mark]:
    return {
        word: Mark(word=word, value=text.strip(), rank=rank)
        for word, text, rank in told
        if text.strip() and (rank is not Rank.SERIAL or is_serial(text))
    }

"""From the tables of a checked profile file to the values that the rest of usbwatch speaks in.

Import this module only inside functions: the tables need msgspec.
"""

from __future__ import annotations

from usbwatch.model import Basis, ExpectedDevice, HandCheck, Match, Money, Part, PartKind, Profile, Rung, Variant
from usbwatch.profile.shape import (
    BasisTable,
    CheckTable,
    DeviceTable,
    Document,
    LinkTable,
    MatchTable,
    MoneyTable,
    SubassemblyTable,
    VariantTable,
    WithinTable,
)

__all__ = ["profile_of"]


def profile_of(document: Document, path: str) -> Profile:
    """The profile that ``document`` describes; ``path`` is the file it was read from."""
    return Profile(
        id=document.id,
        name=document.name,
        source=document.source,
        author=document.author,
        date=document.date,
        generic=document.generic,
        match=_match(document.match),
        variants=tuple(_variant(key, table) for key, table in document.variant.items()),
        parts=_parts(document),
        devices=tuple(_device(key, table) for key, table in document.device.items()),
        checks=tuple(_check(key, table) for key, table in document.check.items()),
        money=_money(document.money),
        basis=_basis(document.basis),
        digest=document.digest,
        path=path,
    )


def _texts(value: str | list[str]) -> tuple[str, ...]:
    return (value,) if isinstance(value, str) else tuple(value)


def _number(value: object) -> int | None:
    """A number, or None for a key that is not given."""
    return value if isinstance(value, int) else None


def _match(table: MatchTable) -> Match:
    given = {key: _texts(getattr(table, key)) for key in table.__struct_fields__}
    return Match(strings={key: texts for key, texts in given.items() if texts})


def _variant(key: str, table: VariantTable) -> Variant:
    return Variant(id=key, name=table.name, match=_match(table.match), without=tuple(table.without))


def _parts(document: Document) -> tuple[Part, ...]:
    """Subassemblies first, then what is on them, between them and fed by them."""
    kinds: tuple[tuple[PartKind, dict[str, SubassemblyTable] | dict[str, WithinTable] | dict[str, LinkTable]], ...] = (
        (PartKind.SUBASSEMBLY, document.subassembly),
        (PartKind.SECTION, document.section),
        (PartKind.LINK, document.link),
        (PartKind.RAIL, document.rail),
    )
    return tuple(_part(kind, key, table) for kind, tables in kinds for key, table in tables.items())


def _part(kind: PartKind, key: str, table: SubassemblyTable | WithinTable | LinkTable) -> Part:
    return Part(
        id=key,
        kind=kind,
        name=table.name,
        within=table.within if isinstance(table, WithinTable) else "",
        joins=tuple(table.joins) if isinstance(table, LinkTable) else (),
        cost=_number(table.cost),
        minutes=_number(table.minutes),
        weight=table.weight,
        spare=table.spare if isinstance(table, LinkTable) else "",
    )


def _device(key: str, table: DeviceTable) -> ExpectedDevice:
    return ExpectedDevice(
        id=key,
        name=table.name,
        function=table.function,
        within=table.within,
        locations=_texts(table.location),
        identities=_texts(table.identity),
        needs=tuple(table.needs),
        reaches=Rung(table.reaches),
        speed_mbps=_number(table.speed_mbps),
        lanes=_number(table.lanes),
        link_gts=table.link_gts if isinstance(table.link_gts, float) else None,
        optional=table.optional,
        weight=table.weight,
        firmware_names=tuple(table.firmware_names),
    )


def _check(key: str, table: CheckTable) -> HandCheck:
    return HandCheck(
        id=key,
        question=table.question,
        needs=tuple(table.needs),
        caution=table.caution,
        stop=table.stop,
        minutes=table.minutes,
    )


def _money(table: MoneyTable) -> Money:
    return Money(
        currency=table.currency,
        value_working=_number(table.value_working),
        value_as_is=_number(table.value_as_is),
        value_parts=_number(table.value_parts),
        hourly_rate=_number(table.hourly_rate),
    )


def _basis(table: BasisTable) -> Basis:
    return Basis(
        how=table.how if isinstance(table.how, str) else "",
        layout=table.layout,
        units=_number(table.units),
        captures=_number(table.captures),
        since=table.since,
        until=table.until,
    )

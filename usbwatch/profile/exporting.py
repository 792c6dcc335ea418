"""A profile as plain data, in the layout of its file.

So what ``profile show --json`` prints satisfies the shipped JSON Schema, and
written as TOML it is a profile file again.
"""

from __future__ import annotations

from usbwatch.model import Basis, ExpectedDevice, HandCheck, Money, Part, PartKind, Profile, Rung, Variant

__all__ = ["FORMAT", "PROFILE_SCHEMA", "to_dict"]

FORMAT = "usbwatch-profile"
PROFILE_SCHEMA = 1
"""Version of the profile file. Raised when a reader of the last one would go wrong."""


def to_dict(profile: Profile) -> dict[str, object]:
    """Dictionaries, lists, text and numbers alone; keys that hold their default are left out."""
    return {
        "format": FORMAT,
        "schema": PROFILE_SCHEMA,
        "id": profile.id,
        "name": profile.name,
        "source": profile.source,
        **_given(author=profile.author, date=profile.date, digest=profile.digest, generic=profile.generic),
        **_given(match=_match(profile.match.strings)),
        **_given(variant={variant.id: _variant(variant) for variant in profile.variants}),
        **_given(**{kind.value: _parts(profile, kind) for kind in PartKind}),
        **_given(device={device.id: _device(device) for device in profile.devices}),
        **_given(check={check.id: _check(check) for check in profile.checks}),
        **_given(money=_money(profile.money), basis=_basis(profile.basis)),
    }


def _given(**keys: object) -> dict[str, object]:
    """The keys that hold something: not None, not empty, not false."""
    return {key: list(value) if isinstance(value, tuple) else value for key, value in keys.items() if _holds(value)}


def _holds(value: object) -> bool:
    """0 is a price, not an absence."""
    return bool(value) or (isinstance(value, int) and not isinstance(value, bool))


def _weight(weight: float) -> dict[str, object]:
    return {} if weight == 1 else {"weight": weight}


def _match(strings: dict[str, tuple[str, ...]]) -> dict[str, object]:
    return {key: list(texts) for key, texts in strings.items()}


def _variant(variant: Variant) -> dict[str, object]:
    return {"name": variant.name, "match": _match(variant.match.strings), **_given(without=variant.without)}


def _parts(profile: Profile, kind: PartKind) -> dict[str, object]:
    return {part.id: _part(part) for part in profile.parts if part.kind is kind}


def _part(part: Part) -> dict[str, object]:
    links = _given(within=part.within, joins=part.joins)
    figures = {**_given(cost=part.cost, minutes=part.minutes), **_weight(part.weight)}
    return {"name": part.name, **links, **figures, **_given(spare=part.spare)}


def _device(device: ExpectedDevice) -> dict[str, object]:
    return {
        "name": device.name,
        "function": device.function,
        "within": device.within,
        **_given(location=device.locations, identity=device.identities, needs=device.needs),
        **({} if device.reaches is Rung.WORKING else {"reaches": device.reaches.value}),
        **_given(speed_mbps=device.speed_mbps, lanes=device.lanes, link_gts=device.link_gts, optional=device.optional),
        **_weight(device.weight),
        **_given(firmware_names=device.firmware_names),
    }


def _check(check: HandCheck) -> dict[str, object]:
    minutes = {} if check.minutes == 1 else {"minutes": check.minutes}
    return {"question": check.question, **_given(needs=check.needs, caution=check.caution, stop=check.stop), **minutes}


def _money(money: Money) -> dict[str, object]:
    return _given(
        currency=money.currency,
        value_working=money.value_working,
        value_as_is=money.value_as_is,
        value_parts=money.value_parts,
        hourly_rate=money.hourly_rate,
    )


def _basis(basis: Basis) -> dict[str, object]:
    return _given(
        how=basis.how,
        layout=basis.layout,
        units=basis.units,
        captures=basis.captures,
        since=basis.since,
        until=basis.until,
    )

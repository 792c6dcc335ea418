"""How a draft tells its model: by the strings that firmware gives, less those that say nothing."""

from __future__ import annotations

from usbwatch.drafting.naming import told
from usbwatch.model import Match, UnitStrings
from usbwatch.profile.faults import quoted

__all__ = ["match_of"]

_FIRST, _SECOND = ("sys_vendor", "product_name"), ("board_vendor", "board_name")
_NARROWING = ("product_version", "product_sku", "product_family", *_SECOND, "board_version", "bios_version")
_ALL = (*_FIRST, *_NARROWING, "chassis_type")


def match_of(unit: UnitStrings) -> tuple[Match, tuple[str, ...], dict[str, str]]:
    """The strings to match by, remarks on those that say nothing, and those that would narrow it."""
    strings = {key: str(getattr(unit, key)) for key in _ALL}
    usable = {key: text.strip() for key, text in strings.items() if told(text)}
    chosen = _FIRST if "product_name" in usable else _SECOND if "board_name" in usable else ()
    by: dict[str, tuple[str, ...]] = {key: (usable[key],) for key in chosen if key in usable}
    remarks = tuple(
        f"Not used: {key} is {quoted(strings[key]) if strings[key].strip() else 'blank'}, which names no model."
        for key in (*_FIRST, *(_SECOND if chosen != _FIRST else ()))
        if key not in usable
    )
    if not by:
        remarks += ("Nothing that firmware says names the model, so this profile is used only when it is named.",)
    return Match(strings=by), remarks, {key: usable[key] for key in _NARROWING if key in usable and key not in by}

"""What the shop's closed cases say, for any command that weighs captures."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from usbwatch.model import Experience, Profile

__all__ = ["has_default", "shop_experience"]


def shop_experience(profile: Profile, address: str | None) -> Experience | None:
    """The counts of the casebook that is meant, or None where there is none; one that cannot be read is said.

    A command that only looks at a capture never makes a casebook, and goes on without one.
    """
    from usbwatch.cli.screen import say
    from usbwatch.cli.unit.options import opened
    from usbwatch.errors import UsbwatchError

    if not (address and ("://" in address or Path(address).exists())) and (address or not has_default()):
        return None
    try:
        with opened(address, must_exist=True) as book:
            found = book.experience(profile.id)
    except UsbwatchError as error:
        say(f"usbwatch: the shop's closed cases are left out: {error}")
        return None
    return found if found.cases or found.own else None


def has_default() -> bool:
    """Whether the user has a casebook where it is kept unless told otherwise."""
    from usbwatch.casebook.opening import default_address

    return Path(default_address()).exists()

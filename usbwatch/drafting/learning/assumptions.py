"""What is taken for granted before any capture is read, each as a figure with its reason.

All of them are beliefs about benches (common practice, no source). They are
weak: a few dozen captures outweigh each of them.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = [
    "COPY",
    "FLAW",
    "HELPER",
    "KEYS",
    "LOSS",
    "NEEDED",
    "PRIOR_INSIDE",
    "PRIOR_NEEDED",
    "PRIOR_UNSURE",
    "STRAY",
    "Beta",
    "Prior",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Beta:
    """A belief about a share: as if ``yes`` and ``no`` cases had been counted before."""

    yes: float
    no: float


LOSS = Beta(yes=1, no=300)
"""A unit that should have a device does not show it: some 3 in 100 units are at fault, and a fault costs one device in
ten."""
STRAY = Beta(yes=1, no=200)
"""A unit has a device that its variant should not have: a board or a label from another unit."""
HELPER = Beta(yes=1, no=29)
"""Somebody's own device stands in one place: helpers are left in in 1 of 10 captures, in one of several sockets."""
COPY = Beta(yes=1, no=100)
"""One of two devices that go together is there alone."""
FLAW = Beta(yes=1, no=60)
"""A device shows less than healthy ones do: a lower rung, a slower link, an identity that is not its own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """How likely each standing is before counting; the rest is for what is free of any rule."""

    mandatory: float
    keyed: float
    """Shared by the keys that could tell the variant."""
    free: float
    helper: float


PRIOR_INSIDE = Prior(mandatory=0.80, keyed=0.15, free=0.05, helper=0.0)
"""Of a device that firmware or its bus places inside: a helper cannot be there."""
NEEDED = frozenset({"battery", "disk", "graphics", "keyboard", "lid", "panel", "power-button", "usb-controller"})
"""Functions of parts without which a laptop is hardly sold; several of one kind there may still be."""
PRIOR_NEEDED = Prior(mandatory=0.94, keyed=0.05, free=0.01, helper=0.0)
"""Of such a part inside the unit."""
PRIOR_UNSURE = Prior(mandatory=0.60, keyed=0.09, free=0.04, helper=0.27)

KEYS: dict[str, float] = {
    "product_sku": 6,
    "product_name": 3,
    "product_version": 3,
    "board_version": 3,
    "board_name": 3,
    "product_family": 1,
    "chassis_type": 1,
    "bios_version": 1,
    "kernel": 1,
}
"""Strings that can tell units apart, with how likely each is to tell a variant, in proportion."""

"""What to look at next, by what it would tell."""

from usbwatch.plan.discriminators import tell_apart

__all__ = ["tell_apart"]

"""What to look at next, by what it would tell."""

from usbwatch.plan.discriminators import stops, tell_apart

__all__ = ["stops", "tell_apart"]

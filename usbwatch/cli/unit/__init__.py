"""``usbwatch unit …``: follow a unit from intake to baseline. One module per part of its way."""

from usbwatch.cli.unit.group import unit

__all__ = ["unit"]

"""What is worth doing next, and whether the repair pays."""

from usbwatch.plan.choosing import plan
from usbwatch.plan.latest import without_oldest
from usbwatch.plan.stops import stops

__all__ = ["plan", "stops", "without_oldest"]

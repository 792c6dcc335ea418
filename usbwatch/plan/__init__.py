"""What is worth doing next, and whether the repair pays."""

from usbwatch.plan.asked import question, questions
from usbwatch.plan.choosing import plan, plan_and_repair
from usbwatch.plan.latest import without_oldest
from usbwatch.plan.stops import stops

__all__ = ["plan", "plan_and_repair", "question", "questions", "stops", "without_oldest"]

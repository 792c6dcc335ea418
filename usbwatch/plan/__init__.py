"""What is worth doing next, and whether the repair pays."""

from __future__ import annotations

from typing import TYPE_CHECKING

from usbwatch.lazy import on_first_use

if TYPE_CHECKING:
    from usbwatch.plan.asked import question, questions
    from usbwatch.plan.choosing import plan, plan_and_repair
    from usbwatch.plan.latest import without_oldest
    from usbwatch.plan.stopping import stops
else:
    __getattr__ = on_first_use(
        __name__,
        {
            "plan": "choosing",
            "plan_and_repair": "choosing",
            "question": "asked",
            "questions": "asked",
            "stops": "stopping",
            "without_oldest": "latest",
        },
    )

__all__ = ["plan", "plan_and_repair", "question", "questions", "stops", "without_oldest"]

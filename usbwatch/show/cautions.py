"""The cautions that belong to no step of the plan; those of the steps are in ``usbwatch.plan.cautions``."""

from __future__ import annotations

__all__ = ["CHARGER_OUT"]

CHARGER_OUT = "A weak battery may let the unit turn off: save your work first. Stop at a swollen, hot or smelling pack."
"""Common practice, no source."""

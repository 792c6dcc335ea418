"""The kernel's log: read in any form, and grouped into episodes by place.

``surveyed(log, root_hubs)`` is the front: the episodes, and how much of the
log was there. Which lines count as evidence is ruled in
``usbwatch.capture.log.doubt``; what they mean stands in ``troubles``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from usbwatch.lazy import on_first_use

if TYPE_CHECKING:
    from usbwatch.capture.log.survey import Survey, episodes, surveyed
    from usbwatch.capture.log.troubles import (
        ENUMERATION_FAILED,
        OVER_CURRENT,
        STILL_ENUMERATING,
        TROUBLES,
        Trouble,
    )
else:
    _OF_SURVEY = ("Survey", "episodes", "surveyed")
    _OF_TROUBLES = ("ENUMERATION_FAILED", "OVER_CURRENT", "STILL_ENUMERATING", "TROUBLES", "Trouble")
    __getattr__ = on_first_use(
        __name__, {**dict.fromkeys(_OF_SURVEY, "survey"), **dict.fromkeys(_OF_TROUBLES, "troubles")}
    )

__all__ = [
    "ENUMERATION_FAILED",
    "OVER_CURRENT",
    "STILL_ENUMERATING",
    "TROUBLES",
    "Survey",
    "Trouble",
    "episodes",
    "surveyed",
]

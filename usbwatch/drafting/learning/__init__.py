"""What is usual of a model, learnt from many captures of its units. Pure.

The front of this room: ``learn(sources)``.
"""

from usbwatch.drafting.learning.learn import learn
from usbwatch.drafting.learning.values import (
    Counted,
    Difference,
    Learnt,
    LearntDevice,
    LearntVariant,
    Outlier,
    OutlierKind,
    Source,
    Standing,
    Support,
)

__all__ = [
    "Counted",
    "Difference",
    "Learnt",
    "LearntDevice",
    "LearntVariant",
    "Outlier",
    "OutlierKind",
    "Source",
    "Standing",
    "Support",
    "learn",
]

"""Which part has failed, with what probability, and why: findings and profile in, suspects out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from usbwatch.lazy import on_first_use

if TYPE_CHECKING:
    from usbwatch.localise.beliefs import Beliefs, believe
    from usbwatch.localise.contradicting import Contradiction, cannot_be_yes, contradictions
    from usbwatch.localise.discerning import Discerned, discern_model
    from usbwatch.localise.rates import classes_of, grounds, site_class
    from usbwatch.localise.suppose import supposing
    from usbwatch.localise.suspicion import suspects, suspects_of
else:
    __getattr__ = on_first_use(
        __name__,
        {
            "Beliefs": "beliefs",
            "Contradiction": "contradicting",
            "Discerned": "discerning",
            "believe": "beliefs",
            "cannot_be_yes": "contradicting",
            "classes_of": "rates",
            "contradictions": "contradicting",
            "discern_model": "discerning",
            "grounds": "rates",
            "site_class": "rates",
            "supposing": "suppose",
            "suspects": "suspicion",
            "suspects_of": "suspicion",
        },
    )

__all__ = [
    "Beliefs",
    "Contradiction",
    "Discerned",
    "believe",
    "cannot_be_yes",
    "classes_of",
    "contradictions",
    "discern_model",
    "grounds",
    "site_class",
    "supposing",
    "suspects",
    "suspects_of",
]

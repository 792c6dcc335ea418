"""Which part has failed, with what probability, and why: findings and profile in, suspects out."""

from usbwatch.localise.beliefs import Beliefs, believe
from usbwatch.localise.contradictions import Contradiction, cannot_be_yes, contradictions
from usbwatch.localise.discerning import Discerned, discern_model
from usbwatch.localise.rates import classes_of, grounds, site_class
from usbwatch.localise.suppose import supposing
from usbwatch.localise.suspicion import suspects, suspects_of

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

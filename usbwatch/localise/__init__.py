"""Which part has failed, with what probability, and why: findings and profile in, suspects out."""

from usbwatch.localise.beliefs import Beliefs, believe
from usbwatch.localise.contradictions import Contradiction, cannot_be_yes, contradictions
from usbwatch.localise.discerning import Discerned, discern_model
from usbwatch.localise.suppose import supposing
from usbwatch.localise.suspicion import suspects, suspects_of

__all__ = [
    "Beliefs",
    "Contradiction",
    "Discerned",
    "believe",
    "cannot_be_yes",
    "contradictions",
    "discern_model",
    "supposing",
    "suspects",
    "suspects_of",
]

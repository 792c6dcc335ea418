"""Which part has failed, with what probability, and why: findings and profile in, suspects out."""

from usbwatch.localise.suspicion import suspects

__all__ = ["suspects"]

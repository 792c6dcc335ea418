"""What is wrong in each real kernel's snapshot, by expected device, as ``tests/data/trees/README.md`` says."""

from __future__ import annotations

from usbwatch.model import Rung, Symptom, Verdict

__all__ = ["DECLARED_ONLY", "FAULTS"]

DECLARED_ONLY = {"lid", "power-button"}
"""Present as far as the profile asks, and no evidence: firmware's declaration makes their nodes."""

FAULTS: dict[str, dict[str, tuple[Verdict, Rung, Symptom]]] = {
    "healthy": {},
    "external-devices": {},
    "keyboard-missing": {"keyboard": (Verdict.MISSING, Rung.ABSENT, Symptom.ABSENT)},
    "keyboard-touchpad-missing": {
        "keyboard": (Verdict.MISSING, Rung.ABSENT, Symptom.ABSENT),
        "touchpad": (Verdict.MISSING, Rung.ABSENT, Symptom.ABSENT),
    },
    "battery-not-present": {"battery": (Verdict.MISSING, Rung.ABSENT, Symptom.ABSENT)},
    "touchpad-enumeration-failure": {"touchpad": (Verdict.IMPAIRED, Rung.ATTACHED, Symptom.FAILED)},
    "camera-full-speed": {"camera": (Verdict.IMPAIRED, Rung.WORKING, Symptom.DEGRADED)},
    "keyboard-no-hid-report": {"keyboard": (Verdict.IMPAIRED, Rung.CONFIGURED, Symptom.FAILED)},
    "battery-worn": {"battery": (Verdict.IMPAIRED, Rung.WORKING, Symptom.DEGRADED)},
    "internal-hub-missing": {
        "internal-hub": (Verdict.MISSING, Rung.ABSENT, Symptom.ABSENT),
        **dict.fromkeys(
            ("keyboard", "touchpad", "fingerprint-reader", "smart-card-reader"),
            (Verdict.UNSEEN, Rung.ABSENT, Symptom.UNSEEN),
        ),
    },
}

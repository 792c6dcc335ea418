"""Rules here name the log's troubles by their words, so that a capture without any loads no pattern of the log."""

from __future__ import annotations

from usbwatch.capture.log import TROUBLES
from usbwatch.compare import (
    absence,
    clients,
    declared_acpi,
    declared_ports,
    judging,
    losses,
    over_current,
    undriven,
)


def test_every_trouble_that_a_rule_names_is_one_that_the_log_is_read_for() -> None:
    named = {
        absence._ENUMERATION_FAILED,
        absence._STILL_ENUMERATING,
        absence._CONTROLLER_DIED,
        clients._HID_FAILED,
        declared_acpi._EC_TIMEOUT,
        declared_ports._CONTROLLER_DIED,
        judging._EC_TIMEOUT,
        judging._INTERMITTENT,
        over_current._OVER_CURRENT,
        *absence._LEFT,
        *declared_ports._LEFT,
        *losses._TROUBLES,
        *undriven._PROBE_FAILED,
    }
    assert named - TROUBLES.keys() == set()

"""Where more is wrong at once than can be listed, no cost is given as if that were all."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.wired import device, found, part

from usbwatch.localise import believe
from usbwatch.model import Findings, Look, Money, Profile
from usbwatch.model.plan import Advice, Plan
from usbwatch.plan import plan
from usbwatch.plan.standing import standing

MORE_THAN_WEIGHED = "More can be wrong at once than is weighed together: the costs reckon with the"
MONEY = Money(value_working=900, value_as_is=50, hourly_rate=40)


def apart(count: int) -> Profile:
    """Devices that share nothing, each in a part of its own."""
    parts = tuple(replace(part(f"p{n}"), cost=20, minutes=10) for n in range(count))
    devices = tuple(device(f"d{n}", "sensor", f"p{n}") for n in range(count))
    return Profile(id="p", name="p", source="invented", parts=parts, devices=devices, money=MONEY)


def lost(count: int) -> tuple[Profile, Findings]:
    profile = apart(count)
    return profile, found(profile, absent=[each.id for each in profile.devices])


def told(count: int) -> Plan:
    profile, findings = lost(count)
    return plan(believe(profile, (Look(findings=findings),)), findings)


@pytest.mark.parametrize(
    ("count", "says"),
    [
        (2, ""),
        (5, ""),
        (12, ""),
        (
            140,
            f"{MORE_THAN_WEIGHED} 62 likeliest faults and without about 87 more.",
        ),
    ],
    ids=["two", "five", "twelve", "more than a mask holds"],
)
def test_it_is_said_when_the_costs_leave_out_what_is_likely(count: int, says: str) -> None:
    assert told(count).assumed == ((says,) if says else ())


@pytest.mark.parametrize("count", [2, 5, 12, 40, 140])
def test_many_losses_never_come_out_as_nothing_wrong(count: int) -> None:
    profile, findings = lost(count)
    where = standing(believe(profile, (Look(findings=findings),)))
    assert where.chances.sum() == pytest.approx(1)
    assert where.chances[where.masks == 0].sum() < 0.01
    plan_ = told(count)
    assert plan_.advice is not Advice.NOTHING_WRONG
    assert plan_.expected_cost is not None
    assert plan_.expected_cost > 20
    assert all(each.expected_total > each.cost > 0 for each in plan_.proposals if each.mends)

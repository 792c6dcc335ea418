"""The real program in an emulated laptop: a real kernel, its drivers, and faults in invented hardware.

The truth is what was done to the laptop. What the kernel makes of it, and the
program of that, is found out here.
"""

from __future__ import annotations

import io
import json
import tarfile
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pytest
from support.looking import coverage_of, look
from virtual.build import Built
from virtual.laptop import HEALTHY, Condition, Laptop, running
from virtual.program import Judge, captured
from virtual.scenarios import PROFILES
from virtual.usb_parts import PARTS, Fault, Speed

from usbwatch.capture import load
from usbwatch.model import Capture, CoverageState, System

pytestmark = pytest.mark.virtual

USB = "pci0000:00/14.0/usb2"
PROFILE = "fernhill-larch-13"

EXPECTED = (
    "usb-controller",
    "internal-hub",
    "keyboard",
    "touchpad",
    "fingerprint-reader",
    "smart-card-reader",
    "camera",
    "bluetooth",
    "card-reader",
    "headset-audio",
    "battery",
    "mains-adapter",
    "lid",
    "power-button",
    "graphics",
    "panel",
    "disk",
    "audio",
    "ethernet",
)
WELL = dict.fromkeys(EXPECTED, ("present", "working"))
# Firmware declares these two whatever hangs on their lines, so enumeration is no proof that they work.
WELL |= dict.fromkeys(("lid", "power-button"), ("present", "not observed"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """What is done to the laptop, and what is then true."""

    condition: Condition
    untrue: Mapping[str, tuple[str, str]]
    """Verdict and symptom of each expected device that is not as in a healthy laptop."""
    external: tuple[tuple[str, str], ...] = ()
    """Identity and location of what a person plugged in."""
    once: str = "true"
    """A shell condition that holds when the kernel has done all that it does about the fault."""


ABSENT = ("missing", "absent")

AT_ONCE = Scenario(
    condition=Condition(
        missing=("keyboard",),
        fails={"touchpad": {"device": Fault.BUS_ERROR}},
        speeds={"camera": Speed.FULL},
        gauge="silent",
        sockets={"1": PARTS["keyboard"]},
    ),
    untrue={
        "keyboard": ABSENT,
        "touchpad": ("impaired", "failed to enumerate"),
        "camera": ("impaired", "works below its speed or grade"),
        "battery": ("impaired", "there, but does not talk"),
    },
    external=(("1209:0001", f"{USB}/1"),),
    # drivers/usb/core/hub.c: the line with which the kernel gives up on a port.
    once="dmesg | grep -q 'unable to enumerate USB device'",
)
"""Four faults and a twin, from the start on: a laptop that was never seen healthy."""


def wait_for(laptop: Laptop, condition: str) -> None:
    """Wait in the guest until a shell condition holds and nothing new happens; fail when that takes two minutes."""
    waiting = f"n=0; until {condition}; do n=$((n+1)); [ $n -lt 600 ] || exit 9; usleep 200000; done; settle 15 12"
    outcome = laptop.machine.run(waiting)
    assert outcome.code == 0, f"never: {condition} {outcome.output}"


def assert_told(laptop: Laptop, scenario: Scenario) -> None:
    """Check in the guest as root, by the very command: every expected device, the outcome and what is external."""
    outcome = laptop.machine.run(f"python3 -m usbwatch check --json --profile {PROFILE} >/tmp/check.out")
    assert outcome.code == (10 if scenario.untrue else 0), outcome.output
    told = json.loads(laptop.machine.fetch("/tmp/check.out"))
    found = {one["device"]: (one["verdict"], one["symptom"]) for one in told["findings"]}
    assert found == WELL | dict(scenario.untrue)
    assert told["outcome"] == ("wrong" if scenario.untrue else "whole")
    assert tuple((one["identity"], one["location"]) for one in told["external"]) == scenario.external
    assert told["unexpected"] == []


def test_a_healthy_laptop_is_whole(healthy_laptop: Laptop) -> None:
    assert_told(healthy_laptop, Scenario(condition=HEALTHY, untrue={}))


def test_the_program_tells_what_is_true_from_the_start_on(laptop_files: Built, tmp_path: Path) -> None:
    with running(laptop_files, AT_ONCE.condition, tmp_path) as laptop:
        wait_for(laptop, AT_ONCE.once)
        assert_told(laptop, AT_ONCE)


@pytest.fixture(scope="module")
def by_user(healthy_laptop: Laptop, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """A capture of the healthy laptop by each user, taken by the very command."""
    folder, taken = tmp_path_factory.mktemp("by-user"), {}
    for by in ("root", "bench"):
        command = f"cd /tmp; python3 -m usbwatch capture -o /tmp/{by}.json 2>/tmp/{by}.err"
        outcome = healthy_laptop.machine.run(command if by == "root" else f"su {by} -c '{command}'")
        assert outcome.code == 0, outcome.output
        taken[by] = folder / f"{by}.json"
        taken[by].write_bytes(healthy_laptop.machine.fetch(f"/tmp/{by}.json"))
    return taken


def test_coverage_says_what_root_would_add(by_user: dict[str, Path]) -> None:
    root, bench = (load(str(by_user[by])) for by in ("root", "bench"))
    assert (root.system.privileged, bench.system.privileged) == (True, False)
    assert [one.bus for one in root.coverage if one.root_would_help] == []
    # Documentation/admin-guide/sysctl/kernel.rst, dmesg_restrict; drivers/firmware/dmi-id.c: serials have mode 0400.
    assert {one.bus for one in bench.coverage if one.root_would_help} == {"dmi", "smbios", "log"}
    assert coverage_of(bench, "log").state is CoverageState.NOT_PERMITTED
    assert (root.unit.product_serial, bench.unit.product_serial) == ("LG-0001-DEMO", "")
    assert replace(root.unit, product_serial="") == bench.unit
    # drivers/firmware/dmi_scan.c: the SMBIOS table has mode 0400.
    assert [node for node in root.nodes if node.bus != "smbios"] == list(bench.nodes)
    assert root.software == bench.software
    assert [(one.module, one.where) for one in root.software.blacklisted] == [
        ("invented_driver", "/etc/modprobe.d/bench.conf")
    ]
    assert root.software.seen == ("command line", "driver list", "loaded modules", "modprobe.d")


def test_root_makes_every_claim_that_another_user_is_told_to_lack(
    by_user: dict[str, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """Three are certain: the log, the SMBIOS table, the serial number. Any other that is named must hold as well."""
    judge = Judge(capsys, PROFILES["Larch 13"])
    told = {by: judge.document("check", path, code=0) for by, path in by_user.items()}
    claims = {by: {one["id"]: one for one in document["claims"]} for by, document in told.items()}
    lacking = {id_ for id_, claim in claims["bench"].items() if not claim["made"]}
    assert lacking >= {"log", "smbios", "serial-number"}
    assert all(claims["bench"][id_]["needs_root"] for id_ in lacking)
    assert {id_ for id_, claim in claims["root"].items() if claim["made"]} >= lacking
    assert not any(claim["needs_root"] for claim in claims["root"].values())
    assert told["root"]["unit"]["product_serial"] == "LG-0001-DEMO"
    assert told["bench"]["unit"]["product_serial"] == ""
    assert "WHAT ONLY ROOT COULD SAY" in judge.page(by_user["bench"], code=0)
    assert "WHAT ONLY ROOT COULD SAY" not in judge.page(by_user["root"], code=0)


def test_a_copied_tree_of_the_laptop_says_the_same(healthy_laptop: Laptop, tmp_path: Path) -> None:
    taken = captured(healthy_laptop, tmp_path / "live.json")
    copied = healthy_laptop.machine.run("python3 /opt/usbwatch/copy_tree.py >/tmp/tree.tar")
    assert copied.code == 0, copied.output
    with tarfile.open(fileobj=io.BytesIO(healthy_laptop.machine.fetch("/tmp/tree.tar"))) as archive:
        if hasattr(tarfile, "tar_filter"):  # Python 3.11.4 and later
            # A tree's links lead out of their folder, and some nowhere; only names must stay inside.
            archive.extraction_filter = tarfile.tar_filter
        archive.extractall(tmp_path / "tree")
    live, copy = load(str(taken)), look(tmp_path / "tree")
    assert (live.system.source, copy.system.source) == ("live", "tree")
    assert len(live.nodes) > 100
    assert comparable(live) == comparable(copy)


def comparable(capture: Capture) -> Capture:
    """Without who looked and when, and without the length of the log, which the kernel goes on writing.

    What a live look calls a lack of the kernel, a look at a copy calls one of the copy, for it cannot know more.
    """
    coverage = (
        replace(one, nodes=0 if one.bus == "log" else one.nodes, why=one.why.replace("the copied tree", "this kernel"))
        for one in capture.coverage
    )
    return replace(capture, system=System(platform="linux"), taken_at="", coverage=tuple(coverage))


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A difference of two captures as the program tells it in the guest."""

    causes: set[tuple[str, str]] = field(default_factory=set)
    """Kind and location of each change that is no consequence of another."""
    follow: set[str] = field(default_factory=set)
    """Kinds of what goes along."""
    logged: set[tuple[str, str]] = field(default_factory=set)
    """Trouble and location of what the kernel's log has that it had not."""


def difference(judge: Judge, before: Path, after: Path) -> Told:
    told: dict[str, Any] = judge.document("diff", before, after, code=10)
    return Told(
        causes={
            (one["kind"], (one["before"] or one["after"])["location"]) for one in told["nodes"] if not one["follows"]
        },
        follow={one["kind"] for one in told["nodes"] if one["follows"]},
        logged={(one["after"]["trouble"], one["after"]["location"]) for one in told["episodes"]},
    )


def test_what_comes_loose_at_run_time_is_named_and_so_is_its_return(
    healthy_laptop: Laptop, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # drivers/usb/core/hub.c: "USB disconnect, device number …". Back again, only the log tells of it.
    logged = {("disconnected", f"{USB}/4.1"), ("disconnected", f"{USB}/4.4")}
    keyboard, reader = "[ -e /sys/bus/usb/devices/*-4.1 ]", "[ -e /sys/bus/usb/devices/*-4.4 ]"
    judge = Judge(capsys, PROFILES["Larch 13"])
    whole = captured(healthy_laptop, tmp_path / "whole.json")

    healthy_laptop.parts["keyboard"].unplug()
    healthy_laptop.machine.take_out("smart-card-reader")
    wait_for(healthy_laptop, f"! {keyboard} && ! {reader}")
    loose = captured(healthy_laptop, tmp_path / "loose.json")
    assert difference(judge, whole, loose) == Told(
        causes={("gone", f"{USB}/4.1"), ("gone", f"{USB}/4.4")}, follow={"gone", "changed"}, logged=logged
    )

    healthy_laptop.parts["keyboard"].plug()
    healthy_laptop.put_back("smart-card-reader")
    wait_for(healthy_laptop, f"{keyboard} && {reader}")
    again = captured(healthy_laptop, tmp_path / "again.json")
    assert difference(judge, whole, again) == Told(logged=logged)

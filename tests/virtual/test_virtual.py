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

SCENARIOS = {
    "keyboard and touchpad missing": Scenario(
        condition=Condition(missing=("keyboard", "touchpad")), untrue={"keyboard": ABSENT, "touchpad": ABSENT}
    ),
    "battery gauge silent": Scenario(
        condition=Condition(gauge="silent"), untrue={"battery": ("impaired", "there, but does not talk")}
    ),
    "touchpad fails to enumerate": Scenario(
        condition=Condition(fails={"touchpad": {"device": Fault.BUS_ERROR}}),
        untrue={"touchpad": ("impaired", "failed to enumerate")},
        # drivers/usb/core/hub.c: the line with which the kernel gives up on a port.
        once="dmesg | grep -q 'unable to enumerate USB device'",
    ),
    "camera at full speed": Scenario(
        condition=Condition(speeds={"camera": Speed.FULL}),
        untrue={"camera": ("impaired", "works below its speed or grade")},
    ),
    "keyboard missing, its twin in a socket": Scenario(
        condition=Condition(missing=("keyboard",), sockets={"1": PARTS["keyboard"]}),
        untrue={"keyboard": ABSENT},
        external=(("1209:0001", f"{USB}/1"),),
    ),
}


def usbwatch(laptop: Laptop, arguments: str, code: int = 0, *, by: str = "root") -> bytes:
    """What the program writes in the guest; it must end with that exit code."""
    command = f"python3 -m usbwatch {arguments} >/tmp/{by}.out"
    outcome = laptop.machine.run(command if by == "root" else f"su {by} -c '{command}'")
    written = laptop.machine.fetch(f"/tmp/{by}.out")
    assert outcome.code == code, f"{outcome.output}\n{written.decode()}"
    return written


def wait_for(laptop: Laptop, condition: str) -> None:
    """Wait in the guest until a shell condition holds and nothing new happens; fail when that takes two minutes."""
    waiting = f"n=0; until {condition}; do n=$((n+1)); [ $n -lt 600 ] || exit 9; usleep 200000; done; settle 15 12"
    outcome = laptop.machine.run(waiting)
    assert outcome.code == 0, f"never: {condition} {outcome.output}"


def assert_told(laptop: Laptop, scenario: Scenario) -> None:
    """Check in the guest as root: every expected device, the outcome and what is external must be as is true."""
    told = json.loads(usbwatch(laptop, f"check --json --profile {PROFILE}", 10 if scenario.untrue else 0))
    found = {one["device"]: (one["verdict"], one["symptom"]) for one in told["findings"]}
    assert found == WELL | dict(scenario.untrue)
    assert told["outcome"] == ("wrong" if scenario.untrue else "whole")
    assert tuple((one["identity"], one["location"]) for one in told["external"]) == scenario.external
    assert told["unexpected"] == []


def captured(laptop: Laptop, folder: Path, *, by: str = "root") -> Capture:
    """A capture taken in the guest, read on this machine."""
    path = folder / f"{by}.json"
    path.write_bytes(usbwatch(laptop, "capture -o -", by=by))
    return load(str(path))


def test_a_healthy_laptop_is_whole(healthy_laptop: Laptop) -> None:
    assert_told(healthy_laptop, Scenario(condition=HEALTHY, untrue={}))


@pytest.mark.parametrize("name", SCENARIOS)
def test_the_program_tells_what_is_true(name: str, laptop_files: Built, tmp_path: Path) -> None:
    scenario = SCENARIOS[name]
    with running(laptop_files, scenario.condition, tmp_path) as laptop:
        wait_for(laptop, scenario.once)
        assert_told(laptop, scenario)


def test_coverage_says_what_root_would_add(healthy_laptop: Laptop, tmp_path: Path) -> None:
    root, bench = (captured(healthy_laptop, tmp_path, by=by) for by in ("root", "bench"))
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


def test_root_makes_every_claim_that_another_user_is_told_to_lack(healthy_laptop: Laptop) -> None:
    """Three are certain: the log, the SMBIOS table, the serial number. Any other that is named must hold as well."""
    told = {
        by: json.loads(usbwatch(healthy_laptop, f"check --json --profile {PROFILE}", by=by)) for by in ("root", "bench")
    }
    claims = {by: {one["id"]: one for one in document["claims"]} for by, document in told.items()}
    lacking = {id_ for id_, claim in claims["bench"].items() if not claim["made"]}
    assert lacking >= {"log", "smbios", "serial-number"}
    assert all(claims["bench"][id_]["needs_root"] for id_ in lacking)
    assert {id_ for id_, claim in claims["root"].items() if claim["made"]} >= lacking
    assert not any(claim["needs_root"] for claim in claims["root"].values())
    assert told["root"]["unit"]["product_serial"] == "LG-0001-DEMO"
    assert told["bench"]["unit"]["product_serial"] == ""
    page = usbwatch(healthy_laptop, f"check --profile {PROFILE}", by="bench").decode()
    assert "WHAT ONLY ROOT COULD SAY" in page
    assert "WHAT ONLY ROOT COULD SAY" not in usbwatch(healthy_laptop, f"check --profile {PROFILE}").decode()


def test_a_copied_tree_of_the_laptop_says_the_same(healthy_laptop: Laptop, tmp_path: Path) -> None:
    copied = healthy_laptop.machine.run("python3 /opt/usbwatch/copy_tree.py >/tmp/tree.tar")
    assert copied.code == 0, copied.output
    with tarfile.open(fileobj=io.BytesIO(healthy_laptop.machine.fetch("/tmp/tree.tar"))) as archive:
        if hasattr(tarfile, "tar_filter"):  # Python 3.11.4 and later
            # A tree's links lead out of their folder, and some nowhere; only names must stay inside.
            archive.extraction_filter = tarfile.tar_filter
        archive.extractall(tmp_path / "tree")
    live, copy = captured(healthy_laptop, tmp_path), look(tmp_path / "tree")
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


def difference(laptop: Laptop, before: str, after: str) -> Told:
    told: dict[str, Any] = json.loads(usbwatch(laptop, f"diff --json {before} {after}", 10))
    return Told(
        causes={
            (one["kind"], (one["before"] or one["after"])["location"]) for one in told["nodes"] if not one["follows"]
        },
        follow={one["kind"] for one in told["nodes"] if one["follows"]},
        logged={(one["after"]["trouble"], one["after"]["location"]) for one in told["episodes"]},
    )


def test_what_comes_loose_at_run_time_is_named_and_so_is_its_return(healthy_laptop: Laptop) -> None:
    # drivers/usb/core/hub.c: "USB disconnect, device number …". Back again, only the log tells of it.
    logged = {("disconnected", f"{USB}/4.1"), ("disconnected", f"{USB}/4.4")}
    keyboard, reader = "[ -e /sys/bus/usb/devices/*-4.1 ]", "[ -e /sys/bus/usb/devices/*-4.4 ]"
    usbwatch(healthy_laptop, "capture -o /tmp/whole.json --force")

    healthy_laptop.parts["keyboard"].unplug()
    healthy_laptop.machine.change("device_del", id="smart-card-reader")
    wait_for(healthy_laptop, f"! {keyboard} && ! {reader}")
    usbwatch(healthy_laptop, "capture -o /tmp/loose.json --force")
    assert difference(healthy_laptop, "/tmp/whole.json", "/tmp/loose.json") == Told(
        causes={("gone", f"{USB}/4.1"), ("gone", f"{USB}/4.4")}, follow={"gone", "changed"}, logged=logged
    )

    healthy_laptop.parts["keyboard"].plug()
    again = {"driver": "usb-ccid", "id": "smart-card-reader", "bus": "xhci.0", "port": "4.4", "serial": "SC-0001-DEMO"}
    healthy_laptop.machine.change("device_add", **again)
    wait_for(healthy_laptop, f"{keyboard} && {reader}")
    usbwatch(healthy_laptop, "capture -o /tmp/again.json --force")
    assert difference(healthy_laptop, "/tmp/whole.json", "/tmp/again.json") == Told(logged=logged)

"""A real kernel, invented hardware that comes and goes, and the program that watches it live in the guest."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest
from virtual.firmware import MUTE, MUTE_PORT
from virtual.laptop import HUB, Laptop
from virtual.program import forget, sh, standing, until, usbwatch
from virtual.usb_parts import Fault, Speed
from virtual.watched import USB, changed_at_random, logged, out_of_order, watching

pytestmark = pytest.mark.virtual

PROFILE = "--profile fernhill-larch-13"
SEED = 20_261_129


@pytest.fixture(scope="module", params=["uevents", "looks"])
def way(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def laptop(healthy_laptop: Laptop) -> Laptop:
    """The laptop that all share; its log tells of nothing that an earlier test did."""
    forget(healthy_laptop)
    return healthy_laptop


def uptime_us(laptop: Laptop) -> int:
    return int(float(sh(laptop, "cat /proc/uptime").split()[0]) * 1_000_000)


def test_every_coming_and_going_is_told_in_order_and_none_besides(laptop: Laptop, way: str) -> None:
    began_us = uptime_us(laptop)
    with watching(laptop, f"{PROFILE} --source {way}") as run:
        course = changed_at_random(laptop, SEED, 24, shortest_s=0.4)

    assert run.code == 10, run.said
    begin, end = run.objects[0], run.objects[-1]
    assert begin["sources"] == sorted(["kernel log", "readings", way])
    assert (begin["limit_ms"], end["missed"]) == ({"uevents": 100, "looks": 200}[way], 0)
    # Every change was done, logged and told once, and nothing else was.
    assert Counter(row[1:] for row in run.events) == Counter(course.done)
    assert sorted(run.events) == logged(laptop, began_us)
    assert out_of_order(run.events) == []
    for port in {port for _, port in course.done}:
        assert [row[1] for row in run.events if row[2] == port] == [row[0] for row in course.done if row[1] == port]
    told = [(one["change"], one["location"]) for incident in run.incidents for one in incident["events"]]
    assert Counter(told) == Counter((change, f"{USB}/{port}") for _, change, port in run.events)


@pytest.mark.parametrize("way", ["uevents"], indirect=True)  # speed and log are read alike in both
def test_what_comes_back_worse_is_told_as_that(laptop: Laptop, way: str) -> None:
    touchpad, camera = laptop.parts["touchpad"], laptop.parts["camera"]
    whole_touchpad, whole_camera = touchpad.part, camera.part
    with watching(laptop, f"{PROFILE} --source {way}") as run:
        camera.unplug()
        sh(laptop, "settle 15 12")
        camera.plug(replace(whole_camera, speed=Speed.FULL))
        sh(laptop, "settle 15 12")
        touchpad.unplug()
        sh(laptop, "settle 15 12")
        touchpad.plug(replace(whole_touchpad, fails={"device": Fault.BUS_ERROR}))
        # drivers/usb/core/hub.c: the line with which the kernel gives up on a port.
        until(laptop, "dmesg | grep -q 'unable to enumerate'")
        sh(laptop, "usleep 500000")
    told = [(one["change"], [device["id"] for device in one["devices"]]) for one in run.incidents]
    assert told == [
        ("gone", ["camera"]),
        ("came back", ["camera"]),
        ("fell back", ["camera"]),
        ("gone", ["touchpad"]),
        ("failed to enumerate", ["touchpad"]),
    ]
    slower, failed = run.incidents[2]["events"][0], run.incidents[4]["events"][0]
    assert (slower["was_kbps"], slower["speed_kbps"]) == (480_000, 12_000)  # high speed, full speed (USB 2.0, 7.1.11)
    assert failed["errno"] == -71  # EPROTO
    for peer, part in ((touchpad, whole_touchpad), (camera, whole_camera)):
        peer.unplug()
        sh(laptop, "settle 15 12")
        peer.plug(part)
        sh(laptop, "settle 15 12")


@pytest.mark.parametrize("way", ["uevents"], indirect=True)  # supplies are read alike in both
def test_a_gauge_that_falls_silent_is_told_and_so_is_its_voice(laptop: Laptop, way: str) -> None:
    def say(byte: int) -> None:
        sh(
            laptop,
            f"printf '\\{byte:03o}' | dd of=/dev/port bs=1 seek={MUTE_PORT} conv=notrunc 2>/dev/null; usleep 6000000",
        )

    with watching(laptop, f"{PROFILE} --source {way}") as run:
        say(MUTE)
        say(0)
    assert [(one["change"], [device["id"] for device in one["devices"]]) for one in run.incidents] == [
        ("stopped talking", ["battery"]),
        ("talks again", ["battery"]),
    ]


def test_a_driver_that_lets_go_of_a_device_that_stays(laptop: Laptop, way: str) -> None:
    """drivers/base/bus.c: what is written to ``unbind`` takes the driver off; the hardware is left as it is."""
    interface = sh(laptop, "basename /sys/bus/usb/devices/*-4.1:1.0")
    with watching(laptop, f"{PROFILE} --source {way}") as run:
        sh(laptop, f"echo {interface} >/sys/bus/usb/drivers/usbhid/unbind; usleep 2500000")
        sh(laptop, f"echo {interface} >/sys/bus/usb/drivers/usbhid/bind; usleep 1500000")
    assert [(one["change"], [device["id"] for device in one["devices"]]) for one in run.incidents] == [
        ("lost its driver", ["keyboard"]),
        ("driver holds it", ["keyboard"]),
    ]


@pytest.mark.parametrize("way", ["looks"], indirect=True)  # which then have nothing but themselves
def test_a_user_without_rights_is_told_what_lacks_and_hears_the_rest(laptop: Laptop, way: str) -> None:
    command = f"cd /tmp; python3 -m usbwatch watch --lines --no-record --for 20 {PROFILE} --source {way}"
    sh(laptop, f"(su bench -c '{command} >/tmp/bench.out 2>/tmp/bench.err'; echo $? >/tmp/bench.code) & true")
    until(laptop, "grep -q 'log may not be read' /tmp/bench.err && grep -q watching /tmp/bench.out")
    laptop.parts["keyboard"].unplug()
    until(laptop, "grep -q GONE /tmp/bench.out")
    laptop.parts["keyboard"].plug()
    until(laptop, "[ -s /tmp/bench.code ]")
    assert sh(laptop, "cat /tmp/bench.code") == "10"
    lines = laptop.machine.fetch("/tmp/bench.out").decode().splitlines()
    assert lines[0].split()[2:4] == ["·", "watching"]
    assert [line.split()[2:5] for line in lines[1:3]] == [["✗", "GONE", "Keyboard"], ["✓", "back", "Keyboard"]]


@pytest.mark.parametrize("way", ["uevents"], indirect=True)
def test_a_hub_that_is_pulled_is_one_event_that_names_its_line(laptop: Laptop, way: str) -> None:
    before = standing(laptop)
    with watching(laptop, f"{PROFILE} --source {way}") as run:
        laptop.machine.take_out(HUB)
        sh(laptop, "settle 15 20; usleep 3000000")
    laptop.put_back(HUB)
    sh(laptop, "settle 15 20")
    assert standing(laptop) == before
    (pulled,) = run.incidents
    assert (pulled["change"], pulled["head"]) == ("gone", f"{USB}/4")
    assert [device["id"] for device in pulled["devices"]] == [
        "internal-hub",
        "keyboard",
        "touchpad",
        "fingerprint-reader",
        "smart-card-reader",
    ]
    assert len(pulled["events"]) == 5
    assert pulled["text"].startswith("Internal hub left (port pci0000:00/14.0/usb2/4) and took Keyboard, Touchpad")
    # The record is a capture like any other.
    usbwatch(laptop, "check", "/tmp/watch.json", *PROFILE.split(), code=10)

"""Sensors: told by the channels that they have, never by reading one (Documentation/ABI/testing/sysfs-bus-iio)."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from support.looking import XHCI, at, coverage_of, look
from support.more_buses import light_sensor, motion_sensor, pci_function
from support.units import LARCH, PLOVER

from usbwatch.capture import CopiedTree, take
from usbwatch.model import CoverageState, Kind, Rung

_Tree = Callable[..., Path]
_KEYBOARD = "sys/devices/pci0000:00/0000:00:14.0/usb1/1-4/1-4.1/1-4.1:1.0/0003:1209:0001.0001"
_LIGHT = "acpi/_SB_.PCI0.I2C2.ALS0"


def _client(root: Path) -> str:
    (entry,) = (root / "sys/bus/i2c/devices").glob("i2c-OSTR0008*")
    return str(entry.resolve().relative_to(root.resolve()))


def test_a_light_sensor_on_i2c_makes_its_client_work(loose_tree: _Tree) -> None:
    root = loose_tree(PLOVER)
    assert at(look(root), _LIGHT, "i2c").rung is Rung.BOUND
    light_sensor(root, _client(root), on_hid=False)
    capture = look(root)
    client = at(capture, _LIGHT, "i2c")
    assert (client.kind, client.rung, client.functions) == (Kind.DEVICE, Rung.WORKING, ("sensor",))
    sensor = at(capture, f"{_LIGHT}/iio", "iio")
    assert (sensor.kind, sensor.functions) == (Kind.FUNCTION, ("sensor",))
    assert sensor.facts == {"name": "als", "channels": "illuminance intensity"}


def test_a_light_sensor_behind_a_hid_hub_on_usb_is_a_function_of_that_device(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    light_sensor(root, _KEYBOARD, on_hid=True)
    sensor = at(look(root), f"{XHCI}/usb2/4.1/if0/hid/HID-SENSOR-200041/iio", "iio")
    assert (sensor.kind, sensor.rung, sensor.functions) == (Kind.FUNCTION, Rung.WORKING, ("sensor",))


def test_a_sensor_that_hangs_on_a_controller_alone_is_a_device_of_its_own(loose_tree: _Tree) -> None:
    """A sensor hub in the processor has a PCI function and no other device (drivers/hid/intel-ish-hid)."""
    root = loose_tree(LARCH)
    hub = pci_function(root, "13.0", "070000", "invented_hub")
    light_sensor(root, hub, on_hid=False, number=0)
    motion_sensor(root, hub, number=1)
    found = [node for node in look(root).nodes if node.bus == "iio"]
    assert [(node.kind, node.functions, node.facts["channels"]) for node in found] == [
        (Kind.DEVICE, ("sensor",), "accel"),
        (Kind.DEVICE, ("sensor",), "illuminance intensity"),
    ]
    assert found[0].facts["label"] == "accel-display"


@pytest.mark.parametrize(
    ("channel", "kind", "functions"),
    [
        ("in_illuminance0_raw", "illuminance", ("sensor",)),
        ("in_accel_linear_x_raw", "accel", ("sensor",)),
        ("in_anglvel_z_raw", "anglvel", ("sensor",)),
        ("in_magn_x_raw", "magn", ("sensor",)),
        ("in_rot_quaternion_raw", "rot", ("sensor",)),
        ("in_proximity_raw", "proximity", ("sensor",)),
        ("in_humidityrelative_input", "humidityrelative", ("sensor",)),
        ("in_temp_ambient_raw", "temp", ()),
        ("in_voltage0-voltage1_raw", "", ()),
        ("in_voltage3_raw", "voltage", ()),
        ("in_accel_scale", "", ()),
        ("out_voltage0_raw", "", ()),
    ],
)
def test_what_a_channel_makes_of_a_device(
    loose_tree: _Tree, channel: str, kind: str, functions: tuple[str, ...]
) -> None:
    """Names of channels from the ABI document."""
    root = loose_tree(LARCH)
    folder = root / light_sensor(root, _KEYBOARD, on_hid=True)
    for name in ("in_illuminance_raw", "in_intensity_both_raw"):
        (folder / name).unlink()
    (folder / channel).write_text("0\n")
    (sensor,) = (node for node in look(root).nodes if node.bus == "iio")
    assert (sensor.facts["channels"], sensor.functions) == (kind, functions)
    assert sensor.rung is (Rung.WORKING if kind else Rung.BOUND)


def test_no_channel_is_read(loose_tree: _Tree) -> None:
    root = loose_tree(LARCH)
    light_sensor(root, _KEYBOARD, on_hid=True)
    read: list[str] = []

    class Watched(CopiedTree):
        def read(self, path: str, limit: int = 65_536) -> bytes:
            read.append(path)
            return super().read(path, limit)

    take(Watched(str(root)), taken_at="")
    of_the_sensor = [path.rpartition("/")[2] for path in read if "/iio:device" in path]
    assert "name" in of_the_sensor
    assert not [name for name in of_the_sensor if name.startswith("in_")]


def test_a_real_kernel_without_sensors(real_tree: _Tree) -> None:
    root = real_tree("healthy")
    assert not (root / "sys/bus/iio").exists()
    assert coverage_of(look(root), "iio").state is CoverageState.NOT_THERE

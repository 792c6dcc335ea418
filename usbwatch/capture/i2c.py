"""I2C and SPI: controllers, and the clients that firmware declares on them.

A client exists because firmware declared it; only a driver and what hangs on
it show that the part answered (drivers/i2c/i2c-core-acpi.c, drivers/spi/spi.c).
"""

from __future__ import annotations

from typing import Iterator

from usbwatch.capture.place import Places
from usbwatch.capture.sight import Sight
from usbwatch.model import Kind, Node, Rung

__all__ = ["I2C_FOLDER", "SPI_FOLDER", "i2c_nodes", "spi_nodes"]

I2C_FOLDER = "sys/bus/i2c/devices"
SPI_FOLDER = "sys/bus/spi/devices"
_SPI_CONTROLLERS = "sys/class/spi_master"


def i2c_nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every I2C adapter and client."""
    for name, folder in sight.devices(I2C_FOLDER):
        if name.startswith("i2c-") and name[4:].isdigit():
            yield Node(
                bus="i2c",
                location=places.of(folder),
                kind=Kind.INFRASTRUCTURE,
                rung=Rung.WORKING,
                name=sight.text(folder, "name"),
            )
        else:
            yield _client("i2c", sight, places, folder)


def spi_nodes(sight: Sight, places: Places) -> Iterator[Node]:
    """Every SPI controller and client."""
    for _, folder in sight.devices(_SPI_CONTROLLERS) if sight.names(_SPI_CONTROLLERS) else ():
        yield Node(bus="spi", location=places.of(folder), kind=Kind.INFRASTRUCTURE, rung=Rung.WORKING)
    for _, folder in sight.devices(SPI_FOLDER):
        yield _client("spi", sight, places, folder)


def _client(bus: str, sight: Sight, places: Places, folder: str) -> Node:
    driver = sight.points_to(folder, "driver")
    firmware = sight.real(f"{folder}/firmware_node")
    return Node(
        bus=bus,
        location=places.of(folder),
        kind=Kind.DEVICE,
        rung=Rung.BOUND if driver else Rung.ATTACHED,
        identity=sight.text(firmware, "hid") or sight.text(folder, "name"),
        name=sight.text(folder, "name"),
        driver=driver,
        facts=sight.facts(folder, "modalias", "waiting_for_supplier"),
    )

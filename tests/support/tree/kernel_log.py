"""The kernel's log of one boot, in the kernel's own words.

Format strings: drivers/usb/core/hub.c, generic.c and config.c (6.1 and 6.12
agree), drivers/acpi/battery.c, drivers/hid/hid-core.c; the sequence of a
failed enumeration is the one that kernel 6.1 printed for the same fault.
"""

from __future__ import annotations

from support.tree.descriptors import strings_of
from support.tree.parts import UsbPart

__all__ = ["KernelLog"]

_SPEEDS = {1: "low-speed", 12: "full-speed", 480: "high-speed", 5000: "SuperSpeed"}
_DESCRIPTOR_TIMEOUT_S = 15.0
_TIMED_OUT = -110


class KernelLog:
    """Lines with a clock that only goes forward."""

    def __init__(self) -> None:
        self._lines: list[str] = []
        self._now = 0.0

    def add(self, text: str, after: float = 0.0131) -> None:
        """One line, ``after`` seconds later than the last."""
        self._now += after
        self._lines.append(f"[{self._now:12.6f}] {text}")

    def text(self) -> str:
        """The whole log, as ``dmesg`` prints it."""
        return "\n".join([*self._lines, ""])

    def boot(self, kernel: str, dmi: dict[str, str]) -> None:
        """The first lines of a boot."""
        self._lines.append(f"[    0.000000] Linux version {kernel} (bench@lowgate) #1 SMP PREEMPT_DYNAMIC")
        self._lines.append(
            "[    0.000000] DMI: {sys_vendor} {product_name}/{board_name}, BIOS {bios_version} {bios_date}".format(
                **dmi
            )
        )
        self._now = 0.42

    def attached(self, name: str, speed: int, number: int) -> None:
        """Something pulls the line."""
        self.add(f"usb {name}: new {_SPEEDS[speed]} USB device number {number} using xhci_hcd", 0.2503)

    def found(self, name: str, part: UsbPart) -> None:
        """Its descriptors were read."""
        identity = f"idVendor={part.vendor:04x}, idProduct={part.product:04x}"
        release = f"{part.release >> 8:x}.{part.release & 0xFF:02x}"
        self.add(f"usb {name}: New USB device found, {identity}, bcdDevice={release:>5}", 0.1508)
        indexes = ", ".join(f"{label}={index}" for label, index in strings_of(part))
        self.add(f"usb {name}: New USB device strings: {indexes}", 0.00007)
        for label, text in (
            ("Product", part.product_name),
            ("Manufacturer", part.manufacturer),
            ("SerialNumber", part.serial),
        ):
            if text:
                self.add(f"usb {name}: {label}: {text}", 0.000009)

    def hub(self, interface: str, ports: int) -> None:
        """The hub driver took a hub."""
        self.add(f"hub {interface}: USB hub found", 0.0021)
        self.add(f"hub {interface}: {ports} port{'' if ports == 1 else 's'} detected", 0.0091)

    def failed(self, name: str, *, port: str, speed: int, stage: str, errno: int, numbers: tuple[int, ...]) -> None:
        """Four attempts to enumerate, given up; ``numbers`` are the device numbers that they burned."""
        wait = _DESCRIPTOR_TIMEOUT_S if errno == _TIMED_OUT else 0.0812
        for attempt, number in enumerate(numbers):
            self.attached(name, speed, number)
            for line in _ATTEMPTS[stage](attempt, number, errno):
                self.add(f"usb {name}: {line}", wait)
            if attempt == 1:
                self.add(f"usb {port}: attempt power cycle", 0.1163)
        self.add(f"usb {port}: unable to enumerate USB device", 0.1198)


def _device(attempt: int, _number: int, errno: int) -> list[str]:
    what = "64" if attempt < 2 else "8"
    return [f"device descriptor read/{what}, error {errno}"] * 2


def _address(attempt: int, number: int, errno: int) -> list[str]:
    if attempt < 2:
        return [f"device descriptor read/64, error {errno}"] * 2
    return ["Device not responding to setup address."] * 2 + [f"device not accepting address {number}, error {errno}"]


def _configuration(_attempt: int, _number: int, errno: int) -> list[str]:
    return [f"unable to read config index 0 descriptor/start: {errno}", f"can't read configurations, error {errno}"]


_ATTEMPTS = {"device": _device, "address": _address, "configuration": _configuration}

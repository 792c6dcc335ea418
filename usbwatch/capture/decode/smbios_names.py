"""What the numbers in SMBIOS structures stand for.

Source: DMTF DSP0134, the section named beside each table. The kinds and
interfaces of pointing devices and the chemistries of batteries were read in
``SmBios.h`` of EDK II (MdePkg). The chassis types 8, 9, 10, 14, 31 and 32
were checked in the kernel's ``drivers/input/keyboard/atkbd.c``; all other
tables are [from memory]. A number that is in no table has no name; it is never
an error.
"""

from __future__ import annotations

from typing import Dict

__all__ = [
    "BATTERY_CHEMISTRIES",
    "CHASSIS_TYPES",
    "CONNECTOR_TYPES",
    "MEMORY_FORM_FACTORS",
    "MEMORY_TYPES",
    "ONBOARD_DEVICE_TYPES",
    "POINTING_INTERFACES",
    "POINTING_KINDS",
    "PORT_TYPES",
    "SLOT_TYPES",
    "SLOT_USAGES",
]

CHASSIS_TYPES: Dict[int, str] = {
    0x01: "other",
    0x02: "unknown",
    0x03: "desktop",
    0x04: "low profile desktop",
    0x05: "pizza box",
    0x06: "mini tower",
    0x07: "tower",
    0x08: "portable",
    0x09: "laptop",
    0x0A: "notebook",
    0x0B: "hand held",
    0x0C: "docking station",
    0x0D: "all in one",
    0x0E: "sub-notebook",
    0x0F: "space-saving",
    0x10: "lunch box",
    0x11: "main server chassis",
    0x12: "expansion chassis",
    0x13: "sub chassis",
    0x14: "bus expansion chassis",
    0x15: "peripheral chassis",
    0x16: "storage chassis",
    0x17: "rack mount chassis",
    0x18: "sealed-case PC",
    0x19: "multi-system chassis",
    0x1A: "compact PCI",
    0x1B: "advanced TCA",
    0x1C: "blade",
    0x1D: "blade enclosure",
    0x1E: "tablet",
    0x1F: "convertible",
    0x20: "detachable",
    0x21: "IoT gateway",
    0x22: "embedded PC",
    0x23: "mini PC",
    0x24: "stick PC",
}
"""System enclosure, section 7.4.1; bit 7 is the lock."""

CONNECTOR_TYPES: Dict[int, str] = {
    0x00: "none",
    0x03: "proprietary",
    0x08: "DB-9 male",
    0x09: "DB-9 female",
    0x0A: "RJ-11",
    0x0B: "RJ-45",
    0x0D: "mini-DIN",
    0x0E: "micro-DIN",
    0x0F: "PS/2",
    0x10: "infrared",
    0x12: "USB",
    0x16: "on-board IDE",
    0x17: "on-board floppy",
    0x1F: "mini-jack",
    0x21: "1394",
    0x22: "SAS/SATA",
    0x23: "USB Type-C",
    0xFF: "other",
}
"""Port connector, section 7.9.2."""

PORT_TYPES: Dict[int, str] = {
    0x00: "none",
    0x08: "serial 16550",
    0x09: "serial 16550A",
    0x0A: "SCSI",
    0x0B: "MIDI",
    0x0C: "joystick",
    0x0D: "keyboard",
    0x0E: "mouse",
    0x10: "USB",
    0x11: "1394",
    0x1C: "video",
    0x1D: "audio",
    0x1E: "modem",
    0x1F: "network",
    0x20: "SATA",
    0x21: "SAS",
    0x22: "multi-function display",
    0x23: "Thunderbolt",
    0xFF: "other",
}
"""Port connector, section 7.9.3."""

SLOT_TYPES: Dict[int, str] = {
    0x01: "other",
    0x02: "unknown",
    0x03: "ISA",
    0x06: "PCI",
    0x07: "PC card",
    0x14: "M.2 socket 1-DP, key A",
    0x15: "M.2 socket 1-SD, key E",
    0x16: "M.2 socket 2, key B",
    0x17: "M.2 socket 3, key M",
    0xA5: "PCI Express",
    0xA6: "PCI Express x1",
    0xA7: "PCI Express x2",
    0xA8: "PCI Express x4",
    0xA9: "PCI Express x8",
    0xAA: "PCI Express x16",
}
"""System slot, section 7.10.1."""

SLOT_USAGES: Dict[int, str] = {
    0x01: "other",
    0x02: "unknown",
    0x03: "available",
    0x04: "in use",
    0x05: "unavailable",
}
"""System slot, section 7.10.3."""

MEMORY_FORM_FACTORS: Dict[int, str] = {
    0x01: "other",
    0x02: "unknown",
    0x03: "SIMM",
    0x04: "SIP",
    0x05: "chip",
    0x06: "DIP",
    0x07: "ZIP",
    0x08: "proprietary card",
    0x09: "DIMM",
    0x0A: "TSOP",
    0x0B: "row of chips",
    0x0C: "RIMM",
    0x0D: "SODIMM",
    0x0E: "SRIMM",
    0x0F: "FB-DIMM",
    0x10: "die",
}
"""Memory device, section 7.18.1."""

MEMORY_TYPES: Dict[int, str] = {
    0x01: "other",
    0x02: "unknown",
    0x03: "DRAM",
    0x07: "RAM",
    0x0F: "SDRAM",
    0x12: "DDR",
    0x13: "DDR2",
    0x18: "DDR3",
    0x1A: "DDR4",
    0x1B: "LPDDR",
    0x1C: "LPDDR2",
    0x1D: "LPDDR3",
    0x1E: "LPDDR4",
    0x20: "HBM",
    0x21: "HBM2",
    0x22: "DDR5",
    0x23: "LPDDR5",
}
"""Memory device, section 7.18.2."""

POINTING_KINDS: Dict[int, str] = {
    0x01: "other",
    0x02: "unknown",
    0x03: "mouse",
    0x04: "track ball",
    0x05: "track point",
    0x06: "glide point",
    0x07: "touch pad",
    0x08: "touch screen",
    0x09: "optical sensor",
}
"""Built-in pointing device, section 7.22.1."""

POINTING_INTERFACES: Dict[int, str] = {
    0x01: "other",
    0x02: "unknown",
    0x03: "serial",
    0x04: "PS/2",
    0x05: "infrared",
    0x06: "HP-HIL",
    0x07: "bus mouse",
    0x08: "ADB",
    0xA0: "bus mouse DB-9",
    0xA1: "bus mouse micro-DIN",
    0xA2: "USB",
    0xA3: "I2C",
    0xA4: "SPI",
}
"""Built-in pointing device, section 7.22.2: which bus to look at."""

BATTERY_CHEMISTRIES: Dict[int, str] = {
    0x01: "other",
    0x02: "unknown",
    0x03: "lead acid",
    0x04: "nickel cadmium",
    0x05: "nickel metal hydride",
    0x06: "lithium-ion",
    0x07: "zinc air",
    0x08: "lithium polymer",
}
"""Portable battery, section 7.23.1."""

ONBOARD_DEVICE_TYPES: Dict[int, str] = {
    0x01: "other",
    0x02: "unknown",
    0x03: "video",
    0x04: "SCSI controller",
    0x05: "ethernet",
    0x06: "token ring",
    0x07: "sound",
    0x08: "PATA controller",
    0x09: "SATA controller",
    0x0A: "SAS controller",
    0x0B: "wireless LAN",
    0x0C: "Bluetooth",
    0x0D: "WWAN",
    0x0E: "eMMC",
    0x0F: "NVMe controller",
    0x10: "UFS controller",
}
"""Onboard device, section 7.42.2, bits 6 to 0."""

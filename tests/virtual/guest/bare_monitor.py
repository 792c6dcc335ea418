"""The peer that a live watch is measured against: a bare loop of pyudev that prints each event of the kernel."""

from __future__ import annotations

import pyudev

monitor = pyudev.Monitor.from_netlink(pyudev.Context(), source="kernel")
for device in iter(monitor.poll, None):
    print(device.action, device.sys_path, flush=True)  # noqa: T201 - that is all it does

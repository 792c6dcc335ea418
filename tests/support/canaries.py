"""Invented secrets planted wherever a capture or a unit's history can hold one, to see whether any comes out again.

All are made up for these tests: serial numbers, addresses with digits from no
register, people who do not exist.
"""

from __future__ import annotations

from dataclasses import replace

from usbwatch.model import Capture, Change, Episode, Kind, Mark, Node, Rung, Watch, WatchEvent

__all__ = ["FREE_TEXTS", "IN_FIELDS", "IN_HISTORY", "IN_TEXTS", "PATIENT", "planted"]

IN_FIELDS = {
    "product serial": "QX7K-8841-ZW03",
    "board serial": "BRD-77K2-ZL09",
    "board asset tag": "LEND-5512-QQ7",
    "chassis serial": "CHS-93M4-WW17",
    "memory serial": "5B2C9D1E",
    "battery serial": "PK-662190-BTT",
    "disk serial": "S4NVX9K7712345T",
    "disk wwid": "eui.0025385971b0c4e2",
    "camera serial": "CM90-4417-XQ",
    "reader serial": "FPX2218GH",
    "card serial": "0x7fa3c91b",
    "helper serial": "a0cec8d2f417",
    "ethernet address": "a4:5e:60:c1:22:9b",
    "radio address": "d8:3b:bf:07:5a:e1",
    "unit UUID": "4c4c4544-0039-4d10-8052-b4c04f4e3733",
    "disk NGUID": "36344630-5254-7193-8125-3845b7f91c6a",
}
"""By what they are: in fields of their own."""

IN_TEXTS = {
    "host of syslog": "anneliese-rechner7",
    "host set": "werkbank-mueller3",
    "user at home": "annelieseq",
    "user of sudo": "korbinianz",
    "user of session": "weatherwaxe",
    "user of uid": "pfefferkornx",
    "user on a medium": "hohlwegx9",
    "mail address": "a.quillfeather@quillmail.example",
    "volume label": "QUILLFEATHER-TAX24",
    "label on a medium": "HOCHZEIT_2019_RAW",
    "label by udev": "XENIA-BACKUP",
    "file system UUID": "9f2c1d7e-55aa-4b3c-8e21-0d6f7a8b9c0d",
    "short file system UUID": "7C4E-91BD",
    "partition UUID": "6b1f0a2e-02",
    "machine id": "b08dfa6083e7567a1921a715c4d2e7fb",
    "wireless network": "Quillfeather Guest 5G",
    "IPv4 address": "192.168.77.203",
    "IPv6 address": "fd12:3456:789a:1::5e77",
    "link-local address": "fe80::a65e:60ff:fec1:229b",
    "other radio": "7c:b2:7d:91:e0:44",
    "other interface": "enx9c5c8ed3a761",
    "serial in the log": "ZT55-0917-KLM",
    "serial by words": "VX-3381-907Q",
    "disk by id": "nvme-INV_DISK_9931TTXQ",
    "logged USB string": "Quill Pocket 0077 XZ",
}
"""By what they are: in log lines and names, and in no field."""

IN_HISTORY = {
    "fitted serial": "TC-20931-NEWX",
    "another serial": "PW-55-0041-KEYB",
}
"""Serial numbers that a person typed."""

FREE_TEXTS = {
    "claim": "it was dropped by Quentin Featherstone",
    "came with": "pink sleeve of Ottoline",
    "note": "collect before Thursday, ring 0151 4960 777",
    "result": "odd whiff of Rosenwasser",
    "remark": "paid by cousin Barnabas",
    "amendment": "mistyped by apprentice Gwendolyn",
    "baseline reason": "kept at wish of Ms Applequist",
    "by": "Thaddeus at bench four",
    "file": "portrait-of-ermintrude.jpg",
    "second claim": "Hildegard spilt lemonade",
    "mark": "pressed where Leocadia sat on it",
}
PATIENT = "Winifred Ashdown"
"""What some shop may use for a label."""


def planted(capture: Capture, *, battery: str = IN_FIELDS["battery serial"], serial: str = "") -> Capture:
    """The capture with the secrets in it; of the healthy or the faulty Larch 13 in ``captures/``."""
    nodes = [_planted(node, battery) for node in capture.nodes]
    nodes += [*_helpers(), *_more()]
    return replace(
        capture,
        unit=replace(capture.unit, product_serial=serial or IN_FIELDS["product serial"]),
        nodes=tuple(sorted(nodes, key=lambda node: (node.location, node.bus))),
        episodes=_episodes(),
        watches=(_watch(),),
        coverage=tuple(
            replace(one, why=f"/home/{IN_TEXTS['user at home']}/copy/{one.bus} was refused") for one in capture.coverage
        ),
    )


_FACTS = {
    ("smbios", "dmi/type2"): {"serial_number": "board serial", "asset_tag": "board asset tag", "uuid": "unit UUID"},
    ("smbios", "dmi/type3"): {"serial_number": "chassis serial"},
    ("nvme", "pci0000:00/06.0/nvme"): {"serial": "disk serial", "wwid": "disk wwid", "nguid": "disk NGUID"},
    ("usb", "pci0000:00/14.0/usb2/5"): {"serial": "camera serial"},
    ("usb", "pci0000:00/14.0/usb2/4.3"): {"serial": "reader serial"},
    ("net", "pci0000:00/19.0/net"): {"address": "ethernet address"},
    ("bluetooth", "pci0000:00/14.0/usb2/6/if0/bluetooth"): {"address": "radio address"},
}


def _planted(node: Node, battery: str) -> Node:
    told = {fact: IN_FIELDS[what] for fact, what in _FACTS.get((node.bus, node.location), {}).items()}
    if (node.bus == "power_supply" and "serial_number" in node.facts) or node.location == "dmi/type22":
        told["serial_number"] = battery
    raw = dict(node.raw)
    if node.bus == "smbios" and told:
        raw["structure"] = "02" + "".join(value.encode().hex() + "00" for value in told.values())
    return replace(node, facts={**node.facts, **told}, raw=raw)


def _more() -> list[Node]:
    return [
        Node(
            bus="smbios",
            location="dmi/type17-dimm-0",
            kind=Kind.DECLARED,
            rung=Rung.ATTACHED,
            facts={"serial_number": IN_FIELDS["memory serial"]},
        ),
        Node(
            bus="mmc",
            location="pci0000:00/1a.0/mmc/0001",
            kind=Kind.DEVICE,
            rung=Rung.BOUND,
            name=f"CARD {IN_FIELDS['card serial']}",
            facts={"serial": IN_FIELDS["card serial"], "placed": "outside", "type": "SD"},
        ),
    ]


def _helpers() -> list[Node]:
    """Devices in no place that the profile knows: a report gives the names of these."""
    address = IN_FIELDS["ethernet address"]
    serial = IN_FIELDS["product serial"]
    names = [
        f"Stick {serial}",
        f"Stick {serial.lower()}",
        f"Stick {serial.replace('-', '')}",
        f"Stick {serial.replace('-', '_')}",
        f"Stick {serial.replace('-', '%2D')}",
        "Stick " + "".join(f"%{ord(letter):02X}" for letter in serial),
        "Stick " + "".join(f"\\x{ord(letter):02x}" for letter in serial),
        f"Stick {serial.encode().hex()}",
        f"Stick {serial.encode('utf-16-le').hex()}",
        f"Stick {serial.encode().hex(' ')}",
        f"Stick {serial[:-3]}…",
        f"Dock {address.upper()}",
        f"Dock {address.replace(':', '-')}",
        f"Dock {address.replace(':', '')}",
        f"Dock {IN_FIELDS['unit UUID'].replace('-', '').upper()}",
        "Dock 44454c4c-3900-104d-8052-b4c04f4e3733",
        f"Hub{IN_FIELDS['disk serial']}x",
        f"Pad {IN_TEXTS['mail address']}",
        f"Pad {IN_TEXTS['wireless network']}",
    ]
    return [
        Node(
            bus="usb",
            location=f"pci0000:00/14.0/usb2/3.{place}",
            kind=Kind.DEVICE,
            rung=Rung.WORKING,
            identity="1209:0010",
            name=name,
            functions=("storage",),
            facts={"removable": "removable", "serial": IN_FIELDS["helper serial"]},
        )
        for place, name in enumerate(names, 1)
    ]


def _watch() -> Watch:
    """A place that no device of the profile has, in whose name a secret stands, and a mark in a person's words."""
    name = f"Pad {IN_TEXTS['mail address']} {IN_FIELDS['product serial']}"
    place = "pci0000:00/14.0/usb2/3.1"
    gone = WatchEvent(at_ms=1000, change=Change.GONE, bus="usb", location=place, name=name)
    return Watch(
        began_at="2026-03-02T09:15:00Z",
        lasted_ms=90_000,
        sources=("uevents",),
        limit_ms=0,
        watched=(place,),
        events=(gone,),
        marks=(Mark(at_ms=900, text=FREE_TEXTS["mark"]),),
    )


def _episodes() -> tuple[Episode, ...]:
    t = IN_TEXTS
    lines = [
        f"Nov 24 14:05:00 {t['host of syslog']} kernel: usb 1-4.1: device descriptor read/64, error -71",
        f"systemd[1]: Hostname set to <{t['host set']}>.",
        f"overlay: open /home/{t['user at home']}/.cache on {t['host of syslog']} failed",
        f"sudo: {t['user of sudo']} : TTY=pts/1 ; PWD=/ ; USER=root ; COMMAND=/bin/dmesg",
        f"session opened for user {t['user of session']}(uid=1000)",
        f"audit: uid=1000({t['user of uid']}) exe=/usr/bin/x of {t['user of session']}",
        f"udisksd: mounted /dev/sda1 at /run/media/{t['user on a medium']}/{t['label on a medium']} for uid",
        f"mail to {t['mail address']} was not sent",
        f"Command line: root=LABEL={t['volume label']} quiet",
        f"link /dev/disk/by-label/{t['label by udev']} is gone",
        f"Command line: root=UUID={t['file system UUID']} ro",
        f"vfat: resume=UUID={t['short file system UUID']} not found",
        f"swap: PARTUUID={t['partition UUID']} not found",
        f"systemd: machine-id: {t['machine id']}",
        f"wlan0: Trying to associate with SSID '{t['wireless network']}'",
        f"nfs: server {t['IPv4 address']} not responding",
        f"IPv6: wlan0: {t['IPv6 address']} is used twice",
        f"IPv6: eth0: {t['link-local address']} is used twice",
        f"Bluetooth: hci0: {t['other radio']} link lost",
        f"r8152 1-3:1.0 {t['other interface']}: renamed",
        f"usb 1-3: SerialNumber: {t['logged USB string']}",
        f"battery: serial number: {t['serial in the log']} does not fit",
        f"scsi: S/N {t['serial by words']} rejected",
        f"link /dev/disk/by-id/{t['disk by id']} is gone",
    ]
    pairs = list(zip(lines[::2], lines[1::2], strict=True))
    return tuple(
        Episode(
            location="pci0000:00/14.0/usb2/4.1",
            trouble=f"enumeration failed {number}" if number else "enumeration failed",
            count=2,
            lines=pair,
        )
        for number, pair in enumerate(pairs)
    )

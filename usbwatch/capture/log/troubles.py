"""The kernel's lines that tell of trouble, as a table.

Each trouble names the kernel source that prints its lines and what the line
is documented to mean there; ``practice`` is what a bench reads from it, which
is common practice without a source. Format strings are those of kernel 6.12
(drivers/usb/core/hub.c has had the same ones since 6.1). A pattern takes the
whole of a message, so that no name which a device chose can stand in one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Dict, List, Optional, Tuple

from usbwatch.capture.log.alternatives import Alternatives
from usbwatch.capture.log.subjects import Place, Subject
from usbwatch.model import Rung

__all__ = [
    "BATTERY_ABSENT",
    "BATTERY_METHOD",
    "BLUETOOTH_SILENT",
    "CARD_GONE",
    "CODEC_FAILED",
    "CONFIGURATION_REFUSED",
    "CONTROLLER_DIED",
    "DISCONNECTED",
    "EC_TIMEOUT",
    "ENUMERATED_LATE",
    "ENUMERATION_FAILED",
    "HID_FAILED",
    "I2C_BUS",
    "I2C_HID_FAILED",
    "INTERMITTENT",
    "MMC_FAILED",
    "NOT_TOP_SPEED",
    "NVME_FAILED",
    "OTHER",
    "OVER_CURRENT",
    "PANEL_DISABLED",
    "PCIE_ERRORS",
    "PORT_DISABLED",
    "PS2_LINE",
    "SATA_FAILED",
    "STILL_ENUMERATING",
    "STRINGS_UNREAD",
    "TROUBLES",
    "TYPEC_FAULT",
    "Told",
    "Trouble",
    "told_by",
]

ENUMERATION_FAILED = "enumeration failed"
STILL_ENUMERATING = "still enumerating"
ENUMERATED_LATE = "enumerated after failures"
OVER_CURRENT = "over-current"
DISCONNECTED = "disconnected"
INTERMITTENT = "intermittent"
CONTROLLER_DIED = "controller died"
PORT_DISABLED = "disabled by hub"
NOT_TOP_SPEED = "not at top speed"
CONFIGURATION_REFUSED = "configuration refused"
STRINGS_UNREAD = "strings not read"
HID_FAILED = "HID probe failed"
I2C_HID_FAILED = "I2C HID failed"
I2C_BUS = "I2C bus trouble"
EC_TIMEOUT = "embedded controller timed out"
BATTERY_METHOD = "battery method failed"
BATTERY_ABSENT = "battery slot empty"
PANEL_DISABLED = "panel disabled at boot"
CODEC_FAILED = "audio codec failed"
NVME_FAILED = "NVMe failed"
PCIE_ERRORS = "PCIe errors"
CARD_GONE = "card left its bus"
SATA_FAILED = "SATA link failed"
MMC_FAILED = "memory card failed"
BLUETOOTH_SILENT = "Bluetooth controller silent"
PS2_LINE = "PS/2 line errors"
TYPEC_FAULT = "Type-C port fault"
OTHER = "other"


@dataclass(frozen=True, slots=True, kw_only=True)
class Trouble:
    """What a trouble in the log is."""

    source: str
    """The kernel file that prints its lines."""
    meaning: str
    """What the lines are documented to mean there."""
    practice: str = ""
    """What a bench reads from it: common practice, no source."""


TROUBLES: Dict[str, Trouble] = {
    ENUMERATION_FAILED: Trouble(
        source="drivers/usb/core/hub.c",
        meaning="something was connected to the port, and no attempt to make a device of it succeeded",
        practice="-71 within milliseconds: power and D+ arrive, data does not (pair, connector, shield); "
        "-110 in steps of 5 s: the part never answers (firmware hung, no clock); -32: it answers and refuses",
    ),
    STILL_ENUMERATING: Trouble(
        source="drivers/usb/core/hub.c",
        meaning="something was connected; the kernel had neither made a device of it nor given up when the log ends",
        practice="a part that never answers is retried for over a minute: capture again in a minute",
    ),
    ENUMERATED_LATE: Trouble(
        source="drivers/usb/core/hub.c",
        meaning="attempts failed before one succeeded",
        practice="a marginal contact or supply when it comes again; once at start means little",
    ),
    OVER_CURRENT: Trouble(
        source="drivers/usb/core/hub.c",
        meaning="the port still reported over-current after its power had been off and on again",
        practice="rail shorted or overloaded, or the sense input stuck; ports often share one input, so the port "
        "named need not be the shorted one",
    ),
    DISCONNECTED: Trouble(
        source="drivers/usb/core/hub.c",
        meaning="a device that had been there left its port",
        practice="unplugged, or lost contact",
    ),
    INTERMITTENT: Trouble(
        source="drivers/usb/core/hub.c",
        meaning="a device left its port several times",
        practice="intermittent contact, a supply that breaks down under load, or firmware that restarts",
    ),
    CONTROLLER_DIED: Trouble(
        source="drivers/usb/core/hcd.c, drivers/usb/host/xhci-ring.c",
        meaning="the USB host controller stopped answering; everything on its root hubs is gone with it",
        practice="controller, its power state or its firmware: not the parts that hang on it",
    ),
    PORT_DISABLED: Trouble(
        source="drivers/usb/core/hub.c",
        meaning="the hub switched the port off without a disconnect; the kernel guesses at EMI and switches it on",
        practice="intermittent contact, marginal supply, noise",
    ),
    NOT_TOP_SPEED: Trouble(
        source="drivers/usb/core/hub.c",
        meaning="the device could run at high speed and is linked at full speed",
        practice="the high-speed handshake failed: signal margin, damaged pair, bad protection diode",
    ),
    CONFIGURATION_REFUSED: Trouble(
        source="drivers/usb/core/generic.c",
        meaning="the device was identified and did not take the configuration that was set",
        practice="firmware of the part, or a contact that fails under load",
    ),
    STRINGS_UNREAD: Trouble(
        source="drivers/usb/core/message.c",
        meaning="the device does not give its string descriptors; it works without",
    ),
    HID_FAILED: Trouble(
        source="drivers/hid/usbhid/hid-core.c, drivers/base/dd.c",
        meaning="the device is identified and its HID report descriptor could not be used",
        practice="firmware of the part, or a marginal line",
    ),
    I2C_HID_FAILED: Trouble(
        source="drivers/hid/i2c-hid/i2c-hid-core.c",
        meaning="the address answered, and what was read or asked after that failed",
        practice="no acknowledge of a reset: interrupt line or firmware; nonsense descriptor: firmware or noise",
    ),
    I2C_BUS: Trouble(
        source="drivers/i2c/busses/i2c-designware-*.c, i2c-i801.c, drivers/i2c/i2c-core-base.c",
        meaning="the I2C controller could not finish transfers",
        practice="pull-ups, a shorted line, or one part that holds the bus",
    ),
    EC_TIMEOUT: Trouble(
        source="drivers/acpi/acpica/evregion.c",
        meaning="the embedded controller did not answer in time",
        practice="EC firmware or power, or a fault in the firmware's methods: judge neither battery nor lid nor fan",
    ),
    BATTERY_METHOD: Trouble(
        source="drivers/acpi/battery.c", meaning="firmware's method for the battery's readings failed"
    ),
    BATTERY_ABSENT: Trouble(source="drivers/acpi/battery.c", meaning="no pack was in the slot when the driver started"),
    PANEL_DISABLED: Trouble(
        source="drivers/gpu/drm/i915/display/intel_dp.c",
        meaning="the panel did not answer at start, and its connector was taken out",
        practice="display cable, panel, or its supply",
    ),
    CODEC_FAILED: Trouble(
        source="sound/pci/hda/hda_controller.c, hda_codec.c",
        meaning="the audio controller is there, and a codec behind it does not answer",
    ),
    NVME_FAILED: Trouble(
        source="drivers/nvme/host/pci.c, core.c",
        meaning="the disk's controller stopped answering; a status of all ones: its PCI function is gone",
        practice="disk, its slot, or its supply",
    ),
    PCIE_ERRORS: Trouble(
        source="drivers/pci/pcie/aer.c, dpc.c, drivers/pci/hotplug/pciehp_ctrl.c",
        meaning="the PCI Express link reported errors",
        practice="correctable ones by the thousand with a working device: signal margin or a power-saving fault",
    ),
    CARD_GONE: Trouble(
        source="drivers/net/wireless/intel/iwlwifi, drivers/pci/pci.c",
        meaning="registers read as all ones, or the function could not be woken: the card is off its bus",
    ),
    SATA_FAILED: Trouble(
        source="drivers/ata/libata-core.c",
        meaning="SStatus says that a drive is there and no link could be made (DET 1)",
    ),
    MMC_FAILED: Trouble(source="drivers/mmc/core", meaning="a memory card or soldered memory could not be set up"),
    BLUETOOTH_SILENT: Trouble(
        source="net/bluetooth/hci_core.c", meaning="the controller is enumerated and does not answer commands"
    ),
    PS2_LINE: Trouble(
        source="drivers/input/keyboard/atkbd.c, drivers/input/mouse/psmouse-base.c",
        meaning="what the PS/2 device sends is damaged, or it stopped answering",
        practice="line noise or connector",
    ),
    TYPEC_FAULT: Trouble(source="drivers/usb/typec/ucsi/ucsi.c", meaning="the port controller reported a fault"),
    OTHER: Trouble(source="", meaning="a line about a USB device or port that this version does not know"),
}
"""Every trouble by its name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What one message tells."""

    trouble: str
    """A name of ``TROUBLES``; "" for a line that belongs to a healthy device."""
    rung: Rung = Rung.ABSENT
    """What the line proves of the device that it is about."""
    event: str = ""
    """What it means to an enumeration: ``start``, ``failure``, ``given up``, ``enumerated``, ``gone``."""


_E = r"(?P<errno>-\d{1,4})"
_USB = (Place.USB_DEVICE, Place.USB_PORT)


def _enumeration(rung: Rung, event: str = "failure") -> Told:
    return Told(trouble=ENUMERATION_FAILED, rung=rung, event=event)


_FINE = Told(trouble="")
_SPEEDS = r"(?:low-speed|full-speed|high-speed|super-speed|SuperSpeed(?: Plus)?(?: Gen \dx\d)?)"

_TABLE: Tuple[Tuple[Tuple[Place, ...], str, Told], ...] = (
    # drivers/usb/core/hub.c, config.c, message.c, generic.c: a USB device or its port
    (_USB, rf"new {_SPEEDS} USB device number (?P<number>\d{{1,3}}) using [\w-]+", Told(trouble="", event="start")),
    (_USB, rf"device descriptor read/(?:64|8), error {_E}", _enumeration(Rung.ATTACHED)),
    (_USB, rf"device descriptor read/all, error {_E}", _enumeration(Rung.ADDRESSED)),
    (_USB, r"Device not responding to setup (?:address|context)\.", _enumeration(Rung.ATTACHED)),
    (_USB, rf"device not accepting address \d{{1,3}}, error {_E}", _enumeration(Rung.ATTACHED)),
    (_USB, rf"unable to read config index \d{{1,3}} descriptor/\w+: {_E}", _enumeration(Rung.ADDRESSED)),
    (_USB, rf"can't read configurations, error {_E}", _enumeration(Rung.ADDRESSED)),
    (_USB, rf"hub failed to enable device, error {_E}", _enumeration(Rung.ATTACHED)),
    (_USB, r"Invalid ep0 maxpacket: \d{1,5}", _enumeration(Rung.ATTACHED)),
    (_USB, r"Cannot enable\. Maybe the USB cable is bad\?", _enumeration(Rung.ATTACHED)),
    (_USB, r"connect-debounce failed", _enumeration(Rung.ATTACHED, "given up")),
    (_USB, rf"cannot (?:warm )?reset \(err = {_E}\)", _enumeration(Rung.ATTACHED)),
    (_USB, r"unable to enumerate USB device", _enumeration(Rung.ATTACHED, "given up")),
    (
        _USB,
        r"New USB device found, idVendor=[0-9a-f]{4}, idProduct=[0-9a-f]{4}, bcdDevice= ?[0-9a-f]{1,2}\.[0-9a-f]{2}",
        Told(trouble="", rung=Rung.IDENTIFIED, event="enumerated"),
    ),
    (_USB, r"USB disconnect, device number (?P<number>\d{1,3})", Told(trouble=DISCONNECTED, event="gone")),
    (_USB, rf"can't set config #\d{{1,3}}, error {_E}", Told(trouble=CONFIGURATION_REFUSED, rung=Rung.IDENTIFIED)),
    (_USB, rf"string descriptor 0 read error: {_E}", Told(trouble=STRINGS_UNREAD, rung=Rung.IDENTIFIED)),
    (
        _USB,
        r"not running at top speed; connect to a high speed hub",
        Told(trouble=NOT_TOP_SPEED, rung=Rung.IDENTIFIED),
    ),
    ((*_USB, Place.HUB), r"over-current condition", Told(trouble=OVER_CURRENT)),
    (_USB, r"disabled by hub \(EMI\?\), re-enabling\.\.\.", Told(trouble=PORT_DISABLED)),
    # what a healthy device says in fixed words, so that it is no unknown line
    (_USB, rf"reset {_SPEEDS} USB device number \d{{1,3}} using [\w-]+", _FINE),
    (_USB, r"New USB device strings: Mfr=\d{1,3}, Product=\d{1,3}, SerialNumber=\d{1,3}", _FINE),
    (_USB, r"attempt power cycle|authorized to connect|chopping to \d{1,3} config\(s\)", _FINE),
    (_USB, r"unknown interface protocol 0x[0-9a-f]{1,2}, assuming v1|root hub lost power or was reset", _FINE),
    (_USB, r"Using ep0 maxpacket: \d{1,5}|We don't know the algorithms for LPM for this host, disabling LPM\.", _FINE),
    (_USB, r"UVC non compliance - GET_DEF\(PROBE\) not supported\. Enabling workaround\.", _FINE),
    ((Place.HUB,), r"USB hub found|\d{1,3} ports? detected", _FINE),
    # the USB controller: drivers/usb/core/hcd.c, drivers/usb/host/xhci-ring.c, xhci.c
    (
        (Place.PCI,),
        (
            r"HC died; cleaning up|xHCI host controller not responding, assume dead|"
            r"Host controller not accessible, removed\?|WARNING: Host (?:System|Controller) Error"
        ),
        Told(trouble=CONTROLLER_DIED),
    ),
    # HID over USB: drivers/hid/usbhid/hid-core.c; drivers/base/dd.c words a failed probe in two ways
    ((Place.INTERFACE,), rf"can't add hid device: {_E}", Told(trouble=HID_FAILED, rung=Rung.IDENTIFIED)),
    (
        (Place.INTERFACE,),
        rf"probe(?: with driver (?:usbhid|hid-[\w-]+))? failed with error {_E}",
        Told(trouble=HID_FAILED, rung=Rung.IDENTIFIED),
    ),
    ((Place.HID,), rf"probe(?: with driver [\w-]+)? failed with error {_E}", Told(trouble=HID_FAILED)),
    ((Place.HID,), r"unknown main item tag 0x[0-9a-f]{1,2}|item fetching failed at offset \d{1,5}/\d{1,5}", _FINE),
    # HID over I2C: drivers/hid/i2c-hid/i2c-hid-core.c
    (
        (Place.I2C,),
        (
            rf"[Ff]ailed to fetch (?:the )?HID [Dd]escriptor(?:: {_E})?|unexpected HID descriptor bcdVersion "
            r"\(0x[0-9a-f]{1,4}\)|weird size of HID descriptor \(\d{1,5}\)|failed to change power setting\.|"
            r"reading report descriptor failed|device did not ack reset within 1000 ms|"
            r"HID over i2c (?:has not been provided an Int|doesn't have a valid) IRQ|"
            r"[\w]+: incomplete report \(\d{1,6}/\d{1,6}\)"
        ),
        Told(trouble=I2C_HID_FAILED, rung=Rung.ADDRESSED),
    ),
    ((Place.I2C,), rf"failed to reset device: {_E}", Told(trouble=I2C_HID_FAILED, rung=Rung.ADDRESSED)),
    # I2C controllers
    (
        (Place.I2C_CONTROLLER, Place.PCI),
        (
            rf"controller timed out|i2c timeout error {_E}|timeout waiting for bus ready|timeout in disabling adapter|"
            r"\w+: lost arbitration|SCL is stuck low, exit recovery|SMBus is busy, can't use it!"
        ),
        Told(trouble=I2C_BUS),
    ),
    # firmware's methods and the embedded controller (drivers/acpi)
    (
        (Place.NONE,),
        (
            r"ACPI Error: (?:Timeout from EC hardware or EC device driver|AE_TIME, Returned by Handler for "
            r"\[EmbeddedControl\])(?: \([\w/.-]{1,60}\))?"
        ),
        Told(trouble=EC_TIMEOUT),
    ),
    ((Place.ACPI,), r"_(?:STA|BIX|BIF|BST) evaluation failed(?:: AE_\w{1,30})?", Told(trouble=BATTERY_METHOD)),
    ((Place.BATTERY,), r"\(battery absent\)", Told(trouble=BATTERY_ABSENT)),
    # the panel: drivers/gpu/drm/i915/display/intel_dp.c
    (
        (Place.PCI,),
        (
            r"(?:\[drm\] )?(?:\[ENCODER:\d{1,5}:[\w /-]{1,40}\] )?(?:failed to retrieve link info|HPD is down|"
            r"failed to find fixed mode for the panel|unusable PPS), disabling eDP"
        ),
        Told(trouble=PANEL_DISABLED),
    ),
    # sound/pci/hda
    (
        (Place.PCI,),
        (
            r"no codecs (?:found!|initialized)|Codec #\d probe error; disabling it\.\.\.|"
            r"No response from codec, resetting bus: last cmd=0x[0-9a-f]{8}|"
            r"azx_get_response timeout, switching to \w+ mode: last cmd=0x[0-9a-f]{8}"
        ),
        Told(trouble=CODEC_FAILED),
    ),
    # disks: drivers/nvme/host, drivers/ata/libata-core.c, drivers/mmc/core
    (
        (Place.NVME,),
        (
            r"controller is down; will reset: CSTS=0x[0-9a-f]{1,8}, PCI_STATUS=0x[0-9a-f]{1,4}|"
            r"Device not ready; aborting \w+, CSTS=0x[0-9a-f]{1,8}|"
            r"I/O (?:tag )?\d{1,5} [^\n]{0,120}timeout, (?:reset controller|aborting|"
            r"completion polled|disable controller)|"
            r"(?:Removing|Disabling device) after (?:probe|reset) failure(?: status)?: -?\d{1,5}"
        ),
        Told(trouble=NVME_FAILED),
    ),
    ((Place.ATA,), r"SATA link down \(SStatus \d?1 SControl [0-9A-F]{1,4}\)", Told(trouble=SATA_FAILED)),
    (
        (Place.MMC,),
        rf"error {_E} whilst initialising (?:SD|MMC|SDIO) card|Failed to initialize a non-removable card",
        Told(trouble=MMC_FAILED),
    ),
    # PCI Express: drivers/pci
    (
        (Place.PCI,),
        (
            r"PCIe Bus Error: severity=[\w() -]{1,40}, type=[\w -]{1,30}, \([\w ]{1,30}\)|"
            r"containment event, status:0x[0-9a-f]{1,4}, [^\n]{0,80}|"
            r"broken device, retraining non-functional downstream link at 2\.5GT/s"
        ),
        Told(trouble=PCIE_ERRORS),
    ),
    (
        (Place.PCI,),
        (
            r"HW_REV=0xFFFFFFFF, PCI issues\?|Device gone - attempting removal|not ready \d{1,9}ms after [\w -]{1,30}; "
            r"giving up|Unable to change power state from \w+ to D0, device inaccessible"
        ),
        Told(trouble=CARD_GONE),
    ),
    # radios, PS/2, Type-C
    ((Place.HCI,), r"command 0x[0-9a-f]{4} tx timeout", Told(trouble=BLUETOOTH_SILENT)),
    (
        (Place.SERIO,),
        (
            r"Frame/parity error: [0-9a-f]{2}|bad data from KBC -(?: timeout)?(?: bad parity)?|"
            r"issuing reconnect request|"
            r"Failed to (?:reset|enable|deactivate) (?:mouse|keyboard) on isa[\w/]{1,30}(?:: -?\d{1,4})?"
        ),
        Told(trouble=PS2_LINE),
    ),
    (
        (Place.TYPEC,),
        r"(?:con\d: )?(?:Overcurrent condition|Dead battery condition!|Reverse Current Protection detected)",
        Told(trouble=TYPEC_FAULT),
    ),
)


def _alternatives() -> Dict[Place, Tuple[Alternatives, Tuple[Told, ...]]]:
    """Of each place its patterns at once, and in the same order what they tell."""
    by_place: Dict[Place, List[Tuple[str, Told]]] = {}
    for places, pattern, told in _TABLE:
        for place in places:
            by_place.setdefault(place, []).append((pattern, told))
    return {
        place: (Alternatives([rf"(?:{pattern})\Z" for pattern, _ in rows]), tuple(told for _, told in rows))
        for place, rows in by_place.items()
    }


_BY_PLACE = _alternatives()
_NOTHING: Tuple[Alternatives, Tuple[Told, ...]] = (Alternatives([]), ())


def told_by(subject: Subject) -> Optional[Tuple[Told, int, int]]:
    """What a line tells, its error number and the device number in it (0 for none); None for an unknown line."""
    alternatives, tellings = _BY_PLACE.get(subject.place, _NOTHING)
    known = alternatives.match(subject.message)
    if known is None:
        return None
    number, parts = known
    return tellings[number], int(parts.get("errno") or 0), int(parts.get("number") or 0)

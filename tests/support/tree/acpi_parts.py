"""Batteries, adapters, buttons and the PS/2 controller: what drivers make of firmware's declarations.

drivers/acpi/{battery,ac,button}.c, drivers/input/serio/{serio,i8042}.c.
"""

from __future__ import annotations

from support.tree.inputs import INPUT_KINDS, input_node
from support.tree.parts import AcpiPart, Battery, SerioPort
from support.tree.site import Site

__all__ = ["build_acpi_parts", "build_ps2"]

_BUTTONS = {"PNP0C0D": ("Lid Switch", "lid", 5), "PNP0C0C": ("Power Button", "power-button", 1)}
_HOST = 0x19
_I8042 = 0x11
_UNKNOWN = "-1"


def build_acpi_parts(site: Site) -> None:
    """Drivers bound to declared objects, and what they make."""
    for part in site.laptop.acpi:
        folder = site.namespace.folder(part.path)
        status = site.conditions.statuses.get(part.id, part.status)
        if not folder or not site.drives(part.id, part.driver) or status == 0:
            continue
        site.namespace.drive(part.path, part.driver)
        name = part.path.rpartition(".")[2].rstrip("_")
        if part.battery:
            _battery(site, part.battery, folder, name)
        elif part.online is not None:
            _adapter(site, folder, name)
        elif part.hid in _BUTTONS:
            _button(site, part, folder)


def _supply(site: Site, folder: str, name: str, **values: str | int) -> None:
    told = {"name": name, **values}
    uevent = "".join(f"POWER_SUPPLY_{key.upper()}={value}\n" for key, value in told.items() if key != "alarm")
    site.writer.class_device(f"{folder}/power_supply/{name}", "power_supply", folder, uevent=uevent, **values)


def _adapter(site: Site, folder: str, name: str) -> None:
    online = int(site.conditions.on_mains)
    site.log.add(f"ACPI: AC: AC Adapter [{name}] ({'on' if online else 'off'}-line)")
    _supply(site, folder, name, type="Mains", online=online)


def _battery(site: Site, battery: Battery, folder: str, name: str) -> None:
    state = site.conditions.battery
    site.log.add(f"ACPI: battery: Slot [{name}] (battery {'absent' if state == 'absent' else 'present'})")
    if state == "absent":
        return
    values = {"well": _readings, "silent": _silent, "zero": _zero}[state](site, battery)
    _supply(site, folder, name, type="Battery", **values)


def _readings(site: Site, battery: Battery) -> dict[str, str | int]:
    charging = site.conditions.on_mains
    return {
        "status": "Charging" if charging else "Discharging",
        "present": 1,
        "technology": "Li-ion",
        "cycle_count": battery.cycle_count,
        "voltage_min_design": battery.voltage_min_design,
        "voltage_now": battery.voltage_now,
        "current_now": battery.current_now,
        "charge_full_design": battery.full_design,
        "charge_full": battery.full,
        "charge_now": battery.now,
        "capacity": battery.now * 100 // battery.full,
        "capacity_level": "Normal",
        "model_name": battery.model,
        "manufacturer": battery.manufacturer,
        "serial_number": battery.serial,
        "alarm": 0,
    }


def _silent(_site: Site, _battery: Battery) -> dict[str, str | int]:
    """All ones in _BIX and _BST: no capacity files, the other readings fail, the cycle count reads -1."""
    return {
        "status": "Not charging",
        "present": 1,
        "technology": "Li-ion",
        "cycle_count": _UNKNOWN,
        "model_name": "",
        "manufacturer": "",
        "serial_number": "",
    }


def _zero(_site: Site, _battery: Battery) -> dict[str, str | int]:
    """Nothing but zeros in _BIX and _BST, as a 6.1 kernel showed them."""
    return {
        "status": "Not charging",
        "present": 1,
        "technology": "Non-rechargeable",
        "cycle_count": 0,
        "voltage_min_design": 0,
        "voltage_now": 0,
        "current_now": 0,
        "energy_now": 0,
        "model_name": "",
        "manufacturer": "",
        "serial_number": "",
    }


def _button(site: Site, part: AcpiPart, folder: str) -> None:
    name, kind, product = _BUTTONS[part.hid]
    input_node(
        site.writer,
        folder,
        INPUT_KINDS[kind],
        name=name,
        phys=f"{part.hid}/button/input0",
        ids=(_HOST, 0, product, 0),
    )
    site.log.add(f"ACPI: button: {name} [{part.path.rpartition('.')[2]}]")


def build_ps2(site: Site) -> None:
    """The PS/2 controller and its ports, where the unit has one."""
    if not site.laptop.serio:
        site.log.add("i8042: PNP: No PS/2 controller found.")
        return
    controller = "sys/devices/platform/i8042"
    site.writer.bus_device(
        controller,
        "platform",
        driver="i8042",
        uevent="DRIVER=i8042\nMODALIAS=platform:i8042\n",
        modalias="platform:i8042",
    )
    for index, port in enumerate(site.laptop.serio):
        path = f"_SB_.PCI0.{site.laptop.lpc}.{port.acpi_name}"
        pnp = f"sys/devices/pnp0/00:{index:02x}"
        driver = f"i8042 {port.kind.lower()}"
        site.writer.bus_device(pnp, "pnp", driver=driver, id=port.pnp_id, resources="state = active")
        site.namespace.bind(pnp, path)
        _port(site, port, controller, path)


def _port(site: Site, port: SerioPort, controller: str, path: str) -> None:
    keyboard = port.kind == "KBD"
    answers = keyboard or port.id not in site.conditions.missing
    driver = port.driver if answers and site.drives(port.id, port.driver) else ""
    number, irq = site.writer.number("serio"), 1 if keyboard else 12
    site.log.add(f"serio: i8042 {port.kind} port at 0x60,0x64 irq {irq}")
    folder = f"{controller}/serio{number}"
    kind = "06" if keyboard else "01"
    modalias = f"serio:ty{kind}pr00id00ex00"
    uevent = (f"DRIVER={driver}\n" if driver else "") + (
        f"SERIO_TYPE={kind}\nSERIO_PROTO=00\nSERIO_ID=00\nSERIO_EXTRA=00\nMODALIAS={modalias}\n"
        f"SERIO_FIRMWARE_ID=PNP: {port.pnp_id}\n"
    )
    values = {"description": f"i8042 {port.kind} port", "firmware_id": f"PNP: {port.pnp_id}", "modalias": modalias}
    values |= {"protocol": port.protocol} if port.protocol and driver else {}
    site.writer.bus_device(folder, "serio", driver=driver, uevent=uevent, bind_mode="auto", **values)
    site.writer.attributes(f"{folder}/id", extra="00", id="00", proto="00", type=kind)
    if keyboard:
        site.namespace.bind(folder, path)
    if driver:
        ids = (_I8042, 1, 1, 0xAB83) if keyboard else (_I8042, 2, 7, 0x01B1)
        name = "AT Translated Set 2 keyboard" if keyboard else "PS/2 Touchpad"
        phys = f"isa0060/serio{number}/input0"
        input_node(site.writer, folder, INPUT_KINDS[port.hid], name=name, phys=phys, ids=ids)

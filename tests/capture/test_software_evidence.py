"""What of the looking system a capture keeps: switches, blacklists, drivers; and what it never keeps."""

from __future__ import annotations

import errno
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from support.fake_tree import FakeTree
from support.looking import coverage_of, look
from support.sysfs import Conditions
from support.units import HERON, LARCH

from usbwatch.capture import drivers, to_json
from usbwatch.capture.drivers import driver_list, loaded
from usbwatch.capture.kernel_parameters import blacklists, switches
from usbwatch.capture.modprobe_files import commands, configured
from usbwatch.capture.place import Places
from usbwatch.capture.saved import parse
from usbwatch.capture.sight import Sight
from usbwatch.capture.software import software
from usbwatch.model import Blacklisted, CoverageState, Software

_Tree = Callable[..., Path]

PRIVATE = "root=UUID=11111111-2222-3333-4444-555555555555 resume=/dev/mapper/owner ip=192.0.2.7 luks.key=secret "

SWITCHES = {
    # Documentation/admin-guide/kernel-parameters.txt, each under its own name.
    "no auxiliary port": ("i8042.noaux", ("i8042.noaux",)),
    "no keyboard port": ("i8042.nokbd=1", ("i8042.nokbd",)),
    "switched off again": ("i8042.noaux=0 nousb=n", ()),
    "no USB": ("nousb usbcore.nousb", ("nousb", "usbcore.nousb")),
    "no ACPI": ("acpi=off", ("acpi=off",)),
    "of several PCI options each": ("pci=nomsi,off", ("pci=nomsi", "pci=off")),
    "addresses of devices are left out": ("pci=resource_alignment=20@00:1f.3;disable_acs_redir,noaer", ("pci=noaer",)),
    "a dash is an underscore": ("usbcore.authorized-default=0", ("usbcore.authorized_default=0",)),
    "radios start blocked": ("rfkill.default_state=0", ("rfkill.default_state=0",)),
    "what follows two dashes is for init": ("quiet -- nousb", ()),
    "part of another word": ("foo.nousb xnousb nousbx", ()),
    "within quotes": ('dyndbg="file drivers/usb/* +p nousb" nomodeset', ("nomodeset",)),
}


@pytest.mark.parametrize(("line", "kept"), SWITCHES.values(), ids=SWITCHES)
def test_of_a_command_line_only_what_bears_on_hardware_is_kept(line: str, kept: tuple[str, ...]) -> None:
    assert switches(PRIVATE + line) == kept


def test_modules_are_blacklisted_by_three_parameters() -> None:
    """kernel-parameters.txt (module_blacklist), modprobe(8), dracut.cmdline(7)."""
    line = PRIVATE + "module_blacklist=uvcvideo,psmouse modprobe.blacklist=hid-multitouch rd.driver.blacklist=btusb"
    assert [(one.module, one.where) for one in blacklists(line)] == [
        ("uvcvideo", "kernel parameter module_blacklist"),
        ("psmouse", "kernel parameter module_blacklist"),
        ("hid_multitouch", "kernel parameter modprobe.blacklist"),
        ("btusb", "kernel parameter rd.driver.blacklist"),
    ]
    assert blacklists("module_blacklist=../../etc/x,a\x1bb") == ()


COMMANDS = {
    # modprobe.d(5).
    "blacklist": ("blacklist uvcvideo\n", ["uvcvideo"]),
    "a dash is an underscore": ("blacklist hid-multitouch", ["hid_multitouch"]),
    "a comment": ("# blacklist uvcvideo\n#blacklist btusb\n", []),
    "continued on the next line": ("blacklist \\\nuvcvideo\n", ["uvcvideo"]),
    "installed by doing nothing": ("install btusb /bin/false\ninstall uvcvideo /usr/bin/true\n", ["btusb", "uvcvideo"]),
    "installed by another command": ("install btusb /sbin/modprobe --ignore-install btusb\n", []),
    "options and aliases": ("options uvcvideo quirks=1\nalias cam uvcvideo\nremove btusb /bin/false\n", []),
    "a word too few": ("blacklist\ninstall btusb\n", []),
}


@pytest.mark.parametrize(("text", "modules"), COMMANDS.values(), ids=COMMANDS)
def test_a_file_keeps_modules_from_being_loaded(text: str, modules: list[str]) -> None:
    assert list(commands(text)) == modules


def test_of_files_with_one_name_the_first_folder_counts() -> None:
    """modprobe.d(5) and libkmod-config.c: /etc before /run before /usr/lib; a link to /dev/null says nothing."""
    files = {
        "etc/modprobe.d/a.conf": b"blacklist uvcvideo\n",
        "usr/lib/modprobe.d/a.conf": b"blacklist btusb\n",
        "run/modprobe.d/b.conf": b"blacklist psmouse\n",
        "usr/lib/modprobe.d/c.conf": b"blacklist e1000e\n",
        "usr/lib/modprobe.d/d.txt": b"blacklist nvme\n",
    }
    sight = Sight(FakeTree(files, {"etc/modprobe.d/c.conf": "/dev/null"}))
    assert configured(sight) == (
        Blacklisted(module="uvcvideo", where="/etc/modprobe.d/a.conf"),
        Blacklisted(module="psmouse", where="/run/modprobe.d/b.conf"),
    )


def test_without_such_folders_a_copied_tree_says_nothing_of_blacklists() -> None:
    assert configured(Sight(FakeTree({"sys/bus/x": b""}, {}))) is None


RELEASES = {"a release": ("6.1.0-56-amd64", True), "a way out": ("../../etc", False), "none": ("", False)}


@pytest.mark.parametrize(("release", "found"), RELEASES.values(), ids=RELEASES)
def test_a_list_of_drivers_is_looked_for_under_a_kernels_release_alone(release: str, found: bool) -> None:
    files = {f"lib/modules/{name}/modules.alias": b"alias usb:v* x\n" for name in ("6.1.0-56-amd64", "../../etc")}
    listed, _ = driver_list(Sight(FakeTree(files, {})), release, {"usb:v1"})
    assert (listed == {"usb:v1": ("x",)}) is found


def test_loaded_modules_are_those_of_proc() -> None:
    """Documentation: proc(5), /proc/modules; Documentation/ABI/stable/sysfs-module."""
    line = b"snd_usb_audio 385024 0 - Live 0xffffffffc094e000\nuvcvideo 12 1 a,b, Live 0x0\n"
    assert loaded(Sight(FakeTree({"proc/modules": line}, {}))) == frozenset({"snd_usb_audio", "uvcvideo"})
    assert loaded(Sight(FakeTree({"sys/module/btusb/refcnt": b"0\n"}, {}))) == frozenset({"btusb"})
    assert loaded(Sight(FakeTree({}, {}))) is None


def with_system(root: Path, *, line: str = "quiet", conf: str = "", aliases: str = "", modules: str = "usbhid") -> Path:
    """A built tree with what else of a system was copied."""
    kernel = (root / "proc/sys/kernel/osrelease").read_text(encoding="utf-8").strip()
    files = {
        "proc/cmdline": f"{PRIVATE}{line}\n",
        "proc/modules": "".join(f"{name} 1 0 - Live 0x0\n" for name in modules.split()),
        "etc/modprobe.d/bench.conf": conf,
        f"lib/modules/{kernel}/modules.alias": aliases,
        f"lib/modules/{kernel}/modules.builtin.modinfo": "",
    }
    for name, text in files.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text(text, encoding="utf-8")
    return root


def test_a_capture_tells_what_the_system_has_for_a_device_without_driver(loose_tree: _Tree) -> None:
    root = with_system(
        loose_tree(LARCH, Conditions(undriven=("camera",))),
        line="i8042.noaux",
        conf="blacklist uvcvideo\n",
        aliases="alias usb:v*p*d*dc*dsc*dp*ic0Eisc01ip00in* uvcvideo\n",
    )
    capture = look(root)
    told = capture.software
    assert told.seen == ("command line", "driver list", "loaded modules", "modprobe.d")
    assert told.switches == ("i8042.noaux",)
    assert told.blacklisted == (Blacklisted(module="uvcvideo", where="/etc/modprobe.d/bench.conf"),)
    assert told.drivers_for["pci0000:00/14.0/usb2/5/if0"] == ("uvcvideo",)
    assert told.loaded == ()
    driven = {node.location for node in capture.nodes if node.driver and node.bus != "acpi"}
    assert not driven & {place for place, modules in told.drivers_for.items() if modules}
    assert coverage_of(capture, "modules").state is CoverageState.OK
    assert parse(to_json(capture).encode(), "again") == capture


def test_a_controller_without_driver_is_named_as_firmware_names_it_too(loose_tree: _Tree) -> None:
    root = loose_tree(HERON, Conditions(undriven=("i2c-0",)))
    told = look(with_system(root, aliases="alias pci:v*d*sv*sd*bc0Csc80i* brackwell-i2c\n")).software
    assert told.drivers_for["acpi/_SB_.PCI0.I2C0"] == ("brackwell_i2c",)


def test_no_private_word_of_a_command_line_enters_a_capture(loose_tree: _Tree) -> None:
    text = to_json(look(with_system(loose_tree(LARCH), line="nomodeset")))
    assert '"nomodeset"' in text
    for word in ("UUID=", "11111111", "mapper", "owner", "192.0.2.7", "secret", "quiet"):
        assert word not in text


def test_what_was_not_copied_is_said_to_be_not_there(built_tree: _Tree) -> None:
    left_out = ("etc/modprobe.d", "lib/modules", "proc")
    capture = look(built_tree(LARCH, Conditions(unrecorded=left_out)))
    coverage = coverage_of(capture, "modules")
    assert coverage.state is CoverageState.NOT_THERE
    assert "driver list" in coverage.why
    assert capture.software.seen == ()


def test_an_old_capture_reads_as_one_that_saw_nothing_of_the_system(built_tree: _Tree) -> None:
    capture = look(built_tree(LARCH))
    old = to_json(replace(capture, software=Software()))
    assert '"software"' not in old
    assert parse(old.encode(), "old").software.seen == ()


_LIST, _BUILT_IN = "lib/modules/6.1.0/modules.alias", "lib/modules/6.1.0/modules.builtin.modinfo"
_NAMED, _UNNAMED = "usb:v1", "pci:v2"
_ALIAS, _ENTRY = b"alias usb:v* x\n", b"y.alias=pci:v*\0"

LISTS: dict[str, tuple[dict[str, bytes], dict[str, tuple[str, ...]] | None]] = {
    "both": ({_LIST: _ALIAS, _BUILT_IN: b"y.license=GPL\0"}, {_NAMED: ("x",), _UNNAMED: ()}),
    "a driver is built in": ({_LIST: _ALIAS, _BUILT_IN: _ENTRY}, {_NAMED: ("x",), _UNNAMED: ("y",)}),
    "nothing says what is built in": ({_LIST: _ALIAS}, {_NAMED: ("x",)}),
    "a cut list may lack the driver": ({_LIST: _ALIAS + b"#" * 100, _BUILT_IN: _ENTRY}, None),
    "what is built in is cut": ({_LIST: _ALIAS, _BUILT_IN: _ENTRY + b"#" * 100}, {_NAMED: ("x",)}),
}


@pytest.mark.parametrize(("files", "expected"), LISTS.values(), ids=LISTS)
def test_no_driver_is_said_only_where_both_lists_were_read_whole(
    monkeypatch: pytest.MonkeyPatch, files: dict[str, bytes], expected: dict[str, tuple[str, ...]] | None
) -> None:
    """Documentation/kbuild/kbuild.rst: what is built in stands in modules.builtin.modinfo."""
    monkeypatch.setattr(drivers, "_LARGEST_LIST", 100)
    assert driver_list(Sight(FakeTree(files, {})), "6.1.0", {_NAMED, _UNNAMED})[0] == expected


@pytest.mark.parametrize(
    ("error", "state"),
    [
        (errno.EACCES, CoverageState.NOT_PERMITTED),
        (errno.ELOOP, CoverageState.FAILED),
        (errno.EINVAL, CoverageState.FAILED),
        (errno.ENOENT, CoverageState.NOT_THERE),
    ],
)
def test_a_list_behind_a_loop_of_links_is_no_matter_of_rights(error: int, state: CoverageState) -> None:
    link = {"sys/bus/pci/devices/0000:00:19.0": "../../../devices/pci0000:00/0000:00:19.0"}
    tree = FakeTree({_LIST: _ALIAS}, link, {_LIST: error})
    tree.device("sys/devices/pci0000:00/0000:00:19.0", "bus/pci", modalias=_UNNAMED)
    sight = Sight(tree)
    _, coverage = software(sight, Places(sight), "6.1.0")
    assert (coverage.state, coverage.root_would_help) == (state, state is CoverageState.NOT_PERMITTED)

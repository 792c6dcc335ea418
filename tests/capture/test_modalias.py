"""Module aliases: against what kmod, the distribution's own loader, makes of the same list of aliases.

``modprobe -R`` (modprobe(8), package kmod) resolves a device's modalias to the modules that are made for it.
"""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from support.needs import needed_tool

from usbwatch.capture.modalias import built_in_aliases, kind_of, listed_aliases, matches, modules_for

ALIASES = """\
# Aliases extracted from modules themselves.
alias usb:v*p*d*dc*dsc*dp*ic0Eisc01ip00in* uvcvideo
alias usb:v*p*d*dcE0dsc01dp01ic*isc*ip*in* btusb
alias usb:v1209p0007d00[0-4]*dc*dsc*dp*ic*isc*ip*in* oldpart
alias usb:v1209p0007d00[5-9]*dc*dsc*dp*ic*isc*ip*in* new-part
alias usb:v1209p000?d*dc*dsc*dp*icFFisc*ip*in* vendorpart
alias pci:v*d*sv*sd*bc0Csc03i30* xhci_pci
alias hid:b0003g*v00001209p00000002 hid_multitouch
alias hid:b*g*v*p* hid-generic
alias serio:ty01pr*id*ex* psmouse
alias acpi*:PNP0C50:* i2c_hid_acpi
alias acpi*:PNP0C0A:* battery
alias platform:some-thing platform_driver
"""
"""Of the shapes that scripts/mod/file2alias.c writes; what is invented is which module has which."""

MODALIASES = (
    "usb:v1209p0003d0100dcEFdsc02dp01ic0Eisc01ip00in00",
    "usb:v1209p0004d0100dcE0dsc01dp01icE0isc01ip01in00",
    "usb:v1209p0005d0100dcFFdsc00dp00icFFisc00ip00in00",
    "usb:v1209p0007d0041dc00dsc00dp00ic03isc00ip00in00",
    "usb:v1209p0007d0051dc00dsc00dp00ic03isc00ip00in00",
    "usb:v1209p0007d0151dc00dsc00dp00ic03isc00ip00in00",
    "pci:v00001209d00000001sv00001209sd00000001bc0Csc03i30",
    "pci:v00001209d00000001sv00001209sd00000001bc0Csc03i20",
    "hid:b0003g0001v00001209p00000001",
    "hid:b0003g0004v00001209p00000002",
    "serio:ty01pr00id00ex00",
    "serio:ty06pr00id00ex00",
    "acpi:TPD0001:PNP0C50:",
    "acpi:PNP0C0A:",
    "platform:some_thing",
    "platform:some-thing",
)


def ours(text: str) -> dict[str, tuple[str, ...]]:
    return modules_for(listed_aliases(text, sorted({kind_of(one) for one in MODALIASES})), MODALIASES)


@pytest.fixture(scope="module")
def resolved(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[str, ...]]:
    """What kmod makes of the same list as a configuration file, whose aliases are patterns too (modprobe.d(5))."""
    modprobe = needed_tool("modprobe", "kmod")
    root = tmp_path_factory.mktemp("kernel")
    folder = root / "lib" / "modules" / "6.1.0"
    folder.mkdir(parents=True)
    (root / "aliases.conf").write_text(ALIASES, encoding="utf-8")
    names = sorted({line.split()[2] for line in ALIASES.splitlines() if line.startswith("alias")})
    (folder / "modules.dep").write_text("".join(f"kernel/{name}.ko:\n" for name in names), encoding="utf-8")
    return {one: _resolve(modprobe, root, one) for one in MODALIASES}


def _resolve(modprobe: str, root: Path, modalias: str) -> tuple[str, ...]:
    command = [modprobe, "-C", str(root / "aliases.conf"), "-d", str(root), "-S", "6.1.0", "-R", modalias]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    return tuple(sorted({name.replace("-", "_") for name in done.stdout.split()}))


@pytest.mark.parametrize("modalias", MODALIASES)
def test_a_device_has_the_modules_that_kmod_finds_for_it(modalias: str, resolved: dict[str, tuple[str, ...]]) -> None:
    assert ours(ALIASES)[modalias] == resolved[modalias]


def test_the_comparison_with_kmod_tells_something(resolved: dict[str, tuple[str, ...]]) -> None:
    assert sum(bool(modules) for modules in resolved.values()) > 10
    assert resolved["hid:b0003g0004v00001209p00000002"] == ("hid_generic", "hid_multitouch")
    assert () in resolved.values()


FITS = {
    # IEEE 1003.1 (POSIX) section 2.13, pattern matching notation, and fnmatch(3).
    "a star takes anything": ("usb:v*in00", "usb:v1209in00", True),
    "a star takes nothing too": ("usb:*v", "usb:v", True),
    "a mark takes one": ("usb:?", "usb:v", True),
    "a mark takes no more": ("usb:?", "usb:v1", False),
    "a range": ("usb:d[0-9]", "usb:d7", True),
    "outside of a range": ("usb:d[0-9]", "usb:dA", False),
    "not one of": ("usb:d[!0-9]", "usb:dA", True),
    "an escaped star": (r"usb:\*", "usb:*", True),
    "an escaped star is no star": (r"usb:\*", "usb:v", False),
    "the end counts": ("usb:v", "usb:v1", False),
    "the beginning counts": ("sb:v", "usb:v", False),
    "an overlap is none": ("aba*aba", "aba", False),
    "a dash is an underscore": ("of:a-b", "of:a_b", True),
    "a dash in a range is a dash": ("of:[a-c]", "of:b", True),
    "a bracket that never ends": ("usb:[", "usb:[", True),
    "a range that runs backwards fits nothing": ("usb:[9-0]", "usb:5", False),
    "two dashes are a range to a dash": ("usb:[+--]", "usb:,", True),
    "a dash at the end is no range": ("usb:[ab-]", "usb:b", True),
    "a dash after a range is one": ("of:[a-c-x]", "of:x", True),
    "what is special to another notation": ("usb:[a&&b||c~~d[]", "usb:[", True),
}


@pytest.mark.parametrize(("pattern", "text", "fits"), FITS.values(), ids=FITS)
@pytest.mark.filterwarnings("error")
def test_patterns_are_shell_patterns(pattern: str, text: str, fits: bool) -> None:
    assert matches(pattern, text) is fits


def test_what_is_built_in_stands_in_another_list() -> None:
    """Documentation/kbuild/kbuild.rst, modules.builtin.modinfo: ``module.key=value``, each ended by a zero byte."""
    text = "i8042.license=GPL\0xhci_pci.alias=pci:v*d*sv*sd*bc0Csc03i30*\0xhci_pci.description=driver\0"
    assert list(built_in_aliases(text)) == [("pci:v*d*sv*sd*bc0Csc03i30*", "xhci_pci")]


def test_a_list_beyond_all_measure_is_no_answer() -> None:
    assert modules_for([("usb:*a*b*", "x")] * 60_000, ["usb:ab"]) == {}
    assert modules_for([("usb:" + "*a" * 500, "x")], ["usb:" + "a" * 600]) == {"usb:" + "a" * 600: ()}
    assert modules_for([("usb:*", "x")], ["usb:" + "a" * 5000]) == {}


@pytest.mark.properties
class TestAnyPattern:
    """Whatever a list holds, an answer comes back; and a text always fits itself with a star anywhere in it."""

    @given(st.text(max_size=40), st.text(max_size=40))
    def test_no_pattern_is_an_error(self, pattern: str, text: str) -> None:
        assert matches(pattern, text) in (True, False)

    @given(st.text(alphabet="usb:v0129-_", max_size=30), st.integers(0, 30), st.integers(0, 30))
    def test_a_star_can_stand_for_any_part(self, text: str, begin: int, end: int) -> None:
        assert matches(f"{text[:begin]}*{text[max(begin, end) :]}", text)

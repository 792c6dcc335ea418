"""What goes onto a stick, under which licences, and where its sources are: the text of ``LICENCES.txt``."""

from __future__ import annotations

import email.parser
import re
import zipfile
from collections.abc import Iterable
from pathlib import Path

from usbwatch.safe import safe
from usbwatch.stick.packages import Package

__all__ = ["licences_text", "of_package", "of_wheel"]

_HEAD = """\
What is on this stick, and its licences
=======================================

This stick was built on a computer of the shop that uses it, of packages that
the makers of the distribution signed. usbwatch itself is under the Apache
License 2.0.

Packages of the distribution
----------------------------
Name, version, and the licences that its file "copyright" names. That file,
with the licences in full, is in the package: apt-get download NAME=VERSION,
then dpkg-deb -x FILE FOLDER, and look in FOLDER/usr/share/doc/NAME/copyright.
The sources: apt-get source SOURCE=VERSION, with "deb-src" beside "deb" in the
package sources of a computer with this distribution.

"""

_LIBRARIES = """
Python libraries
----------------
As published in the package index of Python; each name and version there has
its sources beside it. The text of each licence is in the wheel.

"""

_LICENCE = re.compile(r"^License:[ \t]*(\S.*)$", re.MULTILINE)
"""A field of the machine-readable format of a package's file "copyright" (DEP-5, version 1.0)."""

_FREE_TEXT = re.compile(
    r"/usr/share/common-licenses/([A-Za-z0-9.+-]*[A-Za-z0-9])"
)  # what older files refer to (Debian Policy, section 12.5)


def of_package(root: Path, package: Package) -> str:
    """The licences of an unpacked package, as its own file names them."""
    for name in (package.name, package.source.split()[0] if package.source else package.name):
        file = root / "usr" / "share" / "doc" / name / "copyright"
        if file.is_file():
            text = file.read_text("utf-8", errors="replace")
            found = _LICENCE.findall(text) or _FREE_TEXT.findall(text)
            names = sorted({re.sub(r"\s+", " ", one.strip()) for one in found}, key=str.casefold)
            return ", ".join(names) or "see its file copyright"
    return "see its file copyright"


def of_wheel(wheel: Path) -> tuple[str, str, str]:
    """Name, version and licence of a library, as its metadata has them."""
    with zipfile.ZipFile(wheel) as archive:
        name = next(one for one in archive.namelist() if one.endswith(".dist-info/METADATA"))
        fields = email.parser.Parser().parsestr(archive.read(name).decode("utf-8", errors="replace"), headersonly=True)
    classified = [one.rpartition(" :: ")[2] for one in fields.get_all("Classifier", []) if one.startswith("License ::")]
    said = str(fields.get("License-Expression") or "") or ", ".join(classified)
    if not said:
        lines = str(fields.get("License") or "").strip().splitlines()
        said = lines[0] if lines else "see the wheel"
    return str(fields["Name"]), str(fields["Version"]), said


def licences_text(packages: Iterable[tuple[Package, str]], wheels: Iterable[tuple[str, str, str]]) -> str:
    """The whole page; lines end as every system can show them."""
    lines = _HEAD.splitlines()
    for package, licences in packages:
        source = f" (source {safe(package.source, 80)})" if package.source not in ("", package.name) else ""
        lines += [f"{package.name} {package.version}{source}", f"    {safe(licences, 2000)}"]
    lines += _LIBRARIES.splitlines()
    for name, version, licence in wheels:
        lines += [f"{safe(name, 80)} {safe(version, 80)}", f"    {safe(licence, 400)}"]
    return "".join(f"{line}\r\n" for line in lines)

"""Reports as the program writes them, of the demo's captures and of the unit that docs/casebook.md follows.

``PYTHONPATH=tests python -m support.report_samples`` renews the pictures in docs/pictures with a browser; they are
made small where pngquant and optipng are installed.
"""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

from support.casebook_page import PAGE, run, shown
from support.make_readme import ROOT

__all__ = ["samples"]

_STOPS = {"larch-13-after-top-case.json": "history", "larch-13-returned.json": "returned"}
"""After which command of the page a report of its unit is made, and what that is called here."""

_LOST, _AFTER = "captures/larch-13-top-case-lost.json", "captures/larch-13-after-top-case.json"
_MADE = {
    "fault": f"usbwatch report {_LOST}",
    "unseen": "usbwatch report captures/heron-14-touchpad-silent.json",
    "healthy": "usbwatch report captures/larch-13-healthy.json",
    "comparison": f"usbwatch report --compare {_LOST} {_AFTER}",
}
PICTURES = ROOT / "docs" / "pictures"


def samples(folder: Path) -> dict[str, Path]:
    """By name, the HTML file of each report, made in ``folder`` with a casebook of its own."""
    shutil.copytree(ROOT / "captures", folder / "captures")
    made = {name: _written(command, name, folder) for name, command in _MADE.items()}
    for command, _ in shown(PAGE.read_text(encoding="utf-8")):
        run(command, folder)
        for words, name in _STOPS.items():
            if words in command:
                made[name] = _written("usbwatch report LB-0001", name, folder)
        if len(made) == len(_MADE) + len(_STOPS):
            break
    return made


def _written(command: str, name: str, folder: Path) -> Path:
    path = folder / f"{name}.html"
    told = run(f"{command} --identify --output {path.name} --picture {name}.svg", folder)
    assert path.exists(), told
    return path


def _renew(folder: Path) -> None:
    from support.browser import browser

    PICTURES.mkdir(exist_ok=True)
    made = samples(folder)
    with browser() as its:
        for name, sample, width, dark, height in (
            ("fault", "fault", 1280, False, 1250),
            ("fault-phone", "fault", 390, False, 1900),
            ("fault-dark", "fault", 1280, True, 1250),
            ("healthy", "returned", 1280, False, 1600),
        ):
            its.open(made[sample], width=width, dark=dark)
            (PICTURES / f"report-{name}.png").write_bytes(its.picture(height))
        its.open(made["fault"])
        (folder / "fault.pdf").write_bytes(its.pdf())
    subprocess.run(["pdftoppm", "-r", "70", "-png", "-f", "1", "-l", "1", "-singlefile", folder / "fault.pdf",
                    PICTURES / "report-fault-paper"], check=True)  # fmt: skip
    shutil.copy(folder / "fault.svg", PICTURES / "unit.svg")
    for path in PICTURES.glob("report-*.png"):  # those of terminals carry their text
        if shutil.which("pngquant"):
            subprocess.run(["pngquant", "--force", "--skip-if-larger", "--strip", "--output", path, path], check=False)
        if shutil.which("optipng"):
            subprocess.run(["optipng", "-quiet", path], check=True)


if __name__ == "__main__":
    import tempfile

    with tempfile.TemporaryDirectory() as made_in:
        _renew(Path(made_in))

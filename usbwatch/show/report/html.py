"""A report as one HTML file: nothing is fetched, no script is run, and every string of it is escaped here.

The page is a bench ticket: the verdict's stamp, the cause and what to do next,
the drawing, then the unit as it comes apart, with a perforation for each link.
"""

from __future__ import annotations

import re
from functools import cache
from typing import TYPE_CHECKING

from usbwatch.model import Fitted, Verdict
from usbwatch.show.report.colours import DARK, LIGHT, resource
from usbwatch.show.report.contents import URGENCY
from usbwatch.show.report.picture import NARROW_WIDTH, WIDE_WIDTH, drawing
from usbwatch.show.report.sealing import sealed
from usbwatch.show.report.signs import OUTCOME_SHAPES, SHAPES, TONES
from usbwatch.show.report.value import Block, Changed, Device, Kind, Report, SinceRow
from usbwatch.show.safe import safe
from usbwatch.show.verdict import Outcome
from usbwatch.show.words import WORDS, percent

if TYPE_CHECKING:
    from jinja2 import Template

__all__ = ["report_html"]

_LONGEST = 2000
_TEMPLATES = ("page.html.j2", "pieces.html.j2")
_DIGEST = re.compile(r"sha256:[0-9a-f]{64}")


def report_html(report: Report) -> str:
    """The whole page, sealed in its last line (``sealing``)."""
    tone, shape = _stamp(report)
    page = _template().render(
        r=report,
        Kind=Kind,
        style=_style(),
        wide=_markup(drawing(report, WIDE_WIDTH, "wide")),
        narrow=_markup(drawing(report, NARROW_WIDTH, "narrow")),
        tone=tone,
        stamp=_markup(shape),
        blocks=sorted(report.blocks, key=_well),
        seen=[bus for bus in report.coverage if bus.state == "seen"],
        unseen=[bus for bus in report.coverage if bus.state != "seen"],
        names={block.id: block.name for block in report.blocks},
        loud=[row for row in report.since if row.fitted not in _QUIET],
        quiet=_quiet(report.since),
        changed=_by_block(report.changed),
        captures=[look.digest for look in report.looks if _DIGEST.fullmatch(look.digest)],
    )
    return sealed(f"{page}\n", "html")


def _stamp(report: Report) -> tuple[str, str]:
    """Tone and shape; that two captures differ is neither good nor bad: what is new may have come back."""
    if report.kind is Kind.COMPARISON and report.outcome is not Outcome.WHOLE:
        return "differs", SHAPES[Verdict.SUBSTITUTED]
    return OUTCOME_SHAPES[report.outcome]


def _markup(svg: str) -> object:
    from markupsafe import Markup

    return Markup(svg)  # noqa: S704 - made here, and escaped where it was made


_QUIET = (Fitted.SAME, Fitted.UNTOLD)


def _quiet(rows: tuple[SinceRow, ...]) -> list[tuple[str, list[SinceRow]]]:
    found = [(fitted.value, [row for row in rows if row.fitted is fitted]) for fitted in _QUIET]
    return [(word, its) for word, its in found if its]


def _by_block(rows: tuple[Changed, ...]) -> dict[str, list[Changed]]:
    found: dict[str, list[Changed]] = {}
    for row in sorted(rows, key=lambda row: not row.block):
        found.setdefault(row.block, []).append(row)
    return found


def _urgent_first(devices: tuple[Device, ...]) -> list[Device]:
    return sorted(devices, key=lambda device: URGENCY.index(device.verdict))


def _well(block: Block) -> bool:
    """Whether nothing of a block is wrong, unseen or suspected: such ones stand below the others."""
    doubts = [block.probability, *(one.probability for one in (*block.links, *block.inner))]
    return all(device.verdict is Verdict.PRESENT for device in block.devices) and doubts.count(None) == len(doubts)


def _count(block: Block) -> str:
    if not block.devices:
        return "no device expected"
    present = sum(device.verdict is Verdict.PRESENT for device in block.devices)
    return "all present" if present == len(block.devices) else f"{present} of {len(block.devices)} present"


def _shown(value: object) -> object:
    """What an expression puts out: markup of our own as it is, all else on one line, cut, and escaped after this."""
    return value if hasattr(value, "__html__") else safe(str(value), _LONGEST)


@cache
def _template() -> Template:
    from jinja2 import DictLoader, Environment, StrictUndefined

    its = Environment(
        loader=DictLoader({name: resource(name) for name in _TEMPLATES}),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_shown,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    its.filters |= {"percent": percent, "count": _count, "sign": _sign, "tone": TONES.__getitem__}
    its.filters |= {"word": WORDS.__getitem__, "upper_first": _upper_first, "urgent_first": _urgent_first}
    return its.get_template("page.html.j2")


def _upper_first(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def _sign(verdict: Verdict) -> object:
    return _markup(
        f'<svg class="sign {TONES[verdict]}" viewBox="0 0 16 16" width="16" height="16" aria-hidden="true">'
        f"{SHAPES[verdict]}</svg>"
    )


def _style() -> object:
    colours = {"light": _variables(LIGHT), "dark": _variables(DARK)}
    page = resource("page.css").replace("/* light */", colours["light"]).replace("/* dark */", colours["dark"])
    return _markup(page + resource("picture.css") + resource("signs.css"))


def _variables(colours: dict[str, str]) -> str:
    return " ".join(f"--{name}: {colour};" for name, colour in colours.items())

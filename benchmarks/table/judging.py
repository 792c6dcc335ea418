"""Comparing, localising, planning and reporting, within one process."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator

from benchmarks.localise_cost import cpu_ms, library_marginals, marginals, model
from benchmarks.table.programs import ROOT
from benchmarks.table.row import Row
from usbwatch.capture import load
from usbwatch.capture.saved import load_saved
from usbwatch.cli.one_check import checked
from usbwatch.compare import changes, findings
from usbwatch.profile import find

__all__ = ["PAIR", "rows"]

PAIR = ("larch-13-healthy.json", "larch-13-top-case-lost.json")
PROFILE = "fernhill-larch-13"
WRONG = 6


def rows(rounds: int) -> Iterator[Row]:
    """What each step costs for the demo's unit, healthy and with its top case lost."""
    yield from _beside_deepdiff(rounds)
    yield from _beside_inference(rounds)
    yield from _beside_a_template(rounds)


def _path(name: str) -> str:
    return str(ROOT / "captures" / name)


def _beside_deepdiff(rounds: int) -> Iterator[Row]:
    """The peer compares the very documents, as lists in their order, and as lists whose order says nothing."""
    from deepdiff import DeepDiff

    healthy, lost = (load(_path(name)) for name in PAIR)
    before, after = (json.loads(load_saved(_path(name)).content) for name in PAIR)
    profile = find(PROFILE)
    cost = cpu_ms(
        {
            "compare": lambda: findings(lost, profile),
            "check": lambda: checked(lost, profile),
            "diff": lambda: changes(healthy, lost),
            "in order": lambda: DeepDiff(before, after),
            "any order": lambda: DeepDiff(before, after, ignore_order=True),
        },
        rounds,
    )
    jobs = (
        ("compare", "compare a capture with its profile", "in order"),
        ("check", "compare, localise and plan", "in order"),
        ("diff", "diff of two captures", "in order"),
        ("diff", "diff of two captures", "any order"),
    )
    for job, words, peer in jobs:
        told = f"deepdiff of two documents, lists {peer if peer == 'in order' else 'in any order'}"
        yield Row(job=words, ours=cost[job], peer=told, peers=cost[peer])


def _beside_inference(rounds: int) -> Iterator[Row]:
    faults, seen = model(60, WRONG)
    cost = cpu_ms(
        {"ours": lambda: marginals(faults, seen), "peer": lambda: library_marginals(faults, seen)}, min(rounds, 7)
    )
    yield Row(
        job="localise: all marginals, exact",
        ours=cost["ours"],
        peer="pyAgrum, lazy propagation on the same model",
        peers=cost["peer"],
        note=f"{len(faults)} faults, {len(seen)} observations, {WRONG} wrong",
    )


def _beside_a_template(rounds: int) -> Iterator[Row]:
    """The peer writes as many characters of escaped table cells, and decides nothing."""
    sys.path.append(str(ROOT / "tests"))
    from jinja2 import DictLoader, Environment
    from support.reports import crowded

    from usbwatch.show.report.html import report_html

    report = crowded(12, 60)
    page = report_html(report)
    source = (
        "<table>{% for row in rows %}<tr>{% for cell in row %}<td>{{ cell }}</td>{% endfor %}</tr>{% endfor %}</table>"
    )
    template = Environment(loader=DictLoader({"page": source}), autoescape=True).get_template("page")
    row = ["Keyboard", "present", "1209:0001", "pci0000:00/14.0/usb2/4.1"]
    count = round(len(page) / (len(template.render(rows=[row] * 100)) / 100))
    cost = cpu_ms(
        {"ours": lambda: report_html(report), "peer": lambda: template.render(rows=[row] * count)}, min(rounds, 15)
    )
    yield Row(
        job="report as HTML",
        ours=cost["ours"],
        peer="Jinja2: a bare table of as many characters",
        peers=cost["peer"],
        note=f"12 subassemblies, 60 devices, {len(page.encode()) / 1000:.0f} kB",
    )

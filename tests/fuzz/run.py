"""Fuzzes one target or all of them: ``PYTHONPATH=tests python -m fuzz.run [--seconds N] [--keep] [TARGET…]``.

What is found stands in ``build/fuzz/findings/TARGET/``: the input, and beside it the traceback. Every input that
covers something new stays in ``build/fuzz/corpus/TARGET/``; ``--keep`` makes it as small as it can be and writes it
into ``tests/fuzz/corpus/``. Each run adds its figures to ``build/fuzz/runs.jsonl``.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from fuzz import engine
from fuzz.corpus import inputs, keep
from fuzz.target import Target

_BUILD = Path("build/fuzz")
_HANG_S, _MOST_MB = 5, 500
_TIMES_BEGUN_ANEW = 8
"""For one target, after a hang or too much memory."""
_FIGURES = re.compile(r"^#(\d+)\s+(\w+)\s+cov: (\d+) ft: (\d+) corp: (\d+)/", re.MULTILINE)
_LIMITS = (f"-timeout={_HANG_S}", f"-rss_limit_mb={_MOST_MB}", "-print_final_stats=1", "-verbosity=1", "-reload=0")


def main(arguments: Sequence[str]) -> int:
    """Fuzz; 1 when something was found, else 0."""
    parser = argparse.ArgumentParser(prog="python -m fuzz.run", description=__doc__.split("\n", 1)[0])
    parser.add_argument("targets", nargs="*", metavar="TARGET")
    parser.add_argument(
        "--seconds", type=float, default=60, help="for all targets together (default: 60); 0 fuzzes nothing"
    )
    parser.add_argument("--keep", action="store_true", help="write the corpora into tests/fuzz/corpus")
    parser.add_argument("--list", action="store_true", help="name the targets and end")
    asked = parser.parse_args(arguments)
    known = engine.instrument()
    if asked.list:
        print("\n".join(known))
        return 0
    wrong = [name for name in asked.targets if name not in known]
    if wrong:
        parser.error(f"no target is called {wrong[0]}; --list names them")
    chosen = [known[name] for name in asked.targets or known]
    shares = sum(one.share for one in chosen)
    found = sum(_fuzzed(one, asked.seconds * one.share / shares) for one in chosen if asked.seconds)
    for one in chosen if asked.keep else ():
        _kept(one)
    return 1 if found else 0


def _fuzzed(target: Target, seconds: float) -> int:
    """How many findings there are after so many seconds; the figures go to the log of runs."""
    corpus, findings, log = (
        _BUILD / "corpus" / target.name,
        _BUILD / "findings" / target.name,
        _BUILD / f"{target.name}.log",
    )
    for folder in (corpus, findings):
        folder.mkdir(parents=True, exist_ok=True)
    for number, data in enumerate(inputs(target)):
        (corpus / f"kept-{number:04d}").write_bytes(data)
    log.unlink(missing_ok=True)
    before = set(findings.iterdir())
    began, spent, worked = time.monotonic(), 0.0, 0.0
    ends: list[int] = []
    while seconds - spent >= 1 and len(ends) <= _TIMES_BEGUN_ANEW:
        options = (
            *_LIMITS,
            f"-max_len={target.largest}",
            f"-artifact_prefix={findings}/",
            f"-max_total_time={int(seconds - spent)}",
        )
        end, processor_s = engine.run(target, [*options, str(corpus)], findings, log)
        ends.append(end)
        worked += processor_s
        _without_false_alarms(target, findings)
        spent = time.monotonic() - began
    new = sorted(path.name for path in set(findings.iterdir()) - before if path.suffix != ".txt")
    figures = _figures(log.read_text("utf-8", "replace"))
    told = {
        "target": target.name,
        "seconds": round(spent, 1),
        "processor_s": round(worked, 1),
        **figures,
        "ends": ends,
        "findings": new,
    }
    with (_BUILD / "runs.jsonl").open("a") as runs:
        runs.write(json.dumps(told) + "\n")
    print(json.dumps(told), flush=True)
    return len(new)


def _without_false_alarms(target: Target, findings: Path) -> None:
    """What an input takes in a process of its own counts.

    libFuzzer looks at the clock, and this machine may have other things to do; and it keeps what it has learnt, so
    that its own memory grows with each input, some 15 kB for those that are judged as a whole.
    """
    for kind, which, most in (("timeout", 0, _HANG_S), ("oom", 1, _MOST_MB)):
        for path in findings.glob(f"{kind}-*"):
            if engine.alone(target, path.read_bytes())[which] < most:
                path.unlink()


def _figures(log: str) -> dict[str, int]:
    """Executions, and how coverage (libFuzzer's edges) grew from the kept inputs to the end."""
    lines = [(int(count), word, int(edges)) for count, word, edges, _, _ in _FIGURES.findall(log)]
    done = [int(count) for count in re.findall(r"stat::number_of_executed_units: (\d+)", log)]
    begun = next((edges for _, word, edges in lines if word == "INITED"), 0)
    executions = sum(done) or max((count for count, _, _ in lines), default=0)
    return {
        "executions": executions,
        "edges_at_start": begun,
        "edges": max((edges for _, _, edges in lines), default=0),
    }


def _kept(target: Target) -> None:
    """Keep, of the smallest inputs of a corpus, those that each cover something which no smaller one does."""
    files = sorted((_BUILD / "corpus" / target.name).iterdir(), key=lambda path: (path.stat().st_size, path.name))
    chosen = [files[number].read_bytes() for number in _covering(target, files[: 3 * target.kept])]
    seeds = set(target.seeds())
    size = keep(target, [data for data in chosen if data not in seeds])
    print(f"{target.name}: {len(chosen)} of {len(files)} inputs cover the same, {size} bytes", flush=True)


def _covering(target: Target, files: Sequence[Path]) -> Iterator[int]:
    """The numbers of the files that cover what none before them does.

    libFuzzer's inner step of a merge writes what each file covers into its control file (FuzzerMerge.h); the outer one
    would start this program anew.
    """
    control = _BUILD / f"{target.name}.merge"
    control.write_text("\n".join([str(len(files)), "0", *map(str, files)]) + "\n")
    options = ("-timeout=60", "-rss_limit_mb=0", "-merge_inner=1", f"-merge_control_file={control}")
    engine.run(
        target, (*options, f"-max_len={target.largest}"), _BUILD / "findings" / target.name, _BUILD / "merge.log"
    )
    covered: set[str] = set()
    for line in control.read_text().splitlines():
        word, _, rest = line.partition(" ")
        number, _, features = rest.partition(" ")
        if word == "FT" and not covered.issuperset(features.split()):
            covered.update(features.split())
            yield int(number)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

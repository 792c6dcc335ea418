"""Every example in the documentation is run by some test, or stands in a short list here with the reason why not.

Console blocks show what is printed, and are compared; of a block of shell each line is run, and has to end well.
Every command that a page names anywhere exists, with the options that it is named with.
"""

from __future__ import annotations

import re
import shlex
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import click
import pytest
from support.make_readme import ROOT
from support.pages import PLAYED, SERVER, Bench

from usbwatch.cli import usbwatch

PAGES = tuple(
    str(path.relative_to(ROOT))
    for path in (ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md")))
)
TEXTS = {name: (ROOT / name).read_text("utf-8") for name in PAGES}
_BLOCK = re.compile(r"^( *)```(\w+)\n(.*?)^\1```$", re.DOTALL | re.MULTILINE)

HELD = {
    ("README.md", "console"): "tests/test_readme.py",
    ("docs/localise.md", "console"): "tests/test_readme.py",
    ("docs/casebook.md", "console"): "tests/support/casebook_page.py",
    ("docs/handcheck.md", "console"): "tests/cli/test_handcheck_command.py",
    ("docs/casebook-archive.md", "json"): "tests/casebook/test_exchange.py",
    ("docs/casebook-archive.md", "python"): "tests/casebook/test_exchange.py",
    ("docs/drafting.md", "diff"): "tests/drafting/test_corrected.py",
    ("docs/profile.md", "toml"): "tests/profile/test_profile_page.py",
    ("docs/stick.md", "text"): "tests/onboard/test_docs.py",
    ("DEVELOPERS.md", "text"): "tests/docs/test_architecture.py",
    **{(name, "console"): "tests/docs/test_played_pages.py" for name in PLAYED},
}
"""Of each page and language of its blocks: the test that holds them. Blocks of shell are held here."""

NOT_RUN = {
    r"usbwatch watch --recover ": "needs the journal that a killed watch left: tests/cli/test_watch.py makes one",
    r"(/tmp/usbwatch/bin/)?usbwatch watch": "watches this machine until a person ends it: tests/cli/test_watch.py",
    r"usbwatch listen": "serves until a person ends it: tests/listen/test_listen.py",
    r"usbwatch stick ": "fetches some 100 packages of the distribution: tests/virtual/test_stick_build.py",
    r'sudo "\$\(command -v usbwatch\)" stick': "needs root and a stick to erase: tests/stick/test_writing.py",
    r'sudo "\$\(command -v usbwatch\)" capture': "needs root, and a healthy unit: tests/capture/test_reads_only.py",
    r"(curl|wget) ": "needs a bench that listens: tests/listen/test_listen.py types these lines",
    r"chromium ": "needs a browser: tests/show/report/test_in_a_browser.py prints a report",
    r"sqlite3 ": "is SQLite's own shell: tests/docs/test_examples.py runs its statement",
    r"pg_dump ": "is PostgreSQL's own program, and needs a book on a server",
    r"(\.venv/bin/)?pip |/tmp/usbwatch/bin/pip ": "fetches from a package index: .ci/run does",
    r"python3 -m venv ": "sets an environment up: .ci/run does, with the README's own lines",
    r"\.venv/bin/python -m pytest": "runs all tests: .ci/run does",
    r"PYTHONPATH=tests \.venv/bin/python -m fuzz\.run ": "looks for new inputs for hours: tests/fuzz/test_corpus.py "
    "tries those that are kept",
    r"(PYTHONPATH=tests \.venv/bin/python -m support\.lowest |python3\.11 -m venv |build/lowest/bin/)": "sets up an "
    "environment of the lowest versions and tests in it: by hand, before a release",
    r"apt-get ": "installs packages of the distribution: .ci/run does",
    r"python -m usbwatch\.onboard ": "takes a terminal over until a key is pressed: tests/onboard/test_runs.py",
}
"""Beginnings of lines of shell that no test can simply run, each with the reason and what holds it instead."""

STAND_INS = {"/media/stick": "stick", " | …": ""}
"""What a line has for a thing of the reader's, and what the bench here has in its place."""

FILES = {
    "first.json": "larch-13-top-case-lost.json",
    "second.json": "larch-13-healthy.json",
    "stick/first.json": "larch-13-top-case-lost.json",
}
_OPENED = ("usbwatch unit open LB-0001 first.json", "usbwatch unit capture LB-0001 second.json")
BEFORE = {
    "docs/report.md": (*_OPENED, "usbwatch unit baseline LB-0001", "usbwatch unit capture LB-0001 third.json"),
    "docs/stick.md": _OPENED[:1],
    "docs/privacy.md": ("usbwatch report first.json -o report.html",),
    "docs/learning.md": ("rm captures/heron-14-healthy.json captures/heron-14-touchpad-silent.json",),
}
"""What a page's reader has done before."""


@dataclass(frozen=True)
class Line:
    page: str
    command: str

    @property
    def reason(self) -> str:
        """Why it is not run, "" where it is."""
        return next((why for start, why in NOT_RUN.items() if re.match(start, self.command)), "")


def blocks() -> Iterator[tuple[str, str, str]]:
    for name, text in TEXTS.items():
        for _, language, block in _BLOCK.findall(text):
            yield name, language, block


def _lines() -> Iterator[Line]:
    for name, language, block in blocks():
        if language == "sh":
            for line in block.replace("\\\n", " ").splitlines():
                yield Line(name, re.sub(r"\s+#.*", "", line).strip())


LINES = tuple(_lines())


@pytest.mark.parametrize(("page", "language"), sorted({(name, language) for name, language, _ in blocks()}))
def test_every_block_is_held_by_a_test_that_names_its_page(page: str, language: str) -> None:
    if language == "sh":
        return  # the next test
    test = ROOT / HELD[page, language]
    assert page in PLAYED or Path(page).name in test.read_text("utf-8") or Path(page).stem in test.name


def test_the_list_of_tests_is_no_longer_than_it_must_be() -> None:
    assert set(HELD) == {(name, language) for name, language, _ in blocks() if language != "sh"}


def test_the_list_of_what_is_not_run_is_no_longer_than_it_must_be() -> None:
    said = {line.reason for line in LINES}
    assert [why for why in NOT_RUN.values() if why not in said] == []


@pytest.mark.parametrize("reason", NOT_RUN.values())
def test_what_a_reason_names_is_there(reason: str) -> None:
    for named in re.findall(r"tests/[\w/]+\.py|\.ci/run", reason):
        assert (ROOT / named).exists()


@pytest.fixture(scope="module")
def benches(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Bench]:
    """Of each page a bench with the demo's captures, on which its lines are typed in their order."""
    return {name: _bench(tmp_path_factory.mktemp("bench")) for name in {line.page for line in LINES}}


def _bench(folder: Path) -> Bench:
    (folder / "home").mkdir()
    shutil.copytree(ROOT / "captures", folder / "captures")
    (folder / "stick").mkdir()
    for name, of in {**FILES, "third.json": "larch-13-returned.json"}.items():
        shutil.copy(ROOT / "captures" / of, folder / name)
    return Bench(folder=folder, home=folder / "home")


def test_every_line_of_shell_runs(benches: dict[str, Bench]) -> None:
    begun: set[str] = set()
    for line in LINES:
        if line.reason:
            continue
        bench = benches[line.page]
        for command in () if line.page in begun else BEFORE.get(line.page, ()):
            done = bench.run(command)
            assert done.code in (0, 10, 11), done
        begun.add(line.page)
        typed = line.command
        for word, instead in STAND_INS.items():
            typed = typed.replace(word, instead)
        if SERVER in typed:
            continue  # tests/docs/test_played_pages.py types it
        done = bench.run(typed)
        assert done.code in (0, 10, 11), (line.page, done)
        for made in bench.folder.glob("lb-0001-*-report-*"):  # the next one may be of the same second
            made.unlink()


def test_the_backup_of_a_casebook_is_a_casebook(tmp_path: Path) -> None:
    """The line of docs/casebook-store.md, by Python's own SQLite."""
    import sqlite3

    bench = _bench(tmp_path)
    bench.exported["USBWATCH_BOOK"] = "casebook.sqlite"
    assert bench.run("usbwatch unit open LB-0001 first.json").code == 10
    (line,) = [line.command for line in LINES if line.command.startswith("sqlite3 ")]
    _, file, statement = shlex.split(line)
    with sqlite3.connect(tmp_path / file) as connection:
        connection.execute(statement.replace("'casebook-backup", f"'{tmp_path}/casebook-backup"))
    connection.close()
    bench.exported["USBWATCH_BOOK"] = "casebook-backup.sqlite"
    assert bench.run("usbwatch check LB-0001").code == 10


def _named() -> Iterator[tuple[str, str]]:
    for name, text in TEXTS.items():
        prose = _BLOCK.sub("", text)
        for words in re.findall(r"`(usbwatch [^`]+)`", prose):
            yield name, " ".join(words.split())
        for line in LINES:
            if line.page == name and line.command.startswith("usbwatch "):
                yield name, line.command


@pytest.mark.parametrize(("page", "words"), sorted(set(_named())))
def test_a_command_that_a_page_names_is_there_with_its_options(page: str, words: str) -> None:
    command: click.Command = usbwatch
    rest = words.split()[1:]
    while isinstance(command, click.Group) and rest and rest[0].islower() and not rest[0].startswith("-"):
        below = command.get_command(click.Context(command), rest.pop(0))
        assert below is not None, f"{page}: {words}"
        command = below
    known = {option for one in (*command.params, *usbwatch.params) for option in (*one.opts, *one.secondary_opts)}
    asked = {word.strip("[]").split("=")[0] for word in rest if word.startswith(("-", "[-")) and len(word) > 1}
    assert asked - {"-h", "--help", "--version"} <= known, f"{page}: {words}"

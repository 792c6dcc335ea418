"""Fixtures that several rooms' tests share: a real kernel's trees, invented laptops' trees, empty casebooks."""

from __future__ import annotations

import os
import secrets
import signal
import tarfile
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import settings
from support.examples import PLAIN
from support.postgres_server import server, tool
from support.sysfs import HEALTHY, Conditions, build
from support.tree.parts import Laptop

if os.environ.get("LC_ALL") in ("C", "POSIX"):
    del os.environ["LC_ALL"]  # a page is then in ASCII; tests that want that ask for it

# A shell starts what runs in its background with Ctrl-C and Ctrl-\ ignored, and programs inherit that; some tests send
# them.
if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
    signal.signal(signal.SIGINT, signal.default_int_handler)
if signal.getsignal(signal.SIGQUIT) is signal.SIG_IGN:
    signal.signal(signal.SIGQUIT, signal.SIG_DFL)

# Tests start the program hundreds of times: it keeps what Python compiled, as an installed program has it.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# How long a test takes depends on what else the machine does, so none has a deadline. A plain run tries some examples
# of each property, `--hypothesis-profile=thorough` many; tests/fuzz searches for what breaks decoders and readers.
settings.register_profile("usbwatch", deadline=None, max_examples=PLAIN)
settings.register_profile("thorough", deadline=None, max_examples=1000)
settings.load_profile("usbwatch")

_ARCHIVES = Path(__file__).parent / "data" / "trees"

RealTree = Callable[[str], Path]
BuiltTree = Callable[..., Path]


def _is_wanted(name: str) -> bool:
    """All but the power-management counters, a third of a tree's files, which nothing reads."""
    return "/power/" not in name or name.endswith("/power/level")


@pytest.fixture(scope="session")
def real_tree(tmp_path_factory: pytest.TempPathFactory) -> RealTree:
    """The folder of a real kernel's snapshot by its name, unpacked once; tests must not change it."""
    unpacked: dict[str, Path] = {}

    def tree(name: str) -> Path:
        if name not in unpacked:
            folder = tmp_path_factory.mktemp(name)
            with tarfile.open(_ARCHIVES / f"{name}.tar.xz") as archive:
                if hasattr(tarfile, "data_filter"):  # Python 3.11.4 and later
                    archive.extraction_filter = tarfile.data_filter
                archive.extractall(folder, members=[member for member in archive if _is_wanted(member.name)])
            unpacked[name] = folder / name
        return unpacked[name]

    return tree


@pytest.fixture(scope="session")
def built_tree(tmp_path_factory: pytest.TempPathFactory) -> BuiltTree:
    """The folder of an invented laptop's tree under given conditions, built once; tests must not change it."""

    built: dict[str, Path] = {}

    def tree(laptop: Laptop, conditions: Conditions = HEALTHY) -> Path:
        key = f"{laptop.dmi['product_name']} {conditions}"
        if key not in built:
            built[key] = build(laptop, tmp_path_factory.mktemp("unit"), conditions)
        return built[key]

    return tree


@pytest.fixture
def loose_tree(tmp_path: Path) -> BuiltTree:
    """The folder of an invented laptop's tree that the test may spoil."""

    def tree(laptop: Laptop, conditions: Conditions = HEALTHY) -> Path:
        root = build(laptop, tmp_path / "unit", conditions)
        if os.geteuid() != 0:  # what only root may read is read-only for its owner, too
            for path in root.rglob("*"):
                if path.is_file() and not path.is_symlink() and not os.access(path, os.W_OK):
                    path.chmod(path.stat().st_mode | 0o200)
        return root

    return tree


@pytest.fixture(scope="session")
def postgres_url() -> Iterator[str]:
    """A server's URL; without the server's package the test fails in CI and is skipped elsewhere."""
    if tool("initdb") is None:
        reason = "no PostgreSQL server is here; the distribution's package postgresql has it"
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    with server() as url:
        yield url


@pytest.fixture(params=["sqlite", "postgres"])
def address(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a new, empty casebook can be made."""
    if request.param == "sqlite":
        return str(tmp_path / "book.sqlite")
    import psycopg

    url: str = request.getfixturevalue("postgres_url")
    name = f"book_{secrets.token_hex(8)}"
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE {name}".encode())
    return url.replace("/postgres?", f"/{name}?")


_APART = {
    "further": "that start the bench stick once more",
    "virtual": "on the emulated laptop",
    "slow": "that are slow",
}
"""Markers of tests that a plain run leaves out, as they take minutes, and which those are; the first one counts."""

_LEFT_OUT = pytest.StashKey[Counter[str]]()


def _apart(item: pytest.Item, config: pytest.Config) -> str:
    """The marker that keeps a test out of this run: neither that, nor its file, nor a folder named so is asked for."""
    marker = next((one for one in _APART if item.get_closest_marker(one)), "")
    given = [one for one in config.invocation_params.args if not one.startswith("-")]
    named = {Path(one.partition("::")[0]).name for one in given}
    return "" if marker in config.option.markexpr or named & {marker, item.path.name} else marker


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    apart = {item: marker for item in items if (marker := _apart(item, config))}
    config.stash[_LEFT_OUT] = Counter(apart.values())
    if apart:
        items[:] = [item for item in items if item not in apart]
        config.hook.pytest_deselected(items=[*apart])


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter, config: pytest.Config) -> None:
    for marker, count in config.stash.get(_LEFT_OUT, Counter()).items():
        how = f"run them with `python -m pytest -m {marker}`"
        terminalreporter.write_line(f"{count} tests {_APART[marker]} were left out, as they take minutes: {how}")


def pytest_sessionfinish(session: pytest.Session) -> None:
    """In CI a skipped test is a failure: it would be a check that nobody made."""
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if os.environ.get("CI") and reporter is not None and reporter.stats.get("skipped"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED

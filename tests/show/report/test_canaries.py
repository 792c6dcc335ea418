"""Planted secrets through the real command, in every format: none of them comes out unless it is asked for."""

from __future__ import annotations

import contextlib
import importlib.util
import io
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from support.canaries import FREE_TEXTS, IN_FIELDS, IN_HISTORY, IN_TEXTS, PATIENT, planted

from usbwatch.capture import to_json
from usbwatch.capture.saved import load
from usbwatch.cli import main
from usbwatch.cli.delivering import FORMS
from usbwatch.show.report.tokens import is_token

_SHIPPED = Path(__file__).parents[3] / "captures"
_REPORT = "usbwatch.show.report"
_FORMATS = [form for form in FORMS if form != "html" or importlib.util.find_spec(f"{_REPORT}.html") is not None]
_HAS_PICTURE = importlib.util.find_spec(f"{_REPORT}.picture") is not None
_ALL = {**IN_FIELDS, **IN_TEXTS, **IN_HISTORY, **FREE_TEXTS, "patient": PATIENT}
_FREE = {*FREE_TEXTS.values(), PATIENT}
_SECOND_BATTERY = "PK-930077-BUX"
_FRAGMENT = 6
_COMMON = {"notebo", "oteboo", "tebook", "ebook7", "before", "efored", "filled"}
"""Pieces of the planted texts that are words of the language, too."""


@dataclass(frozen=True)
class _Made:
    """All that one run of the command gave: files with their names, and both streams."""

    said: str
    names: tuple[str, ...]
    texts: tuple[str, ...]

    @property
    def everything(self) -> str:
        return "\n".join([self.said, *self.names, *self.texts])


@pytest.fixture(scope="module", params=["LB-0077", PATIENT])
def bench(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, str]]:
    """A folder with a casebook in which a unit was repaired and came back, recorded by the real commands."""
    folder = tmp_path_factory.mktemp("bench")
    label = str(request.param)
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setenv("USBWATCH_BOOK", str(folder / "book.sqlite"))
        patch.setenv("XDG_DATA_HOME", str(folder / "data"))
        patch.setenv("COLUMNS", "120")
        patch.setenv("TZ", "UTC")
        _record(folder, label)
        yield folder, label


def _record(folder: Path, label: str) -> None:
    healthy, lost = load(str(_SHIPPED / "larch-13-healthy.json")), load(str(_SHIPPED / "larch-13-top-case-lost.json"))
    Path("lost.json").write_text(to_json(planted(lost)))
    Path("healthy.json").write_text(to_json(planted(healthy)))
    Path("other.json").write_text(to_json(planted(healthy, battery=_SECOND_BATTERY, serial="QX7K-8842-ZW03")))
    Path(FREE_TEXTS["file"]).write_bytes(b"an invented photo")
    by, text = ("--by", FREE_TEXTS["by"]), FREE_TEXTS
    claims = ("--claim", text["claim"], "--came-with", text["came with"], "--note", text["note"])
    _done("unit", "open", label, "lost.json", *claims, "--attach", text["file"], *by)
    _done("unit", "step", label, "fit:top-case", "--serial", IN_HISTORY["fitted serial"], "--result", text["result"])
    _done("unit", "step", label, "swap:battery-pack", "--serial", IN_HISTORY["another serial"], *by)
    _done("unit", "amend", label, "4", "--set", f"text={text['note']} !", "--reason", text["amendment"])
    _done("unit", "capture", label, "healthy.json")
    _done("unit", "baseline", label, "--reason", text["baseline reason"])
    _done("unit", "close", label, "repaired", "--remark", text["remark"])
    _done("unit", "reopen", label, "--claim", text["second claim"])
    _done("unit", "capture", label, "other.json", "--anyway")
    assert folder == Path.cwd()


def _done(*words: str) -> str:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(list(words))
    assert code in (0, 10, 11), (words, err.getvalue())
    return out.getvalue() + err.getvalue()


_WHAT = {
    "fault": ("lost.json",),
    "healthy": ("healthy.json",),
    "unit": ("",),
    "comparison": ("healthy.json", "other.json", "--compare"),
    "unit compared": ("", "--compare"),
}
"""The words after ``report``; "" stands for the unit's label."""


def _made(folder: Path, label: str, kind: str, form: str, *more: str) -> _Made:
    before = set(folder.iterdir())
    picture = ("--picture", "drawing.svg", "--force") if _HAS_PICTURE else ()
    words = [label if word == "" else word for word in _WHAT[kind]]
    said = _done("report", *words, "--format", form, *picture, *more)
    written = sorted(set(folder.iterdir()) - before)
    texts = tuple(path.read_text(encoding="utf-8") for path in written)
    for path in written:
        path.unlink()
    return _Made(said=said, names=tuple(path.name for path in written), texts=texts)


def _without_the_clock(text: str) -> str:
    """The text without when the run itself was, in names of files and in records: six digits by chance."""
    now = datetime.now(UTC)
    days = "|".join(f"{now + timedelta(days=days):%Y-%m-%d}" for days in (-1, 0, 1))
    return re.sub(rf"(?:{days})(?:[T -]\d\d:?\d\d(?::?\d\d(?:\.\d+)?)?)?", "when", text)


def _squeezed(text: str) -> str:
    """Letters and digits alone, without times of the run and digests of captures and seals, which are chance."""
    folded = re.sub(r"\s+", "", _without_the_clock(text).lower())
    return re.sub(r"[\W_]+", "", re.sub(r"sha256:[0-9a-f]{64}", "", folded))


def _pieces(secret: str) -> set[str]:
    """What must not come out: every six signs of a secret in a row; of free text those of its names, and the whole."""
    if secret in _FREE:
        names = re.findall(r"[A-Z][a-z]{5,}|ermintrude", secret)
        return {re.sub(r"[\W_]+", "", secret.lower())}.union(*map(_pieces, names))
    signs = re.sub(r"[\W_]+", "", secret.lower())
    return {signs[at : at + _FRAGMENT] for at in range(len(signs) - _FRAGMENT + 1)} - _COMMON


def _found(text: str, secret: str) -> list[str]:
    squeezed = _squeezed(text)
    hexadecimal = [secret.encode(encoding).hex() for encoding in ("utf-8", "utf-16-le", "utf-16-be")]
    return [piece for piece in [*_pieces(secret), *hexadecimal] if piece in squeezed]


def test_there_are_more_than_forty_planted_secrets_and_each_could_be_found() -> None:
    assert len(_ALL) >= 40
    for what, secret in _ALL.items():
        assert _found(f"… {secret} …", secret), what


@pytest.mark.parametrize("form", _FORMATS)
@pytest.mark.parametrize("kind", _WHAT)
def test_no_planted_secret_comes_out(bench: tuple[Path, str], kind: str, form: str) -> None:
    folder, label = bench
    made = _made(folder, label, kind, form)
    for what, secret in {**_ALL, "second battery": _SECOND_BATTERY}.items():
        assert not _found(made.everything, secret), (what, secret)


def _document(bench: tuple[Path, str], kind: str, *more: str) -> dict[str, Any]:
    folder, label = bench
    made = _made(folder, label, kind, "json", "-o", "-", *more)
    found: dict[str, Any] = json.loads(made.said[made.said.index("{") : made.said.rindex("}") + 1])
    return found


@pytest.mark.parametrize("kind", _WHAT)
def test_all_that_was_planted_in_a_text_is_shown_with_identify(bench: tuple[Path, str], kind: str) -> None:
    """Else the test above would only show that nothing of it is ever shown."""
    told = json.dumps(_document(bench, kind, "--identify"), ensure_ascii=False)
    shown = {
        "fault": [*IN_TEXTS.values(), IN_FIELDS["product serial"], IN_FIELDS["disk serial"]],
        "healthy": [IN_FIELDS["product serial"]],
        "unit": [
            *(IN_FIELDS["battery serial"], _SECOND_BATTERY, *IN_HISTORY.values()),
            *FREE_TEXTS.values(),
        ],
        "comparison": [IN_FIELDS["battery serial"], _SECOND_BATTERY],
        "unit compared": [IN_FIELDS["battery serial"], _SECOND_BATTERY],
    }
    hidden = {FREE_TEXTS["by"], FREE_TEXTS["amendment"], FREE_TEXTS["baseline reason"]}
    """No report tells who wrote an entry down, nor why one was amended; all was present, so no reason was recorded."""
    assert [one for one in shown[kind] if one not in told and one not in hidden] == []


_SAME = (
    *("kind", "title", "outcome", "verdict", "cause", "no_cause", "next_step", "suspects", "ruled", "hands", "basis"),
    *("stops", "looks", "wear", "made_by", "money", "cautions", "profile"),
)


def _wordless(blocks: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Without the reasons, which quote the log."""
    return [
        {**block, "devices": [{**one, "reasons": len(one["reasons"])} for one in block["devices"]]} for block in blocks
    ]


@pytest.mark.parametrize("kind", _WHAT)
def test_redaction_changes_neither_verdict_nor_suspects_nor_chances(bench: tuple[Path, str], kind: str) -> None:
    told, private = _document(bench, kind, "--identify"), _document(bench, kind)
    assert (told["redacted"], private["redacted"]) == (False, True)
    for field in _SAME:
        assert private[field] == told[field], field
    assert _wordless(private["blocks"]) == _wordless(told["blocks"])
    for field in ("events", "since", "changed", "quotes", "outside", "coverage", "unit"):
        assert len(private[field]) == len(told[field]), field
    assert [one["fitted"] for one in private["since"]] == [one["fitted"] for one in told["since"]]


def test_one_value_has_one_token_and_two_values_have_two(bench: tuple[Path, str]) -> None:
    told = _document(bench, "unit")
    battery = next(
        row["said"] for row in told["since"] if "serial number: " in row["said"] and row["name"] == "Battery"
    )
    before, after = re.findall(r"serial-\d+", battery)[:2]
    assert before != after
    baseline = next(event["said"] for event in told["events"] if event["what"] == "baseline")
    assert any(line == f"battery {before}" or f"battery {before}" in line for line in baseline)


def test_a_later_report_of_the_unit_keeps_the_tokens(bench: tuple[Path, str]) -> None:
    """The unit's own serial number and its first battery are named alike in a report of its first capture alone."""
    _, label = bench
    if label == PATIENT:
        return
    first, later = _document(bench, "fault"), _document(bench, "unit")
    serial = next(row["said"] for row in first["unit"] if row["name"].startswith("Serial number"))
    assert is_token(serial)
    changed = next(row["said"] for row in later["since"] if "serial number: " in row["said"] and "own" in row["name"])
    assert re.findall(r"serial-\d+", changed)[0] == serial


def test_files_are_named_by_model_and_time_alone(bench: tuple[Path, str]) -> None:
    folder, label = bench
    made = _made(folder, label, "fault", "json")
    assert [re.fullmatch(r"fernhill-larch-13-report-[\d-]+\.json|drawing\.svg", one) is None for one in made.names] == [
        False
    ] * len(made.names)
    assert made.names

"""The casebook's tables, as the steps that led to them. A step that was once released is never changed.

Each step runs in one transaction with the record that it ran, so that a book
is in one schema or in the next and never between. Before the first step of a
book with content a copy of it is kept.
"""

from __future__ import annotations

from collections.abc import Callable

from usbwatch.casebook.entries import entry_of
from usbwatch.casebook.outcomes import put_outcomes
from usbwatch.casebook.schema_2 import serial_numbers
from usbwatch.casebook.store import Store
from usbwatch.casebook.story import story
from usbwatch.errors import BadBook

__all__ = ["LATEST", "bring_up_to_date"]


def _units_entries_documents(store: Store) -> None:
    """1: units, their entries, and the documents (captures, files) that entries speak of."""
    for statement in (
        """CREATE TABLE document (
            key {key},
            digest {blob} NOT NULL UNIQUE,
            kind {text} NOT NULL,
            family {text} NOT NULL,
            size {int} NOT NULL,
            base {int} REFERENCES document (key),
            packed {blob} NOT NULL
        ){strict}""",
        "CREATE INDEX document_bases ON document (family, key) WHERE base IS NULL",
        """CREATE TABLE unit (
            key {key},
            id {text} NOT NULL UNIQUE,
            label {text} NOT NULL,
            folded {text} NOT NULL UNIQUE,
            model {text} NOT NULL,
            ending {text},
            opened_at {text} NOT NULL,
            changed_at {text} NOT NULL,
            entries {int} NOT NULL
        ){strict}""",
        "CREATE INDEX unit_on_the_bench ON unit (changed_at) WHERE ending IS NULL",
        "CREATE INDEX unit_by_model ON unit (model, changed_at)",
        "CREATE INDEX unit_by_change ON unit (changed_at)",
        """CREATE TABLE entry (
            unit {int} NOT NULL REFERENCES unit (key),
            number {int} NOT NULL,
            id {blob} NOT NULL UNIQUE,
            digest {blob} NOT NULL,
            body {blob} NOT NULL,
            PRIMARY KEY (unit, number)
        ){strict}""",
        """CREATE TABLE entry_document (
            unit {int} NOT NULL,
            number {int} NOT NULL,
            document {int} NOT NULL REFERENCES document (key),
            PRIMARY KEY (unit, number, document),
            FOREIGN KEY (unit, number) REFERENCES entry (unit, number)
        ){strict}""",
    ):
        store.do(statement)


def _outcomes(store: Store) -> None:
    """3: how units left and what had failed, added up for the priors; filled from the entries."""
    store.do(
        """CREATE TABLE outcome (
            unit {int} NOT NULL REFERENCES unit (key),
            number {int} NOT NULL,
            model {text} NOT NULL,
            ending {text} NOT NULL,
            sites {int} REFERENCES document (key),
            brought {int},
            spent {int} NOT NULL,
            minutes {int} NOT NULL,
            PRIMARY KEY (unit, number)
        ){strict}"""
    )
    store.do("CREATE INDEX outcome_by_model ON outcome (model)")
    store.do(
        """CREATE TABLE cause (
            unit {int} NOT NULL,
            number {int} NOT NULL,
            site {text} NOT NULL,
            site_class {text} NOT NULL,
            PRIMARY KEY (unit, number, site),
            FOREIGN KEY (unit, number) REFERENCES outcome (unit, number)
        ){strict}"""
    )
    for (key,) in store.rows("SELECT key FROM unit WHERE ending IS NOT NULL OR entries > 1"):
        bodies = store.rows("SELECT number, body FROM entry WHERE unit = ? ORDER BY number", key)
        put_outcomes(store, key, story([entry_of(bytes(body), number) for number, body in bodies]))


_STEPS: tuple[Callable[[Store], None], ...] = (_units_entries_documents, serial_numbers, _outcomes)

LATEST = len(_STEPS)
"""The schema that this program reads and writes."""


def bring_up_to_date(store: Store) -> str:
    """Take the book to the latest schema; where a copy of what it was is kept, "" where there was nothing to do.

    Raises ``BadBook`` for a book of a newer program, and when a step fails: the
    book is then as it was before that step.
    """
    version = store.schema()
    if version > LATEST:
        problem = f"is written in schema {version}, and this usbwatch reads schemas up to {LATEST}"
        raise BadBook(store.name, problem, "use a newer usbwatch")
    if version == LATEST:
        return ""
    kept = store.before_migrating(version)
    for number, step in enumerate(_STEPS, 1):
        with store.writing():
            store.take_turns()
            if store.schema() == number - 1:
                _done(step, store)
                store.set_schema(number)
    return kept


def _done(step: Callable[[Store], None], store: Store) -> None:
    """Do one step. Raises ``BadBook`` where what it reads in the book is not what any program of ours wrote."""
    try:
        step(store)
    except (AttributeError, KeyError, TypeError, ValueError) as error:
        problem = "is damaged: it holds an entry that cannot be read"
        raise BadBook(store.name, problem, "put a copy of it back") from error

"""A record decided with what is known beside its scans: its identity, the check before, events."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from scanqa.errors import BadOption
from scanqa.findings import acts_noted, decide
from scanqa.model import Identity, Record, Standing
from scanqa.words.of_decision import worded_decision


def decided(
    record: Record,
    *,
    identity: Identity | None = None,
    before: Record | None = None,
    noted: Sequence[str] = (),
    needed: Sequence[str] = (),
) -> Record:
    """The record with its decision, by all that is known.

    Parameters
    ----------
    record : Record
        From `scanqa.qualification.qualify`.
    identity : Identity, optional
        Which unit it is.
    before : Record, optional
        The check before.
    noted : sequence of str
        Words of the events since then.
    needed : sequence of str
        Uses that count, by name; all unless given.

    Raises
    ------
    BadOption
        If a use that is needed is none of the record's.
    """
    known = [each.use for each in record.outcome.uses]
    for use in needed:
        if use not in known:
            raise BadOption(f"--for {use!r}: no such use; choose of: {', '.join(known)}")
    earlier = before.diagnoses if before else ()
    today = datetime.fromisoformat(record.created).date()
    standing = Standing(
        needed=tuple(needed),
        before=tuple(each.cause for each in earlier if each.confirmed),
        done=tuple(dict.fromkeys(act for words in noted for act in acts_noted(words))),
        days_left=identity.days_left(today) if identity else None,
    )
    found = decide(record.diagnoses, record.outcome, standing)
    return replace(
        record,
        identity=identity,
        decision=worded_decision(found, record.diagnoses, record.outcome),
    )

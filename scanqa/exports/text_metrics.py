"""The state of a fleet as a Prometheus text file, for the textfile collector of a node.

Written by prometheus-client: whole or not at all, and without times in the samples, which that
collector refuses. The newest check's day is a value of its own.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

from scanqa.errors import BadOption
from scanqa.model import Key
from scanqa.model.fleet import Fleet


def write_metrics(fleet: Fleet, newest: Mapping[str, Mapping[Key, float]], path: Path) -> int:
    """Write gauges of each scanner in use; how many samples there are.

    Parameters
    ----------
    newest : mapping from scanner to mapping from key to value
        The newest value of each measure that a history watches.

    Raises
    ------
    BadOption
        If the file cannot be written.
    """
    from prometheus_client import CollectorRegistry, Gauge, write_to_textfile

    registry = CollectorRegistry()
    hand = Gauge("scanqa_needs_hand", "1 if the scanner is called: needs a hand.", ["scanner"],
                 registry=registry)  # fmt: skip
    cost = Gauge("scanqa_change_cost", "What moved, in units of what matters to the work.",
                 ["scanner"], registry=registry)  # fmt: skip
    checks = Gauge("scanqa_checks", "Checks on record.", ["scanner"], registry=registry)
    last = Gauge("scanqa_last_check_timestamp_seconds", "When it was last checked.", ["scanner"],
                 registry=registry)  # fmt: skip
    decided = Gauge("scanqa_decision", "1 for the decision that stands.", ["scanner", "decision"],
                    registry=registry)  # fmt: skip
    late = Gauge("scanqa_checks_late", "Scanners whose check is late.", registry=registry)
    measured = Gauge("scanqa_measure", "The newest value of a measure.",
                     ["scanner", "measure", "direction", "channel", "edge", "dpi"],
                     registry=registry)  # fmt: skip
    costs = {call.scanner: call.cost for call in fleet.calls}
    late.set(sum(due.late > 0 for due in fleet.due))
    for row in fleet.units:
        name = row.identity.scanner
        hand.labels(name).set(name in costs)
        cost.labels(name).set(costs.get(name, 0.0))
        checks.labels(name).set(row.checks)
        if row.last:
            last.labels(name).set(datetime.fromisoformat(row.last).timestamp())
            decided.labels(name, row.decision.decision or "none").set(1)
        for key, value in newest.get(name, {}).items():
            labels = (key.name, key.direction, key.channel, key.edge_kind, str(key.dpi or ""))
            measured.labels(name, *labels).set(value)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_to_textfile(str(path), registry)
    except OSError as error:
        raise BadOption(f"{path}: cannot be written: {error.strerror or error}") from error
    return sum(len(metric.samples) for metric in registry.collect())

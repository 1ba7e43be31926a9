"""A minute of damaged files (`tests.fuzz`): each is read, or refused in one line."""

import time

from tests.fuzz import run

SECONDS, LEAST = 60, 100


def test_a_minute_of_damaged_files_never_ends_in_more_than_one_line():
    count, wrong = run(100_000, seed=2026, until=time.monotonic() + SECONDS)
    assert wrong == []
    assert count >= LEAST  # a loaded machine tries fewer

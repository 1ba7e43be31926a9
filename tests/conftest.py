"""Numbers that are not numbers fail the test that made them."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command line has it

import signal

import numpy as np
import pytest
from hypothesis import HealthCheck, settings

# How long an example takes says how busy the machine is, not whether a property holds.
settings.register_profile("scanqa", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("scanqa")


@pytest.fixture(autouse=True)
def _strict_numpy():
    with np.errstate(divide="raise", invalid="raise", over="raise"):
        yield


@pytest.fixture(autouse=True)
def _own_records(tmp_path, monkeypatch):
    """No test touches the user's records, or is touched by the user's settings."""
    monkeypatch.setenv("SCANQA_SETTINGS", str(tmp_path / "own-settings.toml"))
    monkeypatch.setenv("SCANQA_RECORDS", f"sqlite:///{tmp_path / 'own-records.sqlite'}")


# Under nohup and in some CI Ctrl-C is ignored from the start, and every process started here would
# inherit that: the tests that press it need it.
signal.signal(signal.SIGINT, signal.default_int_handler)

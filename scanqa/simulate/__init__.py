"""A scanner with known truth: it stands beside the readers and imports no measure."""

from scanqa.simulate.exposure import Simulated, one_thread, scan

__all__ = ["Simulated", "one_thread", "scan"]

"""A scanner with known truth: it stands beside the readers and imports no measure."""

from scanqa.simulate.scan import Simulated, scan

__all__ = ["Simulated", "scan"]

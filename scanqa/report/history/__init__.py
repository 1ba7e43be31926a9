"""A scanner over its checks: what changed, when, and what it means."""

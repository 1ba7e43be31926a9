"""Which tests are a module's own: short ones, named so that each module costs seconds."""

from __future__ import annotations

from pathlib import Path

ROOT = Path(__file__).parents[2]
ROOMS = ("measures", "numeric", "findings")

# Of a module (or of all in a folder, where its path ends in /): pytest's arguments.
OWN: dict[str, tuple[str, ...]] = {
    "findings/statistic.py": ("tests/findings/test_statistic.py", "tests/findings/test_uses.py"),
    "findings/uses.py": ("tests/findings/test_uses.py",),
    "findings/uses_file.py": ("tests/findings/test_uses.py",),
    "findings/criteria.py": ("tests/findings/test_criteria.py",),
    "findings/legibility.py": ("tests/findings/test_legibility.py",),
    "findings/job_plan.py": ("tests/findings/test_plan.py",),
    "findings/signs/": (
        "tests/findings/test_sign_limits.py", "tests/findings/test_signs.py",
        "tests/findings/test_diagnosis.py",
    ),
    "numeric/lightness.py": ("tests/numeric/test_lightness.py",),
    "numeric/scatter.py": ("tests/numeric/test_scatter.py",),
    "numeric/curve_doubt.py": ("tests/numeric/test_curve_doubt.py",),
    "measures/shading/local_fit.py": ("tests/measures/test_local_fit.py",),
    "measures/drift/exponential.py": ("tests/measures/test_exponential.py",),
    "measures/geometry/separate.py": ("tests/measures/test_separate.py",),
    "measures/processing/small_halo.py": ("tests/measures/test_small_halo.py",),
    "measures/processing/unknown_curve.py": ("tests/measures/test_unknown_curve.py",),
    "measures/pace.py": ("tests/measures/test_pace.py",),
}  # fmt: skip


def own_tests(path: str) -> tuple[str, ...]:
    """Pytest's arguments for a module, by its path in the package; empty if it has none."""
    if path in OWN:
        return OWN[path]
    return next(
        (tests for start, tests in OWN.items() if start.endswith("/") and path.startswith(start)),
        (),
    )


def modules() -> list[str]:
    """Modules of measures, numeric and findings that have short tests of their own."""
    package = ROOT / "scanqa"
    paths = sorted(p for room in ROOMS for p in (package / room).rglob("*.py"))
    names = (str(path.relative_to(package)) for path in paths)
    return [name for name in names if own_tests(name)]

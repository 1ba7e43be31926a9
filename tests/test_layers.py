"""The arrows of the package point one way; see the table in DEVELOPERS.md."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "scanqa"
FOR_ALL = {"model", "catalogue", "errors", "whole", "over_time"}
ALLOWED = {
    "model": {"catalogue"},
    "catalogue": set(),
    "errors": set(),
    "whole": {"errors"},
    "over_time": {"catalogue"},
    "numeric": FOR_ALL,
    "sheets": FOR_ALL,
    "scans": FOR_ALL,
    "locate": FOR_ALL | {"sheets", "numeric"},
    "measures": FOR_ALL | {"numeric"},
    "findings": FOR_ALL,
    "proof": FOR_ALL | {"numeric"},  # cuts crops for findings, which it gets as values
    "simulate": FOR_ALL | {"sheets"},
    "qualify": FOR_ALL | {"scans", "locate", "measures", "findings", "proof"},
    "report": FOR_ALL,
    "records": FOR_ALL | {"numeric"},
    "capture": FOR_ALL | {"scans", "numeric"},
    "demo": FOR_ALL | {"simulate", "scans", "sheets"},
    "cli": FOR_ALL
    | {"qualify", "sheets", "scans", "locate", "simulate", "report", "records", "capture", "demo"},
    "__init__": set(),
    "__main__": {"cli"},
}
BORDERS = {  # third parties and the only rooms that may import them
    "cv2": {"locate", "sheets", "scans", "simulate"},
    "pyvips": {"scans"},
    "tifffile": {"scans"},
    "reportlab": {"sheets"},
    "jinja2": {"report"},
    "matplotlib": {"report"},
    "click": {"cli"},
    "rich": {"cli"},
    "jsonschema": {"report"},
    "sqlalchemy": {"records"},
    "alembic": {"records"},
}
MODULES = sorted(PACKAGE.rglob("*.py"))


def room(path: Path) -> str:
    first = path.relative_to(PACKAGE).parts[0]
    return first.removesuffix(".py")


def imports(path: Path) -> set[str]:
    names = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: write imports in full"
            base = node.module or ""
            names |= (
                {f"{base}.{alias.name}" for alias in node.names} if base == "scanqa" else {base}
            )
    return names


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_follow_the_arrows(path):
    here = room(path)
    for name in imports(path):
        parts = name.split(".")
        if parts[0] == "scanqa" and len(parts) > 1 and parts[1] != "__version__":
            assert parts[1] in ALLOWED[here] | {here}, f"{path} may not import {name}"
        elif parts[0] in BORDERS:
            assert here in BORDERS[parts[0]], f"{path} may not import {name}"


def test_measures_do_not_import_each_other():
    for path in (PACKAGE / "measures").glob("*.py"):
        assert not any(name.startswith("scanqa.measures") for name in imports(path)), path

"""The arrows of the package point one way; see the table in DEVELOPERS.md."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "scanqa"
FOR_ALL = {"model", "catalogue", "errors", "whole", "version"}
ALLOWED = {
    "model": {"catalogue"},
    "catalogue": set(),
    "errors": set(),
    "version": set(),
    "whole": {"errors"},
    "codec": {"model", "errors", "whole"},
    "summary": {"model", "catalogue"},
    "numeric": {"model"},
    "reading": {"model", "catalogue", "numeric"},
    "sheets": FOR_ALL,
    "scans": FOR_ALL,
    "locate": FOR_ALL | {"sheets", "numeric", "reading"},
    "measures": FOR_ALL | {"numeric", "reading"},
    "findings": FOR_ALL | {"summary"},
    "words": FOR_ALL | {"findings"},  # the texts that stand beside the rules
    "proof": FOR_ALL | {"reading", "words"},  # cuts crops for findings, which it gets as values
    "simulate": FOR_ALL | {"sheets"},
    "qualification": FOR_ALL
    | {"scans", "locate", "measures", "reading", "findings", "words", "proof", "summary"}
    | {"on_paper", "placing", "side_by_side"},
    "placing": FOR_ALL | {"scans", "locate", "side_by_side"},
    "side_by_side": {"freed_memory"},
    "freed_memory": set(),
    "standing": FOR_ALL | {"findings", "words"},
    "on_paper": FOR_ALL | {"scans"},
    "report": FOR_ALL | {"summary", "words"},
    "records": FOR_ALL | {"codec", "summary"},
    "capture": FOR_ALL | {"scans", "numeric"},
    "archive": FOR_ALL,
    "exports": FOR_ALL,
    "batch": FOR_ALL
    | {
        "qualification",
        "placing",
        "standing",
        "scans",
        "records",
        "watch",
        "report",
        "codec",
        "words",
    },
    "watch": FOR_ALL | {"scans", "locate", "numeric"},
    "demo_job": FOR_ALL | {"simulate", "scans"},
    "demo": FOR_ALL | {"simulate", "scans", "sheets", "codec"},
    "demo_fleet": FOR_ALL | {"demo"},
    "cli": FOR_ALL
    | {
        "qualification",
        "sheets",
        "scans",
        "locate",
        "simulate",
        "report",
        "records",
        "capture",
        "watch",
        "archive",
        "exports",
        "demo",
        "demo_job",
        "demo_fleet",
        "batch",
    }
    | {"words", "codec", "standing", "side_by_side", "freed_memory"},
    "__init__": FOR_ALL
    | {"qualification", "codec", "records", "sheets", "scans", "simulate", "summary", "report"},
    "__main__": {"cli"},
}
BORDERS = {  # third parties and the only rooms that may import them
    "cv2": {"locate", "sheets", "scans", "simulate", "watch"},
    "pyvips": {"scans"},
    "tifffile": {"scans"},
    "reportlab": {"sheets"},
    "jinja2": {"report"},
    "matplotlib": {"report"},
    "bagit": {"archive"},
    "lxml": {"archive"},
    "click": {"cli"},
    "click_man": {"cli"},
    "rich": {"cli"},
    "msgspec": {"codec", "model", "records"},
    "sqlalchemy": {"records"},
    "distributed": {"batch"},
    "fsspec": {"batch"},
    "botocore": {"batch"},
    "aiohttp": {"batch"},
    "alembic": {"records"},
    "pyarrow": {"exports"},
    "prometheus_client": {"exports"},
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


def test_no_transform_of_scipys_is_used():
    """From SciPy 1.18 on the first starts a thread that stays; what has threads is not forked."""
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("scipy"):
                taken = {f"{node.module}.{alias.name}" for alias in node.names}
                using = {
                    name for name in taken if name.split(".")[1] in ("fft", "fftpack", "signal")
                }
                assert using <= {"scipy.fft.next_fast_len"}, path
            if isinstance(node, ast.Import):
                assert not any(alias.name.startswith("scipy") for alias in node.names), path


def test_measures_do_not_import_each_other():
    for path in (PACKAGE / "measures").rglob("*.py"):
        own = path.relative_to(PACKAGE / "measures").parts[0].removesuffix(".py")
        for name in imports(path):
            parts = name.split(".")
            if parts[:2] == ["scanqa", "measures"] and len(parts) > 2:
                assert parts[2] == own, f"{path} may not import {name}"


def test_every_file_name_stands_once():
    names = [path.name for path in MODULES if path.name not in ("__init__.py", "__main__.py")]
    assert sorted({name for name in names if names.count(name) > 1}) == []


MOST_LINES, MOST_OF_A_FUNCTION, MOST_PARAMETERS = 400, 60, 8


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_modules_and_functions_fit_a_reader(path):
    text = path.read_text()
    assert text.count("\n") < MOST_LINES
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            assert node.end_lineno - node.lineno < MOST_OF_A_FUNCTION, node.name
            given = node.args
            count = len(given.posonlyargs) + len(given.args) + len(given.kwonlyargs)
            assert count <= MOST_PARAMETERS or node.name.startswith("_"), node.name


NO_NAME = {"_of", "_said", "_held", "_none", "_one", "_do", "_it"}  # say what is returned


def test_a_helpers_name_says_what_it_returns():
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.FunctionDef):
                assert node.name not in NO_NAME, f"{path}: {node.name}"

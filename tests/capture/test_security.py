"""Names and values never meet a shell, a path or an option that they were not meant for."""

import ast
from pathlib import Path

import pytest

import scanqa.capture
from scanqa.capture.device import read_options
from scanqa.capture.faults import ScanFailed
from scanqa.capture.one_scan import scan_to
from scanqa.capture.settings import choose
from tests.capture.fake import paper

PACKAGE = Path(scanqa.capture.__file__).parent
SOURCES = [*sorted(PACKAGE.glob("*.py")), PACKAGE.parent / "cli" / "capture_command.py"]
EVIL = [
    "$(touch pwned)",
    "`touch pwned`",
    "; touch pwned;",
    "| touch pwned",
    "--output-file=pwned",
    "--help",
    "-o",
    "../../etc/passwd",
    "a b 'c' \"d\" \\",
    "%s%n%d",
    "héron*?[x]",
]


@pytest.mark.parametrize("name", EVIL)
def test_a_devices_name_is_one_argument_and_nothing_else(fake, tmp_path, monkeypatch, name):
    monkeypatch.chdir(tmp_path)
    read_options(name)
    assert fake.calls == [[f"--device-name={name}", "-A"]]
    assert not (tmp_path / "pwned").exists()


@pytest.mark.parametrize("name", EVIL)
def test_the_real_program_takes_it_for_a_name_too(sane, tmp_path, monkeypatch, name):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(ScanFailed, match="cannot be reached"):
        read_options(name)
    assert [path.name for path in tmp_path.iterdir()] == ["sane"]


@pytest.mark.parametrize("name", [name.replace("/", "_") for name in EVIL])
def test_a_folder_may_have_any_name(sane, tmp_path, monkeypatch, name):
    monkeypatch.chdir(tmp_path)
    Path(name).mkdir()
    scan_to(Path(name) / "a.tif", choose(sane, dpi=50))
    assert [path.name for path in Path(name).iterdir()] == ["a.tif"]
    assert not (tmp_path / "pwned").exists()


def test_values_of_options_are_one_argument_each(fake, tmp_path):
    fake.offers("    --mode Color [Color]\n    --resolution 100dpi [100]\n    --note <string> []\n")
    fake.queue(paper(1))
    scan_to(tmp_path / "a.tif", choose("fake", dpi=100, extra={"note": "; reboot --batch=x"}))
    assert "--note=; reboot --batch=x" in fake.calls[-1]
    assert not any(argument.startswith("--batch") for argument in fake.calls[-1])


def calls(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            yield ast.unparse(node.func), {k.arg: ast.unparse(k.value) for k in node.keywords}


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: path.name)
def test_no_shell_is_started_and_nothing_listens(path):
    tree = ast.parse(path.read_text("utf-8"))
    for name, keywords in calls(tree):
        assert keywords.get("shell", "False") == "False", path
        assert name not in {"os.system", "os.popen", "eval", "exec", "pickle.loads"}, path
        assert not name.startswith(("os.exec", "os.spawn", "socket.")), path
    imported = {
        name.partition(".")[0]
        for node in ast.walk(tree)
        if isinstance(node, (ast.Import, ast.ImportFrom))
        for name in (
            [alias.name for alias in node.names]
            if isinstance(node, ast.Import)
            else [node.module or ""]
        )
    }
    assert imported.isdisjoint({"socket", "socketserver", "http", "asyncio", "multiprocessing"})

"""A dozen names, documented and typed; the example of them in DEVELOPERS.md runs."""

import inspect
import re
import subprocess
import sys
from pathlib import Path

import pytest

import scanqa
from scanqa.scans.save import save_tiff
from scanqa.simulate.scanner import Scanner
from scanqa.simulate.scenes import BlankScene, Paper

GUIDE = Path(__file__).parents[1] / "DEVELOPERS.md"
FUNCTIONS = sorted(name for name in scanqa.__all__ if inspect.isfunction(getattr(scanqa, name)))


def test_importing_the_package_loads_nothing():
    code = "import sys, scanqa; print(sorted(m for m in sys.modules if m.startswith('scanqa.')))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "['scanqa.version']"


@pytest.mark.parametrize("name", scanqa.__all__)
def test_a_name_is_there_and_documented(name):
    found = getattr(scanqa, name)
    assert name == "__version__" or inspect.getdoc(found)
    assert name in dir(scanqa)


@pytest.mark.parametrize("name", FUNCTIONS)
def test_a_function_is_typed_and_says_what_goes_in_and_what_may_go_wrong(name):
    function = getattr(scanqa, name)
    doc = inspect.getdoc(function)
    signature = inspect.signature(function)
    assert signature.return_annotation is not inspect.Signature.empty
    for parameter in signature.parameters.values():
        assert parameter.annotation is not inspect.Parameter.empty
    assert "Parameters\n-----" in doc
    assert "Raises\n-----" in doc or name == "summarise"


def test_an_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="scanqa"):
        _ = scanqa.banana


def test_the_example_of_the_guide_runs(tmp_path, monkeypatch):
    import numpy as np

    section = GUIDE.read_text("utf-8").partition("## From Python")[2].partition("\n## ")[0]
    (code,) = re.findall(r"```python\n(.*?)```", section, re.S)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("SCANQA_RECORDS", str(tmp_path / "records.sqlite"))
    (tmp_path / "my-scans").mkdir()
    scanner = Scanner("heron", glass_mm=(90.0, 120.0))
    for number in (1, 2):
        blank = BlankScene(Paper(seed=5), moved_mm=(3.0 * number, 0.0))
        made = scanqa.simulate.scan(blank, scanner, dpi=150, rng=np.random.default_rng(number))
        save_tiff(tmp_path / "my-scans" / f"blank-{number}.tif", made.pixels, made.dpi)
    exec(compile(code, "DEVELOPERS.md", "exec"), {"__name__": "example"})
    assert (tmp_path / "heron.html").is_file()
    assert scanqa.read_record(tmp_path / "heron.json").scanner == "heron"

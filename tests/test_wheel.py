"""The wheel, installed without extras in an environment of its own, does the job from elsewhere."""

import os
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

from scanqa.version import __version__

TREE = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    folder = tmp_path_factory.mktemp("built")
    command = [sys.executable, "-m", "hatchling", "build", "-d", str(folder)]
    subprocess.run(command, cwd=TREE, check=True, capture_output=True)
    return folder


def test_wheel_and_sdist_hold_what_they_need_and_no_more(built):
    (wheel,) = built.glob("*.whl")
    (sdist,) = built.glob("*.tar.gz")
    assert wheel.name == f"scanqa-{__version__}-py3-none-any.whl"
    names = zipfile.ZipFile(wheel).namelist()
    outside = {name.partition("/")[0] for name in names} - {"scanqa"}
    assert outside == {f"scanqa-{__version__}.dist-info"}
    for part in ("py.typed", "record.schema.json", "demo_years.jsonl.gz"):
        assert f"scanqa/{part}" in names
    assert sum(name.endswith(".toml") for name in names) > 20  # the tables beside the code
    with tarfile.open(sdist) as packed:
        inside = {name.partition("/")[2].partition("/")[0] for name in packed.getnames()}
    assert {"scanqa", "tests", "targets", "README.md", "pyproject.toml", "LICENSE"} <= inside
    metadata = zipfile.ZipFile(wheel).read(f"scanqa-{__version__}.dist-info/METADATA").decode()
    assert "License-Expression: MIT" in metadata


@pytest.mark.slow
def test_installed_without_extras_it_measures_the_small_demo_and_writes_sheets(built, tmp_path):
    (wheel,) = built.glob("*.whl")
    python = tmp_path / "env/bin/python"
    subprocess.run([sys.executable, "-m", "venv", str(tmp_path / "env")], check=True)
    install = [
        str(python),
        "-m",
        "pip",
        "install",
        "-q",
        "--no-compile",
        "--disable-pip-version-check",
        str(wheel),
    ]
    subprocess.run(install, check=True, cwd=tmp_path, env=_plain())
    program = str(python.with_name("scanqa"))

    def run(*arguments):
        command = [program, *arguments]
        done = subprocess.run(
            command, cwd=tmp_path, capture_output=True, text=True, env=_plain(), check=False
        )
        assert "Traceback" not in done.stderr
        return done

    demo = run("demo", "--quick")
    assert demo.returncode in (0, 1), demo.stderr
    report = tmp_path / demo.stdout.splitlines()[-1]
    assert report.name == "heron.html"
    assert "71.3" in report.read_text("utf-8")  # mm: the line that was planted
    sheets = run("sheets", "--out", "printed")
    assert sheets.returncode == 0, sheets.stderr
    assert len(list((tmp_path / "printed").glob("*.pdf"))) >= 4
    assert run("manual", "--help").returncode == 0
    installed = run("installed").stdout
    assert f"scanqa {__version__}" in installed
    assert "psycopg: missing (only for records in PostgreSQL" in installed


def _plain():
    """No path into the tree, no settings or records of the person who tests."""
    left_out = ("PYTHONPATH", "SCANQA_RECORDS", "SCANQA_SETTINGS")
    return {name: value for name, value in os.environ.items() if name not in left_out}

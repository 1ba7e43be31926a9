"""The record of a job: hashes, bag, MIX and PREMIS, each against a reader that is not ours."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import bagit
import pytest
from lxml import etree

from scanqa.model.job_record import JobCheck, JobFile
from scanqa.model.watched import Watched
from scanqa.simulate.job_scanner import DirtLine, JobScanner
from scanqa.watch.tie_up import job_record
from tests.watch.jobs import Play, dirty, files

EXTERNAL = Path(__file__).parents[1] / "external"


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    """A watched job of 22 small pages, JPEG and TIFF, with a line; its folder and environment."""
    top = tmp_path_factory.mktemp("record")
    folder = top / "Früchte & Co"
    folder.mkdir()
    scanner = JobScanner(dpi=150, size_mm=(105.0, 148.0), seed=4)
    play = Play(77, 22, ("text",), True, scanner=scanner)
    list(files(folder, play, dirty(play.plan(), DirtLine(40.0, 0.2, -0.03), 12, 22)))
    env = os.environ | {
        "SCANQA_STATE": str(top / "state"),
        "SCANQA_RECORDS": f"sqlite:///{top / 'records.sqlite'}",
    }
    made = call(env, "watch", folder, "--scanner", "heron", "--out", top / "out")
    assert made.returncode == 1, made.stderr
    return folder, env


def call(env, *words):
    return subprocess.run(
        [sys.executable, "-m", "scanqa", "job", *map(str, words)],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        env=env,
    )


@pytest.fixture(scope="module")
def recorded(job, tmp_path_factory):
    folder, env = job
    out = tmp_path_factory.mktemp("out")
    before = {p.name: (p.stat().st_ino, p.stat().st_mtime_ns) for p in folder.iterdir()}
    result = call(env, "record", folder, "--scanner", "heron", "--out", out, "--bag", out / "bag")
    assert result.returncode == 1, result.stderr  # pages are to be scanned again
    after = {p.name: (p.stat().st_ino, p.stat().st_mtime_ns) for p in folder.iterdir()}
    assert after == before  # masters are neither moved nor touched
    return folder, env, out, result


def test_the_manifest_is_checked_by_sha256sum(recorded):
    folder, _, out, _ = recorded
    subprocess.run(
        ["sha256sum", "--check", "--strict", str(out / "heron-job.sha256")], cwd=folder, check=True
    )


def test_the_bag_validates_with_the_bagit_library(recorded):
    _, _, out, result = recorded
    bag = bagit.Bag(str(out / "bag"))
    assert bag.validate()
    assert bag.algorithms == ["sha256"]
    assert len(list((out / "bag/data/pages").iterdir())) == 22
    assert "22 files by hard link, 0 copied" in result.stdout


def test_mix_and_premis_validate_against_their_schemas(recorded):
    folder, _, out, _ = recorded
    mix = etree.XMLSchema(etree.parse(EXTERNAL / "mix20.xsd"))
    entries = sorted((out / "bag/data/mix").iterdir())
    assert len(entries) == 22
    for entry in entries:
        mix.assertValid(etree.parse(entry))
    document = etree.parse(out / "bag/data/premis.xml")
    etree.XMLSchema(etree.parse(EXTERNAL / "premis-v3-0.xsd")).assertValid(document)
    space = {"p": "http://www.loc.gov/premis/v3", "m": "http://www.loc.gov/mix/v20"}
    names = document.xpath("//p:object/p:originalName/text()", namespaces=space)
    assert sorted(names) == sorted(p.name for p in folder.iterdir())
    kinds = document.xpath("//p:agent/p:agentType/text()", namespaces=space)
    assert sorted(kinds) == ["hardware", "software"]
    outcome = document.xpath("//p:eventOutcome/text()", namespaces=space)
    assert "pages to be scanned again" in outcome
    first = etree.parse(entries[0])
    width = first.xpath("//m:imageWidth/text()", namespaces=space)
    assert width == ["620"]  # 105 mm at 150 dpi


def test_a_schema_refuses_what_is_wrong(recorded):
    """The check above can fail: an element too many is no MIX."""
    _, _, out, _ = recorded
    entry = etree.parse(sorted((out / "bag/data/mix").iterdir())[0])
    etree.SubElement(entry.getroot(), "{http://www.loc.gov/mix/v20}imageColour").text = "x"
    assert not etree.XMLSchema(etree.parse(EXTERNAL / "mix20.xsd")).validate(entry)


def test_the_document_ties_pages_to_what_the_watch_found(recorded):
    _, _, out, _ = recorded
    record = json.loads((out / "heron-job-record.json").read_text())
    assert record["schema"] == "scanqa.job-record/1"
    assert {f["state"] for f in record["files"]} == {"as-watched"}
    assert record["watched"]["redo"] == [f"{n:04d}.tif" for n in range(12, 22)]
    assert record["before"] is None
    assert record["covered"] == "no"
    (lot,) = record["lots"]
    assert (lot["pages"], len(lot["sample"]), lot["reject_from"]) == (21, 5, 1)
    page = (out / "heron-job-record.html").read_text()
    assert all(f["sha256"] in page for f in record["files"])


def test_check_tells_changed_missing_and_new_files(recorded, tmp_path):
    folder, env, out, _ = recorded
    copy = tmp_path / "copy"
    shutil.copytree(folder, copy)
    record = out / "heron-job-record.json"
    assert call(env, "check", copy, "--record", record).returncode == 0
    data = bytearray((copy / "0003.tif").read_bytes())
    data[-1] ^= 1
    (copy / "0003.tif").write_bytes(data)
    (copy / "0004.tif").unlink()
    shutil.copy(copy / "0005.tif", copy / "extra.tif")
    for kept in (record, out / "heron-job.sha256"):
        result = call(env, "check", copy, "--record", kept)
        assert result.returncode == 1
        assert "0003.tif: changed" in result.stdout
        assert "0004.tif: missing" in result.stdout
        assert "extra.tif: new" in result.stdout


def test_check_of_a_bag_sees_a_changed_page(recorded, tmp_path):
    _, env, out, _ = recorded
    shutil.copytree(out / "bag", tmp_path / "bag")
    assert call(env, "check", tmp_path / "bag").returncode == 0
    (tmp_path / "bag/data/pages/0002.tif").write_bytes(b"other")
    result = call(env, "check", tmp_path / "bag")
    assert result.returncode == 1
    assert "0002.tif" in result.stdout


def test_places_that_cannot_be_are_one_line(recorded, tmp_path):
    folder, env, out, _ = recorded
    for words, said in (
        (("record", folder, "--scanner", "wren"), "was never watched for wren"),
        (("record", folder, "--scanner", "heron", "--out", tmp_path, "--bag", out / "bag"),
         "is there already"),
        (("record", folder, "--scanner", "heron", "--out", tmp_path, "--bag", folder / "bag"),
         "lies in the job's own folder"),
        (("check", folder), "is no bag"),
        (("check", folder, "--record", tmp_path / "none.json"), "cannot be read"),
    ):  # fmt: skip
        result = call(env, *words)
        assert result.returncode == 2
        assert said in result.stderr
        assert result.stderr.count("\n") == 1
    assert not list(tmp_path.glob(".*"))


def test_a_page_changed_since_the_watch_is_said(job, tmp_path):
    folder, env = job
    page = folder / "0001.tif"
    data = page.read_bytes()
    try:
        page.write_bytes(data + b"\0")
        result = call(env, "record", folder, "--scanner", "heron", "--out", tmp_path)
        assert "Changed since the watch read them: 0001.tif" in result.stdout
    finally:
        page.write_bytes(data)


NOON = datetime(2026, 11, 20, 12, tzinfo=UTC)


def one_file(moment):
    return JobFile("a.tif", 1, "0" * 64, moment.isoformat(), "as-watched")


def check_at(moment):
    return JobCheck(moment.isoformat(), moment.isoformat(), "fit", ())


@pytest.mark.parametrize(
    ("before_days", "after", "covered"),
    [(2, True, "yes"), (2, False, "open"), (20, True, "no"), (None, True, "no")],
)
def test_a_check_counts_for_its_days(before_days, after, covered):
    checks = [] if before_days is None else [check_at(NOON - timedelta(days=before_days))]
    checks += [check_at(NOON + timedelta(hours=3))] if after else []
    empty = Watched("heron", "job", (), (), ())
    record = job_record(empty, [one_file(NOON)], checks, counts_days=14, counts_pages=100)
    assert record.covered == covered
    if before_days is not None:
        ends = NOON - timedelta(days=before_days) + timedelta(days=14)
        assert record.counts_until == ends.date().isoformat()

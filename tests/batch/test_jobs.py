"""Jobs watched by a batch: what `scanqa job watch` finds, and the same command goes on."""

import json
import shutil

import pytest

from scanqa.batch.manifest import read_all
from tests.batch.arena import batch, begin, end


@pytest.fixture
def pages(archive, tmp_path):
    """Three pages of a job (plain paper does)."""
    folder = tmp_path / "pages"
    folder.mkdir()
    for number, path in enumerate(sorted((archive / "heron").rglob("*.tif"))[:3]):
        shutil.copy2(path, folder / f"{number:04d}.tif")
    return folder


def document_of(path):
    found = json.loads(path.read_text("utf-8"))
    return {name: value for name, value in found.items() if name != "created"}


def test_a_batch_watches_jobs_as_the_command_for_one_does(archive, pages, tmp_path):
    plan = tmp_path / "plan.csv"
    plan.write_text(f"set,scanner,file,kind\nprice lists,heron,{pages},job\n")
    records, out = tmp_path / "r.sqlite", tmp_path / "out"
    ours = ("--records", records, "--out", out, "--new-scanners", "--workers", 1)
    state = {"SCANQA_STATE": str(tmp_path / "state")}
    status, said, wrong = batch(plan, *ours, **state)
    assert (status, said, wrong) == (0, "1 set: 1 watched\n", [])
    first = document_of(out / "price-lists-job.json")
    assert [page["file"] for page in first["pages"]] == ["0000.tif", "0001.tif", "0002.tif"]
    assert (out / "price-lists-job.html").read_text("utf-8").startswith("<!DOCTYPE html>")
    # The other path: the command for one job, with a journal of its own.
    by_hand = begin("job", "watch", pages, "--scanner", "heron", "--records", records,
                    "--json", tmp_path / "hand.json", "--out", tmp_path / "hand",
                    SCANQA_STATE=str(tmp_path / "other"))  # fmt: skip
    assert end(by_hand)[0] == 0
    assert document_of(tmp_path / "hand.json") == first
    # A page more: the same command goes on where its journal stands.
    shutil.copy2(next((archive / "wren").rglob("*.tif")), pages / "0003.tif")
    assert batch(plan, *ours, **state)[0] == 0
    then = document_of(out / "price-lists-job.json")
    assert len(then["pages"]) == 4
    assert then["pages"][:3] == first["pages"]


def test_a_job_whose_folder_is_not_there_is_one_line(tmp_path):
    plan = tmp_path / "plan.csv"
    plan.write_text(f"set,scanner,file,kind\na,heron,{tmp_path / 'none'},job\n")
    assert len(read_all([plan], {}).pieces) == 1
    status, said, wrong = batch(plan, "--records", tmp_path / "r", "--new-scanners",
                                "--workers", 1, SCANQA_STATE=str(tmp_path / "state"))  # fmt: skip
    assert (status, said) == (2, "1 set: 1 failed\n")
    assert len(wrong) == 2
    assert str(tmp_path / "none") in wrong[0]

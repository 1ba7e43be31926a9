import re
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from scanqa.errors import BadOption
from scanqa.model import Curve, Diagnosis, Evidence, Measurement
from scanqa.report.pages import FIGURE_BYTES, layout, render, write_report
from scanqa.report.view import Crop, Lines
from tests.report import synthetic
from tests.report.reading import page_text

GOLD = Path(__file__).parents[1] / "gold"


@pytest.fixture(scope="module")
def heron(reports):
    return reports["heron"].read_text("utf-8")


def scrubbed(text: str) -> str:
    """The page's words without what changes from day to day and from version to version.

    Families of measures that a record lacks altogether are dropped as well: they change whenever
    a measure is added (and `test_view` looks at them).
    """
    text = re.sub(r"[^\n]+\nnothing in this set of scans shows it;[^\n]+\n", "", text)
    text = re.sub(r"\d{1,2} [A-Z][a-z]+ \d{4}, \d\d:\d\d UTC", "DATE", text)
    return re.sub(r"scanqa \d+\.\d+\.\d+", "scanqa VERSION", text)


@pytest.mark.parametrize(
    ("name", "file"),
    [
        ("heron", "report-heron.txt"),
        ("one-blank", "report-one-blank.txt"),
        ("heron-evidence", "evidence-heron.txt"),
    ],
)
def test_page_says_what_the_gold_file_says(name, file, reports, tmp_path):
    text = scrubbed(page_text(reports[name].read_text("utf-8")))
    gold = GOLD / file
    new = tmp_path / gold.name
    new.write_text(text, "utf-8")
    assert text == gold.read_text("utf-8"), f"see tests/gold/README.md; the new text is {new}"


def test_nothing_on_the_page_is_fetched_or_run(heron):
    assert "<script" not in heron
    assert "default-src 'none'" in heron
    assert not re.search(r"\son\w+=", heron)
    for address in re.findall(r'(?:src|href|action|data)="([^"]*)"', heron):
        here = address.startswith(("#", "data:image/png;base64,"))
        assert here or re.fullmatch(r"[\w.%-]+\.html", address), address  # a page beside it
    assert "url(" not in re.sub(r"url\(#[\w-]+\)", "", heron)
    assert "@import" not in heron


def test_page_is_small(reports):
    for path in reports.values():
        assert path.stat().st_size < 3_000_000


def test_ids_are_unique_and_links_arrive(reports):
    for path in reports.values():
        html = path.read_text("utf-8")
        ids = Counter(re.findall(r'\bid="([^"]*)"', html))
        assert not [name for name, count in ids.items() if count > 1]
        assert set(re.findall(r'<a href="#([^"]*)"', html)) <= set(ids)
        assert set(re.findall(r'aria-labelledby="([^"]*)"', html)) <= set(ids)


def test_the_decision_comes_first_then_uses_glass_acts_contents_and_the_numbers(heron):
    order = ["<h1>heron", 'id="decision"', 'id="uses"', 'id="where"', 'id="what-to-do"']
    order += ['aria-label="Contents"', 'id="diagnoses"']
    order += ['id="section-sharpness"', 'id="criteria"', 'id="gaps"', 'id="scans"', 'id="reading"']
    places = [heron.index(part) for part in order]
    assert places == sorted(places)


def test_every_caution_is_on_the_page(heron):
    text = page_text(heron)
    for action in synthetic.heron().record.actions:
        assert action.text in text
        assert action.caution in text


def test_hostile_words_stay_words(reports):
    html = reports["hostile"].read_text("utf-8")
    assert "<script" not in html
    assert "<img" not in html
    assert html.count("&lt;script&gt;alert(1)") > 20
    assert "\x07" not in html
    assert "林檎" in html
    text = page_text(html)
    assert '"><script>alert(1)</script>' in text


def test_pictures_that_would_burst_the_page_are_named_instead():
    rng = np.random.default_rng(5)
    x = np.arange(600.0)
    noisy = tuple(
        Evidence(
            "tone", "curves", f"Noise {family}",
            curves=tuple(Curve(str(at), x, rng.normal(size=600)) for at in range(8)),
        )
        for family in range(6)
    )  # fmt: skip
    crops = tuple(
        Evidence("noise", "crop", f"Crop {at}", image=rng.integers(0, 255, (320, 320, 3), np.uint8))
        for at in range(6)
    )
    found = Diagnosis(cause="levels", severity="warning", rests_on=("tone.white", "noise.total"))
    whole = synthetic.changed(
        synthetic.one_blank(),
        evidence=noisy + crops,
        findings=(found,),
        measures=(Measurement("noise.total", 1.0), Measurement("tone.white", 92.0)),
    )
    html = render(whole)
    assert len(html.encode()) < FIGURE_BYTES + 500_000
    assert re.search(r'<p class="small">(Crop|Noise) \d: ', html)  # in words what is not drawn


def test_half_pictures_pair_up_and_an_odd_one_stands_alone():
    x = np.arange(3.0)
    wide = Lines("t", "c", "a", "x", "y", (Curve("", x, x),), wide=True)
    half = Crop("t", "c", "a", np.zeros((4, 4, 3), np.uint8), (0, 0, 1, 1))
    assert layout([half, half, wide, half]) == ["half", "half", "wide", "alone"]
    assert layout([half, half, half]) == ["half", "half", "alone"]


def test_a_place_that_cannot_be_written_is_one_line(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(BadOption, match="cannot be written"):
        write_report(synthetic.one_blank(), tmp_path / "file" / "report.html")

"""The page of a job: everything found stands on it, nothing from outside, names escaped."""

import re
from html.parser import HTMLParser

import pytest

from scanqa.codec import to_document
from scanqa.model.watched import Event, FaultPicture, Watched, WatchedPage
from scanqa.report.job_page import job_view, write_job_page
from scanqa.words.of_watch import event_sentence, summary_sentence

NAMES = [f"{n:04d}.tif" for n in range(40)]
LINE = Event(
    1, "line", "0021.tif", "0039.tif", True, "scan-again",
    at_mm=71.3, at_px=420.4, contrast_percent=-1.4, uncertainty=0.1, cause="scanner",
    files=tuple(NAMES[21:]),
)  # fmt: skip
LIGHT = Event(
    2, "light", "0030.tif", "0039.tif", True, "scan-blank",
    contrast_percent=-5.1, uncertainty=0.4, files=tuple(NAMES[30:]),
)  # fmt: skip


def job(*events, redo=()):
    touched = {file for event in events for file in event.files if event.action != "none"}
    pages = tuple(
        WatchedPage(name, name not in touched, judged_percent=90.0, light_percent=0.1)
        for name in NAMES
    )
    odd = WatchedPage("<odd>&.tif", ok=False, shows="unreadable", why="ends early")
    return Watched("heron", "jobs/plums", (*pages, odd), events, redo)


class Text(HTMLParser):
    def __init__(self):
        super().__init__()
        self.words, self.sources = [], []

    def handle_data(self, data):
        self.words.append(data)

    def handle_starttag(self, tag, attrs):
        assert tag != "script"
        self.sources += [v for k, v in attrs if k in ("src", "href") and v]


def test_the_page_says_what_to_do_and_fetches_nothing(tmp_path):
    picture = FaultPicture(1, "0021.tif", "page", b"\x89PNG", 200, 280, 67.9)
    found = job(LINE, LIGHT, redo=tuple(NAMES[21:]))
    write_job_page(found, [picture], tmp_path / "heron-job.html")
    text = (tmp_path / "heron-job.html").read_text("utf-8")
    reader = Text()
    reader.feed(text)
    said = re.sub(r"\s+", " ", " ".join(reader.words)).replace("\u00a0", " ")
    said = said.replace("\u202f", " ")
    for words in (
        "Scan again",
        "a dark line at x 71.3 mm, 1.40 ± 0.10 %",
        "scan one blank now",
        "<odd>&.tif: cannot be read (ends early)",
        "at most 1 of 100 sound jobs",
    ):
        assert words.lower() in said.lower(), words
    outside = [s for s in reader.sources if not s.startswith(("data:", "#"))]
    assert outside == []
    assert (tmp_path / "index.html").read_text().count("heron-job.html") >= 1


@pytest.mark.parametrize(
    ("events", "word"), [((), "Sound"), ((LIGHT,), "Scan a blank"), ((LINE,), "Scan again")]
)
def test_the_word_is_that_of_the_gravest_event(events, word):
    redo = LINE.files if LINE in events else ()
    assert job_view(job(*events, redo=redo), []).word == word


def test_sentences_name_pages_place_and_what_to_do():
    assert event_sentence(LINE) == (
        "from 0021.tif: a dark line at x 71.3 mm, 1.40\u00a0±\u00a00.10\u202f%; clean the "
        "glass (cleaner on a cloth, never on the glass) and scan 0021.tif to 0039.tif "
        "(19 pages) again"
    )
    assert summary_sentence(job()).startswith("40 pages, nothing found against them")
    assert summary_sentence(job(LINE, redo=LINE.files)).startswith("Pages 1 to 21 sound; from")


def test_the_document_has_the_fields_that_were_promised():
    import json

    document = json.loads(to_document(job(LINE, redo=LINE.files)))
    assert document["schema"] == "scanqa.watch/1"
    assert set(document) >= {"pages", "events", "redo"}
    assert set(document["pages"][0]) >= {"file", "ok", "findings"}
    asked = [
        "kind",
        "from_file",
        "to_file",
        "at_mm",
        "at_px",
        "contrast_percent",
        "uncertainty",
        "action",
    ]
    assert set(document["events"][0]) >= set(asked)

"""The walk along a plan, with a desk that answers as written and a source that fails at will."""

from dataclasses import dataclass, field

import pytest
from PIL import Image

from scanqa.capture.desk import GO, STOP
from scanqa.capture.faults import ScanFailed
from scanqa.capture.guide import Stopped, Verdict, Walk, minutes_left, walk
from scanqa.capture.one_scan import read_back
from scanqa.capture.session import Session, load
from scanqa.capture.steps import BLANKS, FULL, Step, fitting
from tests.capture.fake import paper


@dataclass
class Desk:
    """Answers in turn; remembers what was said."""

    answers: list = field(default_factory=list)
    lines: list = field(default_factory=list)

    def say(self, words=""):
        self.lines.append(words)

    def passing(self, words):
        pass

    def key(self, prompt, *, timeout_s=None):
        self.lines.append(prompt)
        return self.answers.pop(0)

    @property
    def text(self):
        return "\n".join(self.lines)


@dataclass
class Source:
    """Writes a picture for each step, or fails with what stands first in `fails`."""

    folder: object
    pictures: dict = field(default_factory=dict)
    fails: list = field(default_factory=list)
    taken: list = field(default_factory=list)
    scan_s: float = 30.0

    def wait(self, step, desk, *, at_once):
        return GO if at_once else desk.key(f"wait {step.id}")

    def take(self, step, desk):
        self.taken.append(step.id)
        if self.fails:
            error = self.fails.pop(0)
            if error is not None:
                raise error
        path = self.folder / f"{step.id}.tif"
        made = self.pictures.get(step.id, paper(len(self.taken), shift_px=(len(self.taken), 9)))
        Image.fromarray(made).save(path, dpi=(100, 100))
        return read_back(path)

    def seconds(self, step):
        return self.scan_s


def good(step, taken, session):
    return Verdict("plain white paper", facts={"role": step.role})


@pytest.fixture
def source(tmp_path):
    return Source(tmp_path)


def go(source, answers, *, plan=BLANKS, check=good, session=None):
    desk = Desk(list(answers))
    route = Walk(plan, source.folder, source, check, desk)
    session = walk(route, session or load(source.folder, "heron"))
    assert not desk.answers, "not all answers were asked for"
    return session, desk


def test_each_step_is_drawn_explained_scanned_and_saved(source):
    session, desk = go(source, [GO, GO])
    assert [entry.step for entry in session.entries] == ["blank-1", "blank-2"]
    assert load(source.folder, "heron") == session
    assert "Step 1 of 2: blank-1" in desk.text
    assert "plain white paper over the whole glass" in desk.text
    assert all(line in desk.text for line in BLANKS[1].drawing.splitlines())
    assert desk.text.count("Good.") == 2
    assert session.entries[0].facts == {"role": "blank"}


def test_a_failed_scan_is_told_and_tried_again(source):
    source.fails = [ScanFailed("the cover is open", "close it, scan again")]
    session, desk = go(source, [GO, GO, GO])
    assert "No scan: the cover is open; close it, scan again." in desk.text
    assert source.taken == ["blank-1", "blank-1", "blank-2"]
    assert len(session.entries) == 2


def test_a_poor_scan_says_why_and_is_scanned_again_at_once(source):
    verdicts = [Verdict(again={"skew": "it lies askew"}), Verdict(), Verdict()]
    session, desk = go(source, [GO, GO, GO], check=lambda *_: verdicts.pop(0))
    assert "Scan it again because it lies askew." in desk.text
    assert source.taken == ["blank-1", "blank-1", "blank-2"]
    assert session.entry("blank-1").kept_despite == ""


def test_what_is_kept_despite_a_fault_is_remembered_and_not_asked_about_again(source):
    def clipped(*_):
        return Verdict(again={"clipped": "it is too bright"})

    session, desk = go(source, [GO, "x", "k", GO], check=clipped)
    assert [entry.kept_despite for entry in session.entries] == ["it is too bright"] * 2
    assert session.accepted == ("clipped",)
    assert desk.text.count("Scan it again because") == 1
    assert desk.text.count("That key means nothing here") == 1
    assert "Note: it is too bright." in desk.text


def test_paper_that_was_not_moved_is_asked_to_be_moved(source):
    source.pictures = {"blank-1": paper(1), "blank-2": paper(2)}
    session, desk = go(source, [GO, GO, "k"])
    assert "Scan it again because the paper lies as in blank-1" in desk.text
    assert "the paper lies as in blank-1" in session.entry("blank-2").kept_despite


def test_the_same_file_twice_is_seen(source):
    source.pictures = {"blank-1": paper(1), "blank-2": paper(1)}
    _, desk = go(source, [GO, GO, "s"])
    assert "it is the same file as blank-1.tif, which is blank-1" in desk.text


@pytest.mark.parametrize("answer", ["q", STOP])
def test_stopping_keeps_what_is_there_and_the_walk_goes_on_behind_it(source, answer):
    with pytest.raises(Stopped):
        go(source, [GO, answer])
    assert [entry.step for entry in load(source.folder, "heron").entries] == ["blank-1"]
    session, desk = go(source, [GO])
    assert source.taken == ["blank-1", "blank-2"]
    assert "Step 2 of 2" in desk.text
    assert len(session.entries) == 2


def test_ctrl_c_in_a_scan_keeps_what_is_there(source):
    source.fails = [None, KeyboardInterrupt()]
    with pytest.raises(KeyboardInterrupt):
        go(source, [GO, GO])
    assert [entry.step for entry in load(source.folder, "heron").entries] == ["blank-1"]


def test_a_skipped_step_is_asked_for_the_next_time(source):
    session, _ = go(source, ["s", GO])
    assert [entry.step for entry in session.entries] == ["blank-2"]
    session, _ = go(source, [GO])
    assert len(session.entries) == 2


def test_scans_that_follow_wait_for_no_key_unless_the_one_before_failed(source):
    plan = (
        Step("blank-1", "blank", "Lay.", "+"),
        Step("blank-2", "blank", "Touch nothing.", "+", follows=True),
        Step("blank-3", "blank", "Touch nothing.", "+", follows=True),
    )
    session, desk = go(source, [GO], plan=plan)
    assert source.taken == ["blank-1", "blank-2", "blank-3"]
    assert "Lay back" not in desk.text
    source.taken.clear()
    go(source, ["s", "s", GO], plan=plan, session=Session("heron"))
    assert source.taken == ["blank-3"]
    # A new run does not know what lies on the glass by now.
    source.taken += ["something else"] * 5
    _, desk = go(source, [GO], plan=plan, session=session.without("blank-2").without("blank-3"))
    assert source.taken[-2:] == ["blank-2", "blank-3"]
    assert desk.text.count("Lay back what lay there in the step before") == 1


def test_the_time_left_counts_what_is_not_done(source):
    route = Walk(BLANKS, source.folder, source, good, Desk())
    assert minutes_left(route, Session("heron"), 0) == pytest.approx((25 + 15 + 2 * 30) / 60)
    session, _ = go(source, [GO, "s"])
    assert minutes_left(route, session, 0) == pytest.approx((15 + 30) / 60)


def test_the_plans_steps_are_sound():
    assert [step.id for step in FULL[:2]] == [step.id for step in BLANKS]
    ids = [step.id for step in FULL]
    assert len(set(ids)) == len(ids)
    for number, step in enumerate(FULL):
        assert not step.moved_since or step.moved_since in ids[:number]
        assert all(len(line) <= 72 for line in step.drawing.splitlines())
        assert step.drawing.isascii()
    roles = {step.role for step in FULL}
    assert {"blank", "dark", "bed-sheet", "edge-strip", "open-book", "claim"} <= roles


def test_a_small_bed_has_no_quarter_turn():
    turned = {step.id for step in fitting(FULL, (297.0, 420.0))}
    assert "bed-sheet-90" in turned
    assert "bed-sheet-90" not in {step.id for step in fitting(FULL, (216.0, 297.0))}
    assert fitting(FULL, None) == FULL

"""The decision: the same facts, the same decision; what may decide, and what never may.

Expected decisions follow from the meaning of each word (common practice, no source): a unit is
sent back only for what a second look confirmed or for a use that it is unfit for; dirt is cleaned
before anything else is done about it; what stays after cleaning lies inside; what was not measured
is open.
"""

import random
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scanqa.catalogue import FAMILIES, SECOND_LOOKS
from scanqa.catalogue.causes import CAUSES
from scanqa.findings.decision import act_of, acts_noted, decide, minutes_for, rules
from scanqa.model import (
    Action,
    Decision,
    Diagnosis,
    Judged,
    Outcome,
    Share,
    Standing,
    UseVerdict,
    changed,
)
from scanqa.words.of_decision import SENTENCES, TITLES, acts, worded_decision

USES = ("text", "covers", "bound pages")
LINE, FOCUS = ("streaks",), ("sharpness.effective_dpi",)


def finding(cause, severity="warning", confirmed=True, rests_on=LINE, look="paper-moved"):
    return Diagnosis(
        cause=cause,
        severity=severity,
        causes=(Share(cause, 0.9),),
        confirmed=confirmed,
        look=look,
        rests_on=rests_on,
        heading=f"Sign of {cause}",
    )


def use(name, fitness="fit", deciding=("streaks.strongest_visible",), settled_by=""):
    return UseVerdict(name, fitness, deciding=deciding, settled_by=settled_by)


def outcome(*uses, one_look=False, next_scan=""):
    return Outcome("partly judged", uses=uses, one_look=one_look, next_scan=next_scan)


ALL_FIT = outcome(*(use(name) for name in USES))
LIMITED = outcome(use("text"), use("covers", "limited"), use("bound pages"))
OPEN = outcome(use("text"), use("bound pages", "not judged", (), "gutter"), next_scan="gutter")
NOTHING = outcome(
    *(use(name, "not judged", (), "sharpness") for name in USES), next_scan="sharpness"
)
UNFIT = outcome(*(use(name, "unfit", ("gutter.delta_L_at_5mm",)) for name in USES))
PARTLY_UNFIT = outcome(use("text"), use("bound pages", "unfit", ("gutter.delta_L_at_5mm",)))
SOFT = outcome(use("text", "unfit", FOCUS), use("covers"))
NOT_FIT = outcome(  # limited or unfit: which is not known
    UseVerdict("text", "not judged", between=("limited", "unfit"), settles=FOCUS[0]), use("covers")
)
UNSURE = outcome(  # one of two words for each
    UseVerdict("text", "not judged", between=("limited", "unfit"), settles=FOCUS[0]),
    UseVerdict("covers", "not judged", between=("fit", "limited"), settles=LINE[0]),
)
BETWEEN = [("fit", "limited"), ("limited", "unfit")]
DIRT, DEAD = finding("moving-dirt"), finding("dead-element", "fault")


@pytest.mark.parametrize(
    ("findings", "uses", "standing", "expected"),
    [
        ((), UNSURE, {}, "open"),
        ((finding("segment-joins", confirmed=False),), UNSURE, {}, "too-little"),  # or its paper's
        ((finding("segment-joins"),), UNSURE, {}, "open"),
        ((finding("segment-joins", "note", False),), UNSURE, {}, "open"),
        ((finding("segment-joins", confirmed=False),), OPEN, {}, "open"),  # it is fit for text
        ((finding("segment-joins", confirmed=False),), ALL_FIT, {}, "keep"),
        ((finding("page-lift", confirmed=False),), UNSURE, {}, "too-little"),
        ((finding("page-lift", confirmed=False),), UNSURE, {"needed": ("covers",)}, "too-little"),
        ((), ALL_FIT, {}, "keep"),
        ((), LIMITED, {}, "keep"),
        ((DIRT,), LIMITED, {}, "clean"),
        ((DIRT,), LIMITED, {"days_left": 3}, "clean"),
        ((DIRT,), LIMITED, {"before": ("moving-dirt",), "done": ("clean",)}, "repair"),
        (
            (DIRT,),
            LIMITED,
            {"before": ("moving-dirt",), "done": ("clean",), "days_left": 2},
            "return",
        ),
        ((DIRT,), LIMITED, {"before": ("moving-dirt",)}, "clean"),  # nobody cleaned
        ((DIRT,), LIMITED, {"done": ("clean",)}, "clean"),  # it was not there before
        ((DEAD, DIRT), LIMITED, {"days_left": 9}, "return"),
        ((DEAD, DIRT), LIMITED, {}, "ask-seller"),
        ((DEAD, DIRT), LIMITED, {"days_left": -1}, "clean"),  # too late for the first
        ((DEAD,), ALL_FIT, {"days_left": -1}, "keep"),
        ((finding("glass-scratch"),), ALL_FIT, {"days_left": 9}, "keep"),  # harms no use
        ((finding("focus", rests_on=FOCUS),), SOFT, {"days_left": 0}, "return"),
        ((finding("focus", rests_on=FOCUS),), NOT_FIT, {"days_left": 0}, "return"),
        ((finding("focus", rests_on=FOCUS),), OPEN, {"days_left": 0}, "open"),  # it may be fit
        ((finding("false-dpi", "fault", rests_on=FOCUS),), ALL_FIT, {}, "ask-seller"),
        ((finding("flicker"),), ALL_FIT, {}, "repair"),
        ((finding("flicker"),), ALL_FIT, {"days_left": 3}, "ask-seller"),
        ((finding("worn-lamp"),), ALL_FIT, {}, "keep"),  # it is told, and works still
        ((finding("levels"),), ALL_FIT, {}, "too-little"),
        ((finding("moving-dirt", confirmed=False),), ALL_FIT, {"days_left": 3}, "too-little"),
        ((finding("page-lift", confirmed=False),), OPEN, {}, "open"),  # no unit's fault
        ((finding("bad-print"),), ALL_FIT, {}, "keep"),
        ((finding("frame-shade"),), ALL_FIT, {"days_left": 3}, "keep"),
        ((), NOTHING, {}, "too-little"),
        ((), OPEN, {}, "open"),
        ((), replace(ALL_FIT, one_look=True, next_scan="paper-moved"), {}, "open"),
        ((), OPEN, {"needed": ("text",)}, "keep"),  # what is open is not needed
        ((), UNFIT, {"days_left": 3}, "return"),
        ((), UNFIT, {}, "ask-seller"),
        ((), PARTLY_UNFIT, {"days_left": 3}, "keep"),
        ((), PARTLY_UNFIT, {"days_left": 3, "needed": ("bound pages",)}, "return"),
        ((), PARTLY_UNFIT, {"days_left": 3, "needed": ("text",)}, "keep"),
    ],
)
def test_decisions_written_beforehand(findings, uses, standing, expected):
    assert decide(findings, uses, Standing(**standing)).decision == expected


causes = st.sampled_from(sorted(CAUSES))
diagnoses = st.builds(
    finding,
    cause=causes,
    severity=st.sampled_from(["fault", "warning", "note"]),
    confirmed=st.booleans(),
    rests_on=st.sampled_from([LINE, FOCUS, ("gutter.delta_L_at_5mm",)]),
    look=st.sampled_from(["", "paper-moved"]),
)
verdicts = st.tuples(
    *(
        st.builds(
            use,
            name=st.just(name),
            fitness=st.sampled_from(["fit", "limited", "unfit", "not judged"]),
            deciding=st.sampled_from([("streaks.strongest_visible",), FOCUS]),
        )
        for name in USES
    )
)
outcomes = st.builds(lambda uses, one: outcome(*uses, one_look=one), verdicts, st.booleans())
standings = st.builds(
    Standing,
    needed=st.lists(st.sampled_from(USES), unique=True).map(tuple),
    before=st.lists(causes, max_size=4).map(tuple),
    done=st.lists(st.sampled_from(["clean", "mend"]), unique=True).map(tuple),
    days_left=st.one_of(st.none(), st.integers(-3, 30)),
)
found = st.lists(diagnoses, max_size=5, unique_by=lambda each: each.cause)


@given(found, outcomes, standings, st.randoms(use_true_random=False))
def test_the_same_facts_in_any_order_give_the_same_decision(some, whole, known, chance):
    shuffled, uses = list(some), list(whole.uses)
    chance.shuffle(shuffled)
    chance.shuffle(uses)
    again = decide(shuffled, replace(whole, uses=tuple(uses)), known)
    first = decide(some, whole, known)
    assert (again.decision, again.rule, again.causes) == (first.decision, first.rule, first.causes)
    assert sorted(again.uses) == sorted(first.uses)


@given(found, outcomes, standings)
def test_one_look_never_sends_a_unit_back_nor_has_it_repaired(some, whole, known):
    once = [changed(each, confirmed=False) for each in some]
    decision = decide(once, whole, known).decision
    assert decision in ("keep", "open", "too-little") or any(
        each.fitness == "unfit" for each in whole.uses
    )


@given(found, outcomes, standings)
def test_a_unit_goes_back_only_in_time_and_is_kept_only_where_all_that_counts_is_known(
    some, whole, known
):
    decision = decide(some, whole, known)
    if decision.decision == "return":
        assert known.days_left is not None
        assert known.days_left >= 0
    if decision.decision == "keep":
        counted = [u for u in whole.uses if u.use in known.needed] or whole.uses
        assert all(each.fitness != "not judged" for each in counted)
        assert not whole.one_look


@given(found, outcomes, standings, st.sampled_from(["fit", "limited", "unfit", "not judged"]))
def test_a_use_that_is_not_needed_changes_nothing(some, whole, known, word):
    known = replace(known, needed=("text",))
    uses = tuple(u if u.use == "text" else replace(u, fitness=word) for u in whole.uses)
    other = replace(whole, uses=uses)
    assert decide(some, other, known).decision == decide(some, whole, known).decision


@given(found, outcomes, standings)
def test_notes_and_traits_of_design_or_original_never_decide(some, whole, known):
    quiet = [each for each in some if act_of(each.cause) not in ("design", "original")]
    assert same(decide(some, whole, known), decide(quiet, whole, known))
    weighty = [each for each in some if each.severity != "note"]
    assert decide(some, whole, known) == decide(weighty, whole, known)


@given(
    found,
    st.tuples(*(st.sampled_from([(), *BETWEEN]) for _ in USES)),
    st.tuples(*(st.sampled_from(["fit", "limited", "unfit"]) for _ in USES)),
    standings,
)
def test_a_trait_seen_once_asks_for_its_look_only_where_no_use_has_a_word(
    some, between, words, known
):
    """Each use has one word, or two of which it is one, some of them nothing else."""
    uses = outcome(
        *(
            UseVerdict(name, "not judged", between=pair, settles=LINE[0])
            if pair
            else use(name, word)
            for name, word, pair in zip(USES, words, between, strict=True)
        )
    )
    traits = [each for each in some if act_of(each.cause) in ("design", "original")]
    made = decide(some, uses, known)
    rest = decide([each for each in some if each not in traits], uses, known)
    counted = [u for u in uses.uses if u.use in known.needed] or uses.uses
    once = any(not each.confirmed and each.look and each.severity != "note" for each in traits)
    if made.rule == "unsettled":
        assert all(u.fitness == "not judged" for u in counted)
        assert once
        assert rest.decision == "open"
        assert made.scan == "paper-moved"
    else:
        assert same(made, rest)


def same(one, other):
    """Alike but for what is only noted."""
    return replace(one, noted=()) == replace(other, noted=())


def test_every_cause_has_an_act_and_every_scan_its_minutes():
    text_acts = {cause: act_of(cause) for cause in CAUSES}
    assert text_acts["moving-dirt"] == "clean"
    assert text_acts["dead-element"] == "flaw"
    from scanqa.findings.decision import _acts

    assert set(_acts()) == set(CAUSES)
    assert all(1 <= minutes_for(scan) <= 30 for scan in (*SECOND_LOOKS, *FAMILIES))


def test_every_rule_can_decide_and_has_its_words():
    ids = [rule.id for rule in rules()]
    assert len(set(ids)) == len(ids)
    assert {*ids, ""} == set(SENTENCES)
    assert {rule.decision for rule in rules()} | {""} == set(TITLES)
    last = rules()[-1]  # holds whatever is known: there is always a decision
    assert (last.finding, last.window, last.uses, last.suspected) == (None, (), "", None)
    reached = set()
    chance = random.Random(11)
    names = sorted(CAUSES)
    for _ in range(20_000):
        some = [
            finding(c, chance.choice(["fault", "warning"]), chance.random() < 0.8)
            for c in chance.sample(names, chance.randrange(3))
        ]
        words = ["fit", "limited", "unfit", "not judged"]
        alike = chance.choice(words)
        uses = [use(n, chance.choice(words) if chance.random() < 0.5 else alike) for n in USES]
        if chance.random() < 0.2:
            uses = [replace(use(n, "not judged"), between=chance.choice(BETWEEN)) for n in USES]
        known = Standing(
            before=tuple(each.cause for each in some if chance.random() < 0.5),
            done=tuple(act for act in ("clean", "mend") if chance.random() < 0.5),
            days_left=chance.choice([None, 3, -1]),
        )
        reached.add(decide(some, outcome(*uses), known).rule)
    assert reached == set(ids)


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("sensor window cleaned", ("clean",)),
        ("Glass wiped on both sides", ("clean",)),
        ("lamp replaced by LEDs and cleaned", ("clean", "mend")),
        ("moved to the other desk", ()),
    ],
)
def test_events_say_what_was_done(words, expected):
    assert acts_noted(words) == expected


def test_words_name_what_decides_what_is_open_and_the_days_left():
    said = worded_decision(
        decide((DIRT, DEAD), LIMITED, Standing(days_left=1)), (DIRT, DEAD), LIMITED
    )
    assert said.title == "Return it"
    assert "Sign of dead-element" in said.sentence
    assert said.sentence.endswith("1 day is left to return it.")
    opened = worded_decision(decide((), OPEN, Standing()), (), OPEN)
    assert opened.title == "Nothing found against it, still open (scan a book: 10 minutes)"


def test_nothing_found_is_never_said_where_something_was():
    scratch = finding("glass-scratch")
    opened = worded_decision(decide((scratch,), OPEN, Standing()), (scratch,), OPEN)
    assert opened.title.startswith("Still open")
    assert "sign of glass-scratch" in opened.sentence.lower()
    kept = worded_decision(decide((scratch,), ALL_FIT, Standing()), (scratch,), ALL_FIT)
    assert kept.sentence.startswith(
        "What was found harms no use that counts: sign of glass-scratch"
    )


def test_what_one_look_shows_is_not_called_nothing():
    joins, lift = (finding(cause, confirmed=False) for cause in ("segment-joins", "page-lift"))
    opened = worded_decision(decide((joins,), OPEN, Standing()), (joins,), OPEN)
    assert opened.title.startswith("Still open")
    assert "sign of segment-joins (seen once)" in opened.sentence
    pages = worded_decision(decide((lift,), OPEN, Standing()), (lift,), OPEN)
    assert pages.title.startswith("Nothing found against it")  # the book's is none of the unit


def test_an_unfit_use_is_said_whatever_else_is_open():
    whole = outcome(
        *PARTLY_UNFIT.uses, use("covers", "not judged", (), "gutter"), next_scan="gutter"
    )
    said = worded_decision(decide((), whole, Standing(days_left=9)), (), whole)
    assert said.title.startswith("Unfit for bound pages; nothing else found against it, still open")
    assert "If that use is what you need it for, it is to go back. 9 days" in said.sentence
    kept = worded_decision(decide((), PARTLY_UNFIT, Standing()), (), PARTLY_UNFIT)
    assert kept.title == "Keep it, but not for bound pages"


def test_actions_of_one_kind_are_one_with_all_their_cautions():
    given = [
        Action("glass-dust", "Wipe it.", "specks", "Unplug.", act="clean"),
        Action("tilt", "Scan the sheet turned.", "soft", look="sheet-turned"),
        Action("moving-dirt", "Clean inside.", "a line", "Leave mains to others.", act="clean"),
        Action("flicker", "Try another socket.", "bands", "Mains.", act="mend"),
    ]
    first, *_ = acts(given, Decision("too-little", "one-look", ("tilt",)))
    assert first.look == "sheet-turned", "what the decision rests on comes first"
    clean, look, mend = acts(given)
    assert clean.because == "specks; a line"
    assert clean.caution == "Unplug. Leave mains to others."
    assert "two blanks" in clean.text
    assert (look, mend) == (given[1], given[3])


def test_a_title_names_the_scan_beside_what_it_settles_only():
    def open_use(name, measure, words, settled_by):
        judged = Judged(measure, "median", "<=", 1.0, 2.0, "not judged", words=words)
        return UseVerdict(
            name, "not judged", settles=measure, settled_by=settled_by, conditions=(judged,)
        )

    uses = (
        open_use("covers", "colour.registration", "colour registration", ""),
        open_use("bound pages", "gutter.delta_L_at_5mm", "darkening", "book-again"),
        use("text"),
    )
    found = outcome(*uses, next_scan="book-again")
    said = worded_decision(decide((), found), (), found)
    assert said.title.endswith(
        ": darkening (scan the book once more, laid anew: 5 minutes); colour registration"
    )

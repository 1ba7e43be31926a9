"""Lamp health in words: each sign alone and together, on lives with known truth."""

import numpy as np
import pytest

from scanqa.catalogue.lamp_rules import lamp_rules
from scanqa.model.history import Event
from scanqa.records.health import health
from scanqa.records.series import Value
from scanqa.records.store import Check
from scanqa.words.of_history import lamp_sign_words, lamp_words
from tests.records.test_health import day

SEED = 1871
MONTHS = 24


def lives(rng, **columns):
    """Monthly checks of a scanner whose lamp signs follow the columns given (shares of normal)."""
    normal = {
        ("noise.light_index", "red"): 30.0, ("noise.light_index", "green"): 31.0,
        ("noise.light_index", "blue"): 29.0, ("drift.settle_time", ""): 90.0,
        ("colour.neutrality", ""): 0.8, ("veil.stray_light", ""): 2.0,
    }  # fmt: skip
    checks = []
    scatter = {key: rng.normal(1, 0.01, MONTHS) for key in normal}
    for month in range(MONTHS):
        values = []
        for (name, channel), level in normal.items():
            given = columns.get(channel or name.partition(".")[2], np.ones(MONTHS))
            if given is None:
                continue
            number = level * scatter[name, channel][month] * given[month]
            dpi = 300 if name.startswith("noise") else 0
            values.append(
                Value(name, "", channel, "", dpi, 1, number, None, (), "ok", None, None, "", 1)
            )
        checks.append(Check(month, day(month), tuple(values)))
    return checks


def fading(colours=("red", "green", "blue"), by=0.02, begin=8):
    months = np.arange(MONTHS)
    return dict.fromkeys(colours, (1 - by) ** np.maximum(0, months - begin + 1.0))


def step(to, begin=12):
    return np.where(np.arange(MONTHS) < begin, 1.0, to)


SLOWER = step(1.6)
CASES = {
    "no sign of ageing": {},
    "lamp ageing likely": {**fading(), "settle_time": SLOWER},
    "dirt or haze rather": fading(),
    "lamp ageing or haze": {**fading(), "settle_time": None},
    "dirt, haze or a setting rather": dict.fromkeys(("red", "green", "blue"), step(0.7)),
    "early sign of ageing": {"settle_time": SLOWER},
    "colour has shifted": {"neutrality": step(2.5)},
    "more light than before": dict.fromkeys(("red", "green", "blue"), step(1.4)),
    "lamp not known": dict.fromkeys(("red", "green", "blue")),
}


@pytest.mark.parametrize("verdict", CASES)
def test_signs_give_the_verdict(verdict):
    rng = np.random.default_rng(SEED)
    found = health("heron", lives(rng, **CASES[verdict])).lamp
    assert lamp_words(found).verdict == verdict, found


def test_a_colour_that_fades_alone_is_ageing_and_named():
    rng = np.random.default_rng(SEED)
    columns = {**fading(("red", "green"), 0.01), **fading(("blue",), 0.05)}
    found = health("heron", lives(rng, **columns)).lamp
    assert lamp_words(found).verdict == "lamp ageing likely"
    assert "blue against green" in dict(map(lamp_sign_words, found.signs))["channel balance"]
    assert "mercury" in lamp_words(found).caution


def test_haze_scatters_light_into_black():
    rng = np.random.default_rng(SEED)
    found = health("heron", lives(rng, **fading(), stray_light=step(2.0))).lamp
    assert lamp_words(found).verdict == "dirt or haze rather"
    assert "black" in lamp_words(found).sentence


def test_a_new_lamp_that_is_noted_begins_anew():
    rng = np.random.default_rng(SEED)
    columns = dict.fromkeys(("red", "green", "blue"), step(1.4))
    event = Event("heron", day(11.5), "lamp replaced")
    found = health("heron", lives(rng, **columns), [event])
    assert lamp_words(found.lamp).verdict == "no sign of ageing"
    (effect,) = found.effects
    assert {s.key.name for s in effect.shifts} == {"noise.light_index"}
    assert {s.verdict for s in effect.shifts} == {"better"}


def test_every_rule_that_sends_someone_to_the_scanner_has_a_caution():
    for rule in lamp_rules().values():
        if any(word in rule.action for word in ("Clean", "clean", "new lamp", "mirrors")):
            assert rule.caution, rule.id


def test_some_rule_fits_whatever_the_signs():
    rules = lamp_rules().values()
    lights = {word for rule in rules for word in rule.states["light"]}
    alone = {
        word for rule in rules for word in rule.states["light"] if set(rule.states) == {"light"}
    }
    assert lights == alone == {
        "unknown", "falls slowly", "falls at once", "rises", "same",
    }  # fmt: skip

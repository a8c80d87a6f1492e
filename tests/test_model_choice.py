"""The choice of a model: three arguments checked in one place, and given back as they were."""

from __future__ import annotations

import pickle

import pytest

from stubsi import StubsiError, UnitError
from stubsi.stubs.model_choice import ModelChoice

WORDS = {
    "solved": ({}, "solved from the geometry, uniform lines where that is not known"),
    "uniform": ({"model": "uniform"}, "uniform lines, laminate Dk"),
    "permittivity": ({"dk_eff": 6.17}, "uniform lines, Dk_eff 6.17"),
    "delay": ({"delay": "190 ps/in"}, "uniform lines, delay given"),
}


@pytest.mark.parametrize("name", WORDS)
def test_a_choice_says_what_it_is_and_survives_a_round_trip(name):
    given, text = WORDS[name]
    choice = ModelChoice.of(**given)
    assert str(choice) == text
    assert choice.uniform == (name != "solved")
    assert ModelChoice.of(**choice.arguments()) == choice
    assert pickle.loads(pickle.dumps(choice)) == choice
    assert len({ModelChoice.of(**arguments) for arguments, _ in WORDS.values()}) == len(WORDS)


def test_a_delay_is_kept_in_seconds_per_metre():
    assert ModelChoice.of(delay="190 ps/in").delay_si == pytest.approx(190e-12 / 0.0254, rel=1e-13)


@pytest.mark.parametrize("model", ["Solved", "", None, 3, ["solved"]], ids=repr)
def test_unknown_models_are_refused(model):
    with pytest.raises(StubsiError, match=r"model = .*: must be 'solved' or 'uniform'"):
        ModelChoice.of(model)


@pytest.mark.parametrize(
    ("given", "why"),
    [
        ({"dk_eff": 4, "delay": "7 ps/mm"}, "give either dk_eff or delay"),
        ({"delay": "1 ps/mm"}, "faster than light"),
        ({"dk_eff": 0.5}, "dk_eff = 0.5"),
        ({"dk_eff": "4"}, "dk_eff = '?4"),
    ],
    ids=str,
)
def test_refused_values(given, why):
    with pytest.raises((StubsiError, UnitError), match=why):
        ModelChoice.of(**given)

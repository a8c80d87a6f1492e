"""One uniform line in plain numbers: the same figures as the arrays give, and a length as the inverse of a notch."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from scipy.constants import c

from stubsi import ValidityError
from stubsi.physics.single_line import SingleLine
from stubsi.physics.uniform_line import UniformLine, decibels, shunt_s
from tests.strategies import dks, physical

SAME = {"rel": 1e-12, "abs": 1e-13}


@st.composite
def lines(draw):
    """Lossless, lossy or dispersive, with or without skin effect and a load at the end."""
    fields = {"dk": draw(dks), "z_stub": draw(physical(10.0, 150.0))}
    if draw(st.booleans()):
        fields["df"] = draw(physical(0.0, 0.1))
        fields["at"] = draw(st.sampled_from([math.nan, 1e9, 1e10]))
    if draw(st.booleans()):
        fields |= {"barrel_diameter": draw(physical(0.1e-3, 1e-3)), "conductivity": draw(st.sampled_from([1e6, 5.8e7]))}
    return SingleLine(**fields, end_capacitance=draw(st.sampled_from([0.0, 5e-15, 3e-14, 1e-12])))


lengths = physical(1e-6, 30e-3)
LOADED = SingleLine(dk=4.0, z_stub=120.0, df=0.05, at=1e9, end_capacitance=1e-9)


@given(lines(), lengths)
@example(LOADED, 1e-6)
@example(LOADED, 30e-3)
def test_the_first_notch_is_that_of_the_arrays(line, length):
    assert line.first_notch(length) == pytest.approx(
        float(UniformLine(stub_length=length, **line.fields()).notch()), **SAME
    )


@given(lines(), lengths, physical(1e6, 200e9), physical(20.0, 120.0))
def test_the_losses_are_those_of_the_arrays(line, length, frequency, z0):
    """In wave ratios: in decibels the rounding of a return loss is as large as the loss of a stub is small."""
    by_arrays = shunt_s(*UniformLine(stub_length=length, **line.fields()).input(frequency), z0)
    for alone, ratio in zip(line.losses(length, frequency, z0), by_arrays, strict=True):
        assert 10 ** (-alone / 20) == pytest.approx(abs(ratio), rel=1e-12)
        if decibels(ratio) > 1e-3:
            assert alone == pytest.approx(float(decibels(ratio)), rel=1e-10)


@given(lines(), physical(0.5e9, 200e9))
@example(LOADED, 200e9)
def test_a_line_of_the_length_of_a_notch_has_its_notch_there(line, frequency):
    length = line.length_of_notch(frequency)
    assert line.first_notch(length) == pytest.approx(frequency, rel=1e-12)
    assert 0 < length <= c / (4 * frequency * math.sqrt(min(line.dk, line.permittivity(frequency).real))) * (1 + 1e-12)


def test_a_line_too_lossy_to_show_its_end_reflects_as_an_endless_one():
    """100 m of it: the input is its characteristic impedance, 40 ohm / sqrt(1 - j df) in shunt on 50 ohm."""
    line = SingleLine(dk=4.0, z_stub=40.0, df=0.02)
    z = 40 / np.sqrt(1 - 0.02j)
    return_loss, loss = line.losses(100.0, 28e9, 50.0)
    assert loss == pytest.approx(-20 * np.log10(abs(2 * z / (2 * z + 50))), rel=1e-12)
    assert return_loss == pytest.approx(-20 * np.log10(abs(50 / (2 * z + 50))), rel=1e-12)


def test_a_permittivity_given_outside_the_model_is_refused():
    line = SingleLine(dk=4.0, z_stub=40.0, df=0.02, at=1.0)
    for ask in (line.permittivity, line.first_notch, line.length_of_notch, lambda f: line.losses(1e-3, f, 50.0)):
        with pytest.raises(ValidityError, match="must lie between 1 kHz and 1 THz"):
            ask(1e-3)

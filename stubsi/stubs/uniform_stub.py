"""Owns the uniform stub as users make it: length, permittivity and impedance with units; its notch, loss, network."""

from __future__ import annotations

import math
from dataclasses import field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from scipy.constants import c

from stubsi.errors import StubsiError, UnknownValueError
from stubsi.number_rules import DF_RULE, DK_RULE
from stubsi.physics.single_line import SingleLine
from stubsi.physics.uniform_line import (
    UniformLine,
    coax_impedance,
    decibels,
    disk_end_capacitance,
    shunt_s,
)
from stubsi.plausibility import DELAY, DF, DK_EFF, DRILL, PAD, STUB_IMPEDANCE, STUB_LENGTH, warn_if_unusual
from stubsi.provenance import Provenance
from stubsi.stubs.notch_formula import checked_order
from stubsi.units import one_number, one_si, quantity, show, to_si
from stubsi.value import Converted, Dimension, OptionalDimension, Value, optional_number, value_object

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.network import Frequencies, Network
    from stubsi.units import Dimensioned, DimensionedArray, NumberArray, Quantity

    FloatArray = NDArray[np.float64]
    ComplexArray = NDArray[np.complex128]

COPPER = 5.8e7
"""Conductivity of copper [S/m] at room temperature: textbook value, from memory."""

GIVEN_DK = "uniform line, Dk_eff given"
GIVEN_DELAY = "uniform line, delay given"
LAMINATE = "uniform line, laminate Dk"
AS_GIVEN = "as good as the value given"
BY_DK = Provenance(tier=GIVEN_DK, model_error=AS_GIVEN)
BY_DELAY = Provenance(tier=GIVEN_DELAY, model_error=AS_GIVEN)


@value_object
class Stub(Value):
    r"""A plated stub as a uniform open-ended line in shunt.

    .. math:: Z_{in} = Z_s \coth(\gamma L), \quad S_{21} = \frac{2}{2 + Z_0 Y_{in}}

    Parameters
    ----------
    stub_length : length
        Zero: no stub.
    dk_eff : float
        Effective relative permittivity [-] of the stub. Or give ``delay``.
    delay : delay per length
        ``"175 ps/in"``, in place of ``dk_eff``.
    z_stub : impedance, optional
        Of the stub. Or give ``drill`` and ``antipad``: then that of a coaxial line. Needed for anything but the notch.
    drill, antipad : length, optional
        Diameters of barrel and clearance. ``drill`` also brings in the skin effect of the barrel.
    df : float
        Loss tangent [-].
    at : frequency, optional
        Frequency where ``dk_eff`` and ``df`` hold; at others they follow the wideband Debye model. Without it, both are
        constant over frequency.
    end_pad : length, optional
        Diameter of a pad at the end. It counts as half an isolated disk in the dielectric, which is too large a
        capacitance where the end faces air.
    end_capacitance : capacitance, optional
        At the end, in place of ``end_pad``.
    conductivity : conductivity, optional
        Of the barrel, with ``drill``; copper unless given.

    Raises
    ------
    UnitError, StubsiError
        Two arguments that say the same thing, or neither of them; values out of range.

    Warns
    -----
    PlausibilityWarning
        A length, a size, the permittivity, the loss tangent or the impedance is not that of a plated hole.

    Examples
    --------
    >>> stub = Stub(stub_length="5 mm", dk_eff=4, z_stub="30 ohm")
    >>> print(stub.notch_frequency().round(6))
    7.494811 gigahertz
    >>> round(float(stub.loss("5 GHz", z0="50 ohm")), 8)
    4.90003999
    """

    stub_length: Dimension = Dimension("long length", rule="not negative", usual=STUB_LENGTH)
    stub_length_si: float = field(init=False)
    dk_eff: Converted[NumberArray | None, float | None] = optional_number(DK_RULE, DK_EFF)
    delay: OptionalDimension = OptionalDimension("delay per length", usual=DELAY)
    delay_si: float | None = field(init=False)
    z_stub: OptionalDimension = OptionalDimension("impedance")
    z_stub_si: float | None = field(init=False)
    drill: OptionalDimension = OptionalDimension("length", usual=DRILL)
    drill_si: float | None = field(init=False)
    antipad: OptionalDimension = OptionalDimension("length", usual=PAD)
    antipad_si: float | None = field(init=False)
    df: float = 0.0
    at: OptionalDimension = OptionalDimension("frequency")
    at_si: float | None = field(init=False)
    end_pad: OptionalDimension = OptionalDimension("length", usual=PAD)
    end_pad_si: float | None = field(init=False)
    end_capacitance: OptionalDimension = OptionalDimension("capacitance", rule="not negative")
    end_capacitance_si: float | None = field(init=False)
    conductivity: OptionalDimension = OptionalDimension("conductivity")
    conductivity_si: float | None = field(init=False)

    def __post_init__(self) -> None:
        self.__dict__["df"] = one_number(self.df, "df", rule=DF_RULE)
        warn_if_unusual(self.df, DF, "df")
        if (self.dk_eff is None) == (self.delay_si is None):
            raise StubsiError(
                "give either dk_eff or delay, and only one of them: it says how fast a signal is in the stub. If "
                "neither is known, give check_stub or check_stubs the stackup and padstack: they solve the stub."
            )
        if self.delay_si is not None and self.dk_si < 1:
            raise StubsiError(f"delay = {show(self.delay_si, 'delay per length')}: is faster than light, 3.336 ps/mm.")
        if self.z_stub_si is not None and self.antipad_si is not None:
            raise StubsiError("give either z_stub, or drill and antipad: both say the stub's impedance.")
        if self.drill_si is None:
            if self.antipad_si is not None:
                raise StubsiError("antipad needs drill beside it: the impedance follows from both.")
            if self.conductivity_si is not None:
                raise StubsiError("conductivity needs drill beside it: the barrel's resistance follows from both.")
        elif self.antipad_si is not None and self.drill_si >= self.antipad_si:
            raise StubsiError(f"drill = {self.drill}: must be smaller than antipad = {self.antipad}.")
        if self.end_pad_si is not None and self.end_capacitance_si is not None:
            raise StubsiError("give either end_pad or end_capacitance.")
        if self.end_load_si and self.z_stub_or_coax_si is None:
            raise StubsiError(
                "an end pad or end_capacitance needs the stub's impedance: give z_stub, or drill and antipad."
            )
        warn_if_unusual(
            self.z_stub_or_coax_si, STUB_IMPEDANCE, "impedance of the stub", check="z_stub, or drill and antipad"
        )

    @property
    def plausible(self) -> bool:
        """Whether every value is usual, or not known."""
        values = {
            STUB_LENGTH: self.stub_length_si, DK_EFF: self.dk_si, DF: self.df, DRILL: self.drill_si,
            STUB_IMPEDANCE: self.z_stub_or_coax_si,
        }  # fmt: skip
        pads = (self.antipad_si, self.end_pad_si)
        return all(usual.holds(value) for usual, value in values.items()) and all(map(PAD.holds, pads))

    @property
    def dk_si(self) -> float:
        """Effective relative permittivity [-], from ``dk_eff`` or from (c delay)^2."""
        if self.delay_si is not None:
            return float((c * self.delay_si) ** 2)
        assert self.dk_eff is not None
        return self.dk_eff

    @property
    def z_stub_or_coax_si(self) -> float | None:
        """Impedance of the stub [ohm], None where unknown."""
        if self.antipad_si is None or self.drill_si is None:
            return self.z_stub_si
        return float(coax_impedance(self.drill_si, self.antipad_si, self.dk_si))

    @property
    def end_load_si(self) -> float:
        """Capacitance at the end [F]."""
        if self.end_pad_si is not None:
            return float(disk_end_capacitance(self.end_pad_si, self.dk_si))
        return self.end_capacitance_si or 0.0

    @cached_property
    def single_line(self) -> SingleLine:
        """The line without its length, in SI floats; impedance NaN where unknown."""
        z_stub, at, lossy = self.z_stub_or_coax_si, self.at_si, self.drill_si is not None
        return SingleLine(
            dk=self.dk_si,
            z_stub=math.nan if z_stub is None else z_stub,
            df=self.df,
            at=math.nan if at is None else at,
            end_capacitance=self.end_load_si,
            barrel_diameter=math.inf if self.drill_si is None else self.drill_si,
            conductivity=(self.conductivity_si or COPPER) if lossy else math.inf,
        )

    @cached_property
    def line(self) -> UniformLine:
        """The same stub in SI floats, as arrays take it; impedance NaN where unknown."""
        return UniformLine(stub_length=self.stub_length_si, **self.single_line.fields())

    @property
    def provenance(self) -> Provenance:
        """Which model this is and what it assumes."""
        return BY_DK if self.delay_si is None else BY_DELAY

    def notch_frequency(self, order: NumberArray = 1) -> Quantity:
        """Frequency of a notch of this stub.

        Parameters
        ----------
        order : int or array_like
            Odd multiple: 1, 3, 5 ...

        Returns
        -------
        pint.Quantity
            In GHz; NaN for a stub of length zero.

        Raises
        ------
        StubsiError
            An even ``order``.
        """
        return quantity(self.notch_si(checked_order(order)), "frequency")

    def notch_si(self, order: float | FloatArray = 1) -> FloatArray:
        """Frequency of the notch of an odd order.

        Parameters
        ----------
        order : int or array_like
            Odd multiple: 1, 3, 5 ...

        Returns
        -------
        ndarray
            [Hz]; NaN for a stub of length zero.
        """
        return self.line.notch(order)

    def one_db_frequency(self, *, z0: Dimensioned) -> Quantity:
        """Lowest frequency at which the loss of this stub, in shunt on a line, reaches 1 dB.

        Parameters
        ----------
        z0 : impedance
            Of the line; half the differential impedance for the leg of a pair.

        Returns
        -------
        pint.Quantity
            In GHz; NaN for a stub of length zero, infinite where not even the notch has a loss of 1 dB.

        Raises
        ------
        UnknownValueError
            The stub's impedance is not known.
        """
        line = one_si(z0, "impedance", "z0")
        self._check_impedance()
        length = self.stub_length_si
        return quantity(self.single_line.one_db(length, line) if length else math.nan, "frequency")

    def input_si(self, frequency: float | FloatArray) -> tuple[ComplexArray, ComplexArray]:
        """Voltage and current at the input for 1 V at the open end.

        Parameters
        ----------
        frequency : array_like
            [Hz].

        Returns
        -------
        voltage, current : complex or complex ndarray
            Their ratio current / voltage is the input admittance [S].

        Raises
        ------
        UnknownValueError
            The stub's impedance is not known.
        """
        self._check_impedance()
        line = self.line if self.stub_length_si else UniformLine(stub_length=0.0, dk=1.0, z_stub=1.0)
        return line.input(frequency)

    def _check_impedance(self) -> None:
        if self.stub_length_si and np.isnan(self.line.z_stub):
            raise UnknownValueError("the stub's impedance is unknown: give z_stub, or drill and antipad.")

    def input_admittance(self, frequency: DimensionedArray) -> ComplexArray:
        """Admittance into the stub.

        Parameters
        ----------
        frequency : frequency
            One or several.

        Returns
        -------
        complex or complex ndarray
            [S], in the shape of ``frequency``.
        """
        voltage, current = self.input_si(to_si(frequency, "frequency", "frequency", rule="not negative"))
        return current / voltage

    def loss(self, frequency: DimensionedArray, *, z0: DimensionedArray) -> FloatArray:
        """Insertion loss of the stub in shunt on a line, positive.

        Parameters
        ----------
        frequency : frequency
            One or several.
        z0 : impedance
            Of the line.

        Returns
        -------
        float or ndarray
            [dB], in the shape of ``frequency``.
        """
        voltage, current = self.input_si(to_si(frequency, "frequency", "frequency", rule="not negative"))
        return decibels(shunt_s(voltage, current, to_si(z0, "impedance", "z0"))[1])

    def network(self, frequency: Frequencies, *, z0: Dimensioned = "50 ohm") -> Network:
        """Two-port of the stub in shunt.

        Parameters
        ----------
        frequency : frequency, or a scikit-rf Frequency
            One or several, rising.
        z0 : impedance
            Real port impedance. For the leg of a pair: half the differential impedance; the two-port is the odd mode's.

        Returns
        -------
        skrf.Network
            As many points as frequencies.
        """
        from stubsi.network import shunt_network

        return shunt_network(self.input_si, frequency, z0)

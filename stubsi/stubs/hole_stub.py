"""Owns one stub of a hole as an electrical object: its length, its notch, its loss and its two-port."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from stubsi.physics.uniform_line import decibels, shunt_s
from stubsi.stubs.notch_formula import one_order
from stubsi.stubs.solved_through import check_frequency
from stubsi.units import one_si, quantity, to_si

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from stubsi.board.distance import Distance
    from stubsi.network import Frequencies, Network
    from stubsi.provenance import Provenance
    from stubsi.stubs.cases import Case
    from stubsi.stubs.model_choice import ModelChoice
    from stubsi.stubs.models import Electrical, Models
    from stubsi.units import Dimensioned, DimensionedArray, Quantity

    FloatArray = NDArray[np.float64]
    ComplexArray = NDArray[np.complex128]

LOWEST = 1.0
"""Lowest frequency [Hz] at which the chain of cells is evaluated. Lower ones, DC among them, are replaced by it."""


@dataclass(frozen=True, kw_only=True, repr=False)
class HoleStub:
    """One stub of a hole: its length, its figures, and where they come from.

    Two are equal if they are made from the same shape, length and surroundings by the same choice of the model.

    Parameters
    ----------
    side : {"top", "bottom"}
        Towards which side of the board it goes.
    distance : Distance
        Its length as drawn, and the two ends it runs between.
    provenance : Provenance
        How it is modelled.
    case : Case
        The stub, and what stands around its hole.
    model : ModelChoice
        The electrical model that was chosen.
    models : Models
        The electrical model: of one stub.
    """

    side: str = field(compare=False)
    distance: Distance = field(compare=False)
    provenance: Provenance = field(compare=False)
    case: Case
    model: ModelChoice
    models: Models = field(compare=False)

    def __repr__(self) -> str:
        return f"HoleStub({self.side}, {self.distance}, {self.provenance.tier})"

    def _repr_html_(self) -> str:
        from stubsi.show.html import stub_html

        return stub_html(self)

    @property
    def stub_length_si(self) -> float:
        """Its length as drawn [m]."""
        return self.distance.length_si

    @property
    def stub_length(self) -> Quantity:
        """Its length as drawn, a quantity in mm."""
        return quantity(self.stub_length_si, "length")

    def notch_frequency(self, order: int = 1) -> Quantity:
        """Frequency of a notch of this stub.

        Parameters
        ----------
        order : int
            Odd multiple: 1, 3, 5 ...

        Returns
        -------
        pint.Quantity
            In GHz. Where it is a range (unknown return vias): its lower and upper end.

        Raises
        ------
        StubsiError
            An even ``order``, or more than one.
        """
        low, high = self.models.notch(one_order(order))[:, 0]
        return quantity(low if low == high else np.array([low, high]), "frequency")

    def one_db_frequency(self, *, z0: Dimensioned) -> Quantity:
        """Lowest frequency at which the loss of this stub, in shunt on a line, reaches 1 dB.

        Parameters
        ----------
        z0 : impedance
            Of the line; half the differential impedance for the leg of a pair.

        Returns
        -------
        pint.Quantity
            In GHz. Where it is a range (unknown return vias): its lower and upper end. Infinite: beyond all that the
            model holds for.
        """
        line = one_si(z0, "impedance", "z0")

        def one_db(
            model: Electrical, index: NDArray[np.intp], use: NDArray[np.intp], _: FloatArray
        ) -> tuple[FloatArray, FloatArray]:
            return model.one_db(index, np.full(len(use), line))

        (low, _), (_, high) = self.models.spread(np.zeros(1, dtype=np.intp), one_db)
        return quantity(low[0] if low == high else np.array([low[0], high[0]]), "frequency")

    def input_si(self, frequency: FloatArray) -> tuple[ComplexArray, ComplexArray]:
        """Voltage and current into the stub, to a common factor.

        Parameters
        ----------
        frequency : ndarray, shape (n,)
            [Hz].

        Returns
        -------
        voltage, current : complex ndarray, shape (n,)
            Their ratio current / voltage is the input admittance [S].

        Raises
        ------
        ValidityError
            Frequencies above the highest at which the solved model is valid.
        """
        (stack,) = [s for s, owner in zip(self.models.variants, self.models.owner, strict=True) if len(owner)]
        check_frequency(frequency, stack.highest())
        return stack.input(np.zeros(len(frequency), dtype=np.intp), np.maximum(frequency, LOWEST))

    def input_admittance(self, frequency: DimensionedArray) -> ComplexArray:
        """Admittance into the stub.

        Parameters
        ----------
        frequency : frequency
            One or several.

        Returns
        -------
        complex ndarray, shape (n,)
            [S].
        """
        voltage, current = self.input_si(_hertz(frequency))
        return np.asarray(current / voltage, dtype=np.complex128)

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
        ndarray, shape (n,)
            [dB].
        """
        return decibels(shunt_s(*self.input_si(_hertz(frequency)), to_si(z0, "impedance", "z0"))[1])

    def network(self, frequency: Frequencies, *, z0: Dimensioned = "50 ohm") -> Network:
        """Two-port of the stub in shunt.

        Parameters
        ----------
        frequency : frequency, or a scikit-rf Frequency
            One or several, rising.
        z0 : impedance
            Real port impedance.

        Returns
        -------
        skrf.Network
            As many points as frequencies.
        """
        from stubsi.network import shunt_network

        return shunt_network(self.input_si, frequency, z0)


def _hertz(frequency: DimensionedArray) -> FloatArray:
    return np.atleast_1d(to_si(frequency, "frequency", "frequency", rule="not negative"))

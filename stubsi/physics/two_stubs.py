"""Owns two stubs of one hole in their line together, with the barrel between them: S-parameters and power left."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from stubsi.physics.arrays import ComplexArray, FloatArray, IndexArray
    from stubsi.physics.power_curve import Inputs, PowerCurve

    Through: TypeAlias = Callable[[IndexArray, FloatArray], ComplexArray]
    """Chain matrices (n, n_frequency, 2, 2) of the barrels of these holes at frequencies (n, n_frequency) [Hz]."""


class TwoPort(NamedTuple):
    """S-parameters [-] of some holes, each of the shape of the frequencies."""

    s11: ComplexArray
    s21: ComplexArray
    s22: ComplexArray


class TwoStubs(NamedTuple):
    """Holes with a stub at either end of the barrel that the signal passes.

    Parameters
    ----------
    above, below : callable
        Voltage and current at the inputs of the stubs, as ``power_curve`` takes them.
    through : callable
        Chain matrices of the barrels between, from the upper stub to the lower one.
    z0 : ndarray, shape (n_hole,)
        Impedance of the line [ohm].
    """

    above: Inputs
    below: Inputs
    through: Through
    z0: FloatArray

    def s(self, rows: IndexArray, frequency: FloatArray) -> TwoPort:
        r"""S-parameters of whole holes.

        The chain matrix is :math:`\begin{pmatrix}1&0\\Y_a&1\end{pmatrix}
        \begin{pmatrix}A&B\\C&D\end{pmatrix}\begin{pmatrix}1&0\\Y_b&1\end{pmatrix}`, with :math:`Y = I/V` of each stub.
        It is multiplied by both voltages, so that all is finite at a notch, where they vanish.

        Parameters
        ----------
        rows : ndarray of int, shape (n,)
            Numbers of the holes.
        frequency : ndarray, shape (n, n_frequency)
            [Hz].

        Returns
        -------
        TwoPort
        """
        (v_a, i_a), (v_b, i_b) = self.above(rows, frequency), self.below(rows, frequency)
        (a, b), (c, d) = np.moveaxis(self.through(rows, frequency), (-2, -1), (0, 1))
        line, both = self.z0[rows, None], v_a * v_b
        a, b, c, d = a * v_b + b * i_b, b * v_b, c * v_b + d * i_b, d * v_b
        a, b, c, d = a * v_a, b * v_a / line, (c * v_a + a * i_a) * line, d * v_a + b * i_a
        total = a + b + c + d
        return TwoPort((a + b - c - d) / total, 2 * both / total, (b + d - a - c) / total)

    def power(self) -> PowerCurve:
        """Power left in the line behind the holes."""
        return lambda rows, frequency: np.abs(self.s(rows, frequency).s21) ** 2

    def not_reflected(self) -> PowerCurve:
        """Power that the holes do not send back, from the side from which they send back more."""

        def curve(rows: IndexArray, frequency: FloatArray) -> FloatArray:
            s = self.s(rows, frequency)
            return np.asarray(1 - np.fmax(np.abs(s.s11), np.abs(s.s22)) ** 2)

        return curve


def at_one_place(rows: IndexArray, frequency: FloatArray) -> ComplexArray:
    """No barrel between: both stubs hang on the line at one place.

    Parameters
    ----------
    rows : ndarray of int, shape (n,)
    frequency : ndarray, shape (n, n_frequency)

    Returns
    -------
    complex ndarray, shape (n, n_frequency, 2, 2)
    """
    return np.broadcast_to(np.eye(2, dtype=complex), (*np.shape(frequency), 2, 2))

"""Owns the residual stub that the fabricator guarantees: one statement that includes all tolerances.

All depths [m] are counted from the datum on the drilled side into the board. The methods are those of
``DepthTolerance``. So they also take ``sensed`` and ``lead``, although a guarantee does not depend on these two.
"""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING, TypeVar

from stubsi.checks import one_line
from stubsi.drilling.depth_tolerance import check_source
from stubsi.errors import BoardError
from stubsi.plausibility import DRILLING_CLEARANCE
from stubsi.units import one_si, show
from stubsi.value import Dimension, InSI, OptionalDimension, Value, value_object

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from stubsi.drilling.depth_tolerance import LayersBySide
    from stubsi.units import Dimensioned

Depths = TypeVar("Depths", float, "NDArray[np.float64]")


@value_object
class GuaranteedResidual(Value):
    r"""The fabricator guarantees how much plating is left before the must-not-cut layer, all tolerances included.

    Parameters
    ----------
    least, most : length
        Limits of the residual stub. If ``least`` is negative, the drill may cut the layer in use, so every hole is
        refused.
    nominal : length, optional
        The residual stub that is aimed at. If it is not given, it is the middle of the limits.
    source : str
        Who states these limits.

    Raises
    ------
    UnitError, BoardError
        Least, nominal and most are not in rising order, or the source is blank.

    See Also
    --------
    DepthTolerance : The other way: tolerances of depth and thickness.

    Notes
    -----
    With F the near face of the must-not-cut layer and e the end of the plating, the residual stub r keeps

    .. math:: r_{least} \le r \le r_{most}, \quad r = F - e

    If the hole's own layer lies deeper, the nominal distance between the two layers is added to r.
    """

    least: Dimension = Dimension("length", rule="any")
    least_si: float = field(init=False)
    most: Dimension = Dimension("length", usual=DRILLING_CLEARANCE)
    most_si: float = field(init=False)
    nominal: OptionalDimension = OptionalDimension("length", rule="any")
    nominal_si: float | None = field(init=False)
    source: str

    def __post_init__(self) -> None:
        if self.nominal_si is None:
            self.__dict__["nominal_si"] = float(f"{(self.least_si + self.most_si) / 2:.14g}")
        if not self.least_si <= self._nominal <= self.most_si:
            raise BoardError(
                f"guaranteed residual stub: least = {show(self.least_si, 'length')}, nominal = "
                f"{show(self._nominal, 'length')}, most = {show(self.most_si, 'length')}: must be in this order."
            )
        check_source(self.source, "guaranteed residual stub")

    @classmethod
    def plus_minus(cls, nominal: Dimensioned, tolerance: Dimensioned, *, source: str) -> GuaranteedResidual:
        """Guarantee a residual stub with the same tolerance on both sides.

        Parameters
        ----------
        nominal : length
            Residual stub that is aimed at.
        tolerance : length
            The residual stub is at most this much shorter or longer.
        source : str
            Who states it.

        Returns
        -------
        GuaranteedResidual
            The guarantee.

        Raises
        ------
        UnitError, BoardError
            A value is not a length, or the source is blank.
        """
        middle = one_si(nominal, "length", "nominal residual stub")
        half = one_si(tolerance, "length", "tolerance of the residual stub", rule="not negative")
        return cls(least=InSI(middle - half), most=InSI(middle + half), nominal=InSI(middle), source=source)

    @property
    def depth_limits_si(self) -> tuple[float, float]:
        """How much shallower, and how much deeper, a hole may end than aimed at [m]."""
        return self.most_si - self._nominal, self._nominal - self.least_si

    @property
    def _nominal(self) -> float:
        nominal = self.nominal_si
        assert nominal is not None, "__post_init__ has set it"
        return nominal

    def aimed(self, face: Depths) -> Depths:
        """End of the plating [m] that is aimed at for a must-not-cut layer.

        Parameters
        ----------
        face : float or ndarray
            Depth of the near face of a layer [m].

        Returns
        -------
        float or ndarray
            End [m], or ends for an array of faces.
        """
        return face - self._nominal

    def deepest(self, face: float, cut: float, sensed: float, lead: float) -> float:
        """Deepest end [m] that leaves at least ``cut`` [m] of plating before ``face`` [m] at worst tolerance.

        Parameters
        ----------
        face : float
            Depth of the near face of a layer [m].
        cut : float
            Plating that must be left before that face [m].
        sensed : float
            Depth of the layer that the drill senses [m], 0 for none.
        lead : float
            How far tip or shoulder lies beyond the end of the plating [m].

        Returns
        -------
        float
            Depth [m].
        """
        return face - (self._nominal - self.least_si) - cut

    def shallowest(self, face: float, longest: float, sensed: float, lead: float) -> float:
        """Shallowest end [m] that leaves at most ``longest`` [m] of plating before ``face`` [m] at worst tolerance.

        Parameters
        ----------
        face : float
            Depth of the near face of a layer [m].
        longest : float
            Plating that may be left before that face [m].
        sensed : float
            Depth of the layer that the drill senses [m], 0 for none.
        lead : float
            How far tip or shoulder lies beyond the end of the plating [m].

        Returns
        -------
        float
            Depth [m].
        """
        return face + (self.most_si - self._nominal) - longest

    def left(self, face: float, end: float, sensed: float, lead: float) -> tuple[float, float]:
        """Least and most plating [m] left before ``face`` [m] when ``end`` [m] is aimed at.

        Parameters
        ----------
        face : float
            Depth of the near face of a layer [m].
        end : float
            End of the plating that is aimed at [m].
        sensed : float
            Depth of the layer that the drill senses [m], 0 for none.
        lead : float
            How far tip or shoulder lies beyond the end of the plating [m].

        Returns
        -------
        tuple[float, float]
            Plating [m].
        """
        aimed = face - end
        return aimed + (self.least_si - self._nominal), aimed + (self.most_si - self._nominal)

    def shrunk(self, length: float) -> float:
        """Least thickness [m] of a part of the board that is not drilled: as drawn, because nothing else is stated.

        Parameters
        ----------
        length : float
            Thickness as drawn [m].

        Returns
        -------
        float
            Thickness [m].
        """
        return length

    @property
    def sensed(self) -> LayersBySide:
        """Layer that the drill senses from each side: none."""
        return ()

    def sensed_layer(self, side: str) -> str | None:
        """Layer that the drill senses: none.

        Parameters
        ----------
        side : str
            Side drilled from, "top" or "bottom".

        Returns
        -------
        str | None
            Name of the layer, None if there is none.
        """
        return None

    def in_words(self) -> str:
        """What is guaranteed, without its source.

        Returns
        -------
        str
            One line.
        """
        return f"guaranteed residual stub {show(self.least_si, 'length')} to {show(self.most_si, 'length')}"

    def __str__(self) -> str:
        return f"{self.in_words()} ({one_line(self.source)})"

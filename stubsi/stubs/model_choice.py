"""Owns the choice of the electrical model: solved from the geometry, or a uniform line, and of which permittivity."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal, TypeAlias, get_args

from stubsi.errors import StubsiError
from stubsi.stubs.solved_model import solved_models
from stubsi.stubs.uniform_model import uniform_models
from stubsi.stubs.uniform_stub import Stub
from stubsi.unit_errors import as_shown
from stubsi.units import quantity
from stubsi.value import Value, value_object

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.stubs.cases import Case
    from stubsi.stubs.models import Models
    from stubsi.units import Dimensioned

ModelName: TypeAlias = Literal["solved", "uniform"]
"""How users name an electrical model: solved from the geometry, or a uniform line."""


@value_object
class ModelChoice(Value):
    """Which electrical model the stubs of a board get. ``ModelChoice.of`` makes one from what a user gives.

    Parameters
    ----------
    name : {"solved", "uniform"}
        "solved": from the geometry, a uniform line where the geometry is not known. "uniform": a uniform line for all.
    dk_eff : float, optional
        Effective relative permittivity [-] of every stub; then every stub is a uniform line.
    delay_si : float, optional
        Delay per length [s/m] of every stub, in place of ``dk_eff``.
    """

    name: ModelName = "solved"
    dk_eff: float | None = None
    delay_si: float | None = None

    @classmethod
    def of(
        cls, model: ModelName = "solved", dk_eff: float | None = None, delay: Dimensioned | None = None
    ) -> ModelChoice:
        """Check the three arguments by which users choose a model.

        Parameters
        ----------
        model : {"solved", "uniform"}
        dk_eff : float, optional
            Effective relative permittivity [-], at least 1.
        delay : delay per length, optional
            Delay per length of every stub, in place of ``dk_eff``, for example "175 ps/in".

        Returns
        -------
        ModelChoice

        Raises
        ------
        StubsiError
            An unknown ``model``, both ``dk_eff`` and ``delay``, a delay faster than light.
        UnitError
            A value that is not a permittivity or not a delay per length.
        """
        if not isinstance(model, str) or model not in get_args(ModelName):
            raise StubsiError(f"model = {as_shown(model)}: must be 'solved' or 'uniform'.")
        if dk_eff is None and delay is None:
            return cls(name=model)
        stub = Stub(stub_length="1 mm", dk_eff=dk_eff, delay=delay)
        return cls(name=model, dk_eff=stub.dk_eff, delay_si=stub.delay_si)

    @property
    def uniform(self) -> bool:
        """Whether all stubs are uniform lines."""
        return self.name == "uniform" or self.dk_eff is not None or self.delay_si is not None

    def models(self, cases: Sequence[Case]) -> Models:
        """Electrical models of some cases.

        Parameters
        ----------
        cases : sequence of Case

        Returns
        -------
        Models
            One answer per case, in their order.
        """
        if self.uniform:
            return uniform_models(cases, dk_eff=self.dk_eff, delay=self.delay_si)
        return solved_models(cases)

    def arguments(self) -> dict[str, Any]:
        """The choice as keyword arguments of ``rank``, ``plan`` and ``hole_model``."""
        delay = None if self.delay_si is None else quantity(self.delay_si, "delay per length")
        return {"model": self.name, "dk_eff": self.dk_eff, "delay": delay}

    def __str__(self) -> str:
        if not self.uniform:
            return "solved from the geometry, uniform lines where that is not known"
        if self.dk_eff is not None:
            return f"uniform lines, Dk_eff {self.dk_eff:g}"
        return "uniform lines, laminate Dk" if self.delay_si is None else "uniform lines, delay given"

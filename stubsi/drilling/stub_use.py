"""Owns a stub together with the electrical data of its net, and its figures as drawn or cut by a depth drill."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from stubsi.margin.figures import Measurable, stub_figures
from stubsi.margin.longest_stub import Permit

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from numpy.typing import NDArray

    from stubsi.board.criterion import Criterion, Measure
    from stubsi.stubs.as_barrel import Bore
    from stubsi.stubs.cases import Case
    from stubsi.stubs.model_choice import ModelChoice
    from stubsi.stubs.models import Models


class StubUse(NamedTuple):
    """A stub in its net: the case, Nyquist frequency [Hz], impedance of the line [ohm] and bore that would cut it."""

    case: Case
    nyquist: float
    z0: float
    bore: Bore

    def permit(self, criterion: Criterion, model: ModelChoice) -> Permit:
        """All that the longest permitted length of the stub depends on.

        Parameters
        ----------
        criterion : Criterion
            Criterion of the net.
        model : ModelChoice
            Electrical model of the stubs.

        Returns
        -------
        Permit
            The same for all stubs with the same longest permitted length.
        """
        z0 = self.z0 if criterion.on_loss and np.isfinite(self.z0) else None
        return Permit(self.case.shape, self.case.around, self.bore, criterion, self.nyquist, z0, model)

    def cut(self, length: float) -> StubUse:
        """Copy with the plating cut to a length.

        Parameters
        ----------
        length : float
            Length that is left [m].

        Returns
        -------
        StubUse
            The cut stub.
        """
        return self._replace(case=cut(self.case, length, self.bore))


def cut(case: Case, length: float, bore: Bore) -> Case:
    """Cut the plating of a case to a length with a depth drill. A case that is not longer is returned as it is.

    Parameters
    ----------
    case : Case
        The stub.
    length : float
        Length that is left [m].
    bore : Bore
        The bore that cuts it.

    Returns
    -------
    Case
        The cut stub.
    """
    return case if length >= case.length_si else case._replace(length_si=float(length), bore=bore)


def figures(
    uses: Sequence[StubUse], lengths: NDArray[np.float64], model: ModelChoice, *, wanted: Collection[Measure]
) -> Measurable:
    """Figures of stubs that are cut to some lengths and modelled here.

    Parameters
    ----------
    uses : Sequence[StubUse]
        The stubs in their nets.
    lengths : NDArray[np.float64]
        Lengths [m], one for each stub.
    model : ModelChoice
        Electrical model of the stubs.
    wanted : collection of Measure
        What will be looked at.

    Returns
    -------
    Measurable
        Figures, one for each stub.
    """
    cases = [use.cut(length).case for use, length in zip(uses, lengths.tolist(), strict=True)]
    return figures_of(model.models(cases), np.arange(len(uses)), uses, lengths, wanted=wanted)


def figures_of(
    models: Models,
    case: NDArray[np.intp],
    uses: Sequence[StubUse],
    lengths: NDArray[np.float64],
    *,
    wanted: Collection[Measure],
) -> Measurable:
    """Figures of stubs that are modelled already.

    Parameters
    ----------
    models : Models
        Electrical models of some cases.
    case : NDArray[np.intp]
        Number of the case of each stub.
    uses : Sequence[StubUse]
        The stubs in their nets.
    lengths : NDArray[np.float64]
        Lengths [m], one for each stub.
    wanted : collection of Measure
        What will be looked at.

    Returns
    -------
    Measurable
        Figures, one for each stub.
    """
    nyquist = np.array([use.nyquist for use in uses], dtype=float)
    z0 = np.array([use.z0 for use in uses], dtype=float)
    return stub_figures(models, case, lengths, nyquist, z0, wanted=wanted)

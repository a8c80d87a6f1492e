"""Owns the budget of a stub without a board: does this length pass, and how long may it be."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from stubsi.board.criterion import DEFAULT, Criterion, as_criterion
from stubsi.board.signal import Signal, as_signal
from stubsi.errors import StubsiError
from stubsi.margin.single_stub import SolvedTrial, Trial, UniformTrial
from stubsi.margin.verdict import Verdict, measured, standing, wording
from stubsi.units import one_si, quantity, show
from stubsi.value import Dimension, OptionalDimension, Value

if TYPE_CHECKING:
    from stubsi.board.net import ReturnVias
    from stubsi.board.padstack import Padstack
    from stubsi.board.stackup import Stackup


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class Check(Value):
    """Whether one stub meets a criterion. True only if that is proven; prints one line.

    ``verdict``: "pass", "marginal" (within the model's uncertainty of the limit), "falls short" or "undecided" (an
    unknown decides). ``excess``: how far the figure is beyond the limit, relative; negative where it falls short.
    ``first_notch`` [GHz], ``loss`` and ``return_loss`` at Nyquist [dB] at the worse end of what is known; None where
    unknown or where there is none.
    """

    stub_length: Dimension = Dimension("length", rule="not negative")

    stub_length_si: float = field(init=False)
    signal: Signal
    criterion: Criterion
    verdict: str
    excess: float
    first_notch: OptionalDimension = OptionalDimension("frequency")
    first_notch_si: float | None = field(init=False)
    loss: float | None
    return_loss: float | None
    model: str
    reason: str

    def __bool__(self) -> bool:
        return self.verdict == Verdict.PASS

    def __str__(self) -> str:
        return (
            f"{self.verdict}: stub {show(self.stub_length_si, 'length')} on {self.signal}: {self.reason} "
            f"[{self.criterion.source}; {self.model}]"
        )

    def _repr_html_(self) -> str:
        from stubsi.show.html import check_html

        return check_html(self)


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class Budget(Value):
    """Longest stub that meets a criterion; prints one line.

    ``stub_length``: as computed. ``proven_length``: with the model as far off as it may be. ``unlimited``: no stub
    that fits is too long; ``stub_length`` is then the longest one tried. ``ends_at``: what the stub ends at, where
    it was solved from its geometry.
    """

    stub_length: Dimension = Dimension("length", rule="not negative")

    stub_length_si: float = field(init=False)
    proven_length: Dimension = Dimension("length", rule="not negative")
    proven_length_si: float = field(init=False)
    signal: Signal
    criterion: Criterion
    unlimited: bool
    ends_at: str
    model: str

    def __str__(self) -> str:
        end = f", {self.ends_at}" if self.ends_at else ""
        most = "any stub that fits, up to" if self.unlimited else "stub at most"
        return (
            f"{self.signal}: {most} {show(self.stub_length_si, 'length')}{end} (proven: "
            f"{show(self.proven_length_si, 'length')}); {self.criterion}; {self.model}"
        )

    def _repr_html_(self) -> str:
        from stubsi.show.html import budget_html

        return budget_html(self)


def check_stub(
    stub_length: Any,
    signal: Any,
    *,
    criterion: Criterion | str = DEFAULT,
    z0: Any = None,
    dk_eff: float | None = None,
    delay: Any = None,
    z_stub: Any = None,
    drill: Any = None,
    antipad: Any = None,
    df: float = 0.0,
    at: Any = None,
    end_pad: Any = None,
    end_capacitance: Any = None,
    stackup: Stackup | None = None,
    padstack: Padstack | None = None,
    layer: str | None = None,
    side: str = "bottom",
    return_vias: ReturnVias | None = None,
    pitch: Any = None,
    depth_drill: Any = None,
) -> Check:
    """Check one stub against a criterion: a stub-length budget check for scripts.

    Parameters
    ----------
    stub_length : length
    signal : Signal, str or quantity
        What the net carries, as ``Signal`` reads it.
    criterion : Criterion or name in ``RULES_OF_THUMB``
        First notch at least 5 x Nyquist unless said.
    z0 : impedance, optional
        Of the line (half the differential impedance for the leg of a pair); needed by a criterion on loss.
    dk_eff, delay, z_stub, drill, antipad, df, at, end_pad, end_capacitance
        The stub as a uniform line, as ``Stub`` takes them.
    stackup, padstack : Stackup, Padstack
        In their place: the stub is solved from its geometry.
    layer : str
        With them: the layer in use that the stub starts at.
    side : {"top", "bottom"}
        With them: which way the stub goes.
    return_vias : ReturnVias, optional
        With them; unknown ones make the figures a range.
    pitch : length, optional
        With them: of the pair whose leg this is (odd mode).
    depth_drill : length, optional
        With them: diameter of the drill that ends a stub shorter than the hole; unknown: 0.2 mm over the primary drill
        is assumed, and said.

    Raises
    ------
    StubsiError, UnitError
        Neither or both ways to describe the stub; a value the criterion needs and nobody gave; values out of range.

    Examples
    --------
    >>> check = check_stub("100 mil", "DDR4-3200", dk_eff=4)
    >>> bool(check)
    True
    """
    trial = _trial(locals())
    length = one_si(stub_length, "length", "stub_length", rule="not negative")
    return _check(trial, length, as_signal(signal), as_criterion(criterion))


def stub_budget(
    signal: Any,
    *,
    criterion: Criterion | str = DEFAULT,
    z0: Any = None,
    dk_eff: float | None = None,
    delay: Any = None,
    z_stub: Any = None,
    drill: Any = None,
    antipad: Any = None,
    df: float = 0.0,
    at: Any = None,
    end_pad: Any = None,
    end_capacitance: Any = None,
    stackup: Stackup | None = None,
    padstack: Padstack | None = None,
    layer: str | None = None,
    side: str = "bottom",
    return_vias: ReturnVias | None = None,
    pitch: Any = None,
    depth_drill: Any = None,
) -> Budget:
    """Longest stub that meets a criterion, so that every shorter one does too.

    Parameters
    ----------
    signal, criterion, z0
        As ``check_stub``.
    dk_eff, delay, z_stub, drill, antipad, df, at, end_pad, end_capacitance
        The stub as a uniform line, as ``Stub`` takes them.
    stackup, padstack, layer, side, return_vias, pitch, depth_drill
        In their place: solved from its geometry, as ``check_stub``. Pads and planes then make the budget stepwise; it
        is the first end position, counted from the layer in use, beyond which the criterion is missed.

    Raises
    ------
    StubsiError, UnitError
        As ``check_stub``.

    Examples
    --------
    >>> print(stub_budget("DDR4-3200", dk_eff=4).stub_length.to("thou").round(1))
    184.4 thou
    """
    trial = _trial(locals())
    signal, criterion = as_signal(signal), as_criterion(criterion)
    computed, proven, unlimited = trial.budget(signal, criterion)
    model = str(trial.models(np.array([computed])).provenance[0]) if computed else trial.model
    return Budget(
        stub_length=quantity(computed, "length"), proven_length=quantity(proven, "length"), signal=signal,
        criterion=criterion, unlimited=unlimited, ends_at=trial.ends_at(computed), model=model,
    )  # fmt: skip


_UNIFORM = ("dk_eff", "delay", "z_stub", "drill", "antipad", "df", "at", "end_pad", "end_capacitance")
_GEOMETRY = ("stackup", "padstack", "layer", "side", "return_vias", "pitch", "depth_drill")


def _trial(given: dict[str, Any]) -> Trial:
    """The stub described by the arguments of a check, ready to be tried at any length."""
    z0 = None if given["z0"] is None else one_si(given["z0"], "impedance", "z0")
    uniform = {name: given[name] for name in _UNIFORM}
    if given["stackup"] is None and given["padstack"] is None:
        unused = [name for name in _GEOMETRY if given[name] not in (None, "bottom")]
        if unused:
            raise StubsiError(f"{', '.join(unused)}: need stackup and padstack beside them.")
        return UniformTrial(uniform, z0)
    both = [name for name, value in uniform.items() if value not in (None, 0.0)]
    if both:
        raise StubsiError(f"give either a uniform line ({', '.join(both)}) or stackup and padstack, not both.")
    missing = [name for name in ("stackup", "padstack", "layer") if given[name] is None]
    if missing:
        raise StubsiError(f"{', '.join(missing)}: missing; a solved stub needs stackup, padstack and layer.")
    return SolvedTrial(**{name: given[name] for name in _GEOMETRY}, z0=z0)


def _check(trial: Trial, length: float, signal: Signal, criterion: Criterion) -> Check:
    shared = {"stub_length": quantity(length, "length"), "signal": signal, "criterion": criterion}
    if length == 0:
        return Check(
            **shared,
            model=trial.model,
            verdict=Verdict.PASS,
            excess=np.inf,
            loss=0.0,
            return_loss=None,
            reason="no stub",
        )
    models = trial.models(np.array([length]))
    found = trial.figures(models, np.array([length]), signal, criterion)
    value = measured(criterion, found)
    verdict = str(standing(criterion, value, np.array([False]))[0])
    low, high, notch = float(value.low[0]), float(value.high[0]), float(found.notch.low[0])
    return Check(
        **shared,
        verdict=Verdict.FALLS_SHORT if verdict == Verdict.DRILL else verdict,
        excess=(low / criterion.limit - 1) if criterion.least else (criterion.limit / low - 1 if low else np.inf),
        first_notch=quantity(notch, "frequency") if np.isfinite(notch) else None,
        loss=_known(found.loss.low),
        return_loss=_known(found.return_loss.low),
        reason=wording(criterion, low, high, notch / signal.nyquist_si),
        model=str(models.provenance[0]),
    )


def _known(value: np.ndarray) -> float | None:
    return float(value[0]) if np.isfinite(value[0]) else None

"""Owns the budget of a stub without a board: does this length pass, and how long may it be."""

from __future__ import annotations

import math
from dataclasses import field
from typing import TYPE_CHECKING

from stubsi.board.criterion import DEFAULT, Criterion, as_criterion, outside_scope
from stubsi.board.signal import Signal, as_signal
from stubsi.checks import one_line
from stubsi.margin.stub_arguments import single_stub
from stubsi.margin.stub_verdict import StubFigures, excess_of, measured_ends, reason_of_stub, verdict_of
from stubsi.margin.verdict import Verdict
from stubsi.plausibility import STUB_LENGTH, usual_si
from stubsi.units import quantity, show
from stubsi.value import Dimension, InSI, Value, value_object

if TYPE_CHECKING:
    from typing import Unpack

    from stubsi.margin.stub_arguments import StubArguments
    from stubsi.margin.stub_verdict import Ends
    from stubsi.provenance import Provenance
    from stubsi.units import Dimensioned, Quantity


@value_object
class Check(Value):
    """Whether one stub meets a criterion. True only if that is proven; prints one line. Made by ``check_stub``.

    Parameters
    ----------
    stub_length : length
        What was checked.
    signal : Signal
        What the net carries.
    criterion : Criterion
        What it must meet.
    verdict : Verdict
        "pass", "marginal" (within the model's uncertainty of the limit), "falls short", or "undecided" (it depends on
        an unknown value).
    figures : StubFigures or None
        First notch, 1 dB frequency, greatest loss and least return loss up to Nyquist; None without a stub.
    provenance : Provenance
        How the figures were found.
    """

    stub_length: Dimension = Dimension("long length", rule="not negative")
    stub_length_si: float = field(init=False)
    signal: Signal
    criterion: Criterion
    verdict: Verdict
    figures: StubFigures | None
    provenance: Provenance

    def __bool__(self) -> bool:
        return self.verdict == Verdict.PASS

    @property
    def first_notch_si(self) -> float | None:
        """First notch [Hz] at the lower end of what is known; None where unknown or where there is none."""
        notch = _lower_end(self.figures and self.figures.notch)
        return notch if notch is not None and math.isfinite(notch) else None

    @property
    def first_notch(self) -> Quantity | None:
        """First notch, a quantity in GHz, at the lower end of what is known; None where there is none."""
        return None if self.first_notch_si is None else quantity(self.first_notch_si, "frequency")

    @property
    def one_db_si(self) -> float | None:
        """1 dB frequency [Hz] at the lower end of what is known; None where unknown or where there is none."""
        one_db = _lower_end(self.figures and self.figures.one_db)
        return one_db if one_db is not None and math.isfinite(one_db) else None

    @property
    def one_db(self) -> Quantity | None:
        """1 dB frequency, a quantity in GHz, at the lower end of what is known; None where there is none."""
        return None if self.one_db_si is None else quantity(self.one_db_si, "frequency")

    @property
    def loss(self) -> float | None:
        """Loss at Nyquist [dB] at the worse end of what is known; None where unknown."""
        return 0.0 if self.figures is None else self.figures.nyquist_loss

    @property
    def return_loss(self) -> float | None:
        """Return loss at Nyquist [dB] at the worse end of what is known; None where unknown, and without a stub."""
        return None if self.figures is None else self.figures.nyquist_return_loss

    @property
    def greatest_loss(self) -> float | None:
        """Greatest loss from 0 to Nyquist [dB] at the worse end of what is known; None where unknown."""
        return 0.0 if self.figures is None else _lower_end(self.figures.loss)

    @property
    def least_return_loss(self) -> float | None:
        """Least return loss from 0 to Nyquist [dB], likewise; None also without a stub."""
        return _lower_end(self.figures and self.figures.return_loss)

    @property
    def excess(self) -> float:
        """How far the figure is on the good side of the limit, relative; negative where it falls short."""
        if self.figures is None:
            return math.inf
        return excess_of(self.criterion, measured_ends(self.criterion, self.figures))

    @property
    def reason(self) -> str:
        """The figure and its limit, in words; where the verdict is undecided also what is unknown."""
        if self.figures is None:
            return "no stub"
        is_open = self.provenance.open_inputs if self.verdict == Verdict.UNDECIDED else ()
        scope = outside_scope(self.criterion, self.signal)
        return "; ".join(filter(None, (reason_of_stub(self.criterion, self.figures), *is_open, scope)))

    @property
    def model(self) -> str:
        """How the figures were found, in words."""
        return str(self.provenance)

    def __str__(self) -> str:
        return (
            f"{self.verdict}: stub {show(self.stub_length_si, 'length')} on {self.signal}: {self.reason} "
            f"[{one_line(self.criterion.source)}; {self.model}]"
        )

    def __repr__(self) -> str:
        return f"Check({self.verdict}: stub {show(self.stub_length_si, 'length')} on {self.signal}: {self.reason})"

    def _repr_html_(self) -> str:
        from stubsi.show.html import check_html

        return check_html(self)


def _lower_end(figure: Ends | None) -> float | None:
    return None if figure is None else figure.low


@value_object
class Budget(Value):
    """Longest stub that meets a criterion; prints one line. Made by ``stub_budget``.

    Parameters
    ----------
    stub_length : length
        Its length by the figures as computed.
    proven_length : length
        The same with the model as far off as it may be.
    signal : Signal
        What the net carries.
    criterion : Criterion
        What it must meet.
    unlimited : bool
        Whether every stub that fits meets the criterion; ``stub_length`` is then the longest one that fits.
    end_layers : tuple of str
        Copper layer that the stub ends at, or the two that it ends between, where it was solved from its geometry.
    first_notch_si, one_db_si : float or None
        First notch and 1 dB frequency of a stub of ``stub_length`` [Hz], at the lower ends of what is known; None where
        unknown. The 1 dB frequency needs z0. ``first_notch`` and ``one_db`` are quantities in GHz.
    provenance : Provenance
        How the longest stub is modelled.
    """

    stub_length: Dimension = Dimension("long length", rule="not negative")
    stub_length_si: float = field(init=False)
    proven_length: Dimension = Dimension("long length", rule="not negative")
    proven_length_si: float = field(init=False)
    signal: Signal
    criterion: Criterion
    unlimited: bool
    end_layers: tuple[str, ...]
    first_notch_si: float | None
    one_db_si: float | None
    provenance: Provenance

    @property
    def first_notch(self) -> Quantity | None:
        """First notch of a stub of ``stub_length``, a quantity in GHz; None where it is unknown."""
        return None if self.first_notch_si is None else quantity(self.first_notch_si, "frequency")

    @property
    def one_db(self) -> Quantity | None:
        """1 dB frequency of a stub of ``stub_length``, a quantity in GHz; None where it is unknown."""
        return None if self.one_db_si is None else quantity(self.one_db_si, "frequency")

    @property
    def ends_at(self) -> str:
        """What the stub ends at, in words; empty for a uniform line."""
        if not self.end_layers:
            return ""
        return ("ending at " if len(self.end_layers) == 1 else "ending between ") + " and ".join(self.end_layers)

    @property
    def model(self) -> str:
        """How the longest stub is modelled, in words."""
        return str(self.provenance)

    def __str__(self) -> str:
        end = f", {self.ends_at}" if self.end_layers else ""
        one_db = "" if self.one_db_si is None else f"; 1 dB at {show(self.one_db_si, 'frequency')}"
        return f"{self.signal}: {self._length}{end} (proven: {self._proven}){one_db}; {self.criterion}; {self.model}"

    def __repr__(self) -> str:
        return f"Budget({self.signal}: {self._length}, proven: {self._proven})"

    @property
    def _length(self) -> str:
        most = "any stub that fits, up to" if self.unlimited else "stub at most"
        return f"{most} {show(self.stub_length_si, 'length')}"

    @property
    def _proven(self) -> str:
        return show(self.proven_length_si, "length")

    def _repr_html_(self) -> str:
        from stubsi.show.html import budget_html

        return budget_html(self)


def check_stub(
    stub_length: Dimensioned,
    signal: Signal | Dimensioned,
    *,
    criterion: Criterion | str = DEFAULT,
    z0: Dimensioned | None = None,
    **stub: Unpack[StubArguments],
) -> Check:
    """Check one stub against a criterion: a stub-length budget check for scripts.

    Parameters
    ----------
    stub_length : length
        Zero: no stub.
    signal : Signal, str or quantity
        What the net carries, as ``Signal`` reads it.
    criterion : Criterion or name in ``RULES_OF_THUMB``
        First notch at least 5 x Nyquist unless given.
    z0 : impedance, optional
        Of the line (half the differential impedance for the leg of a pair); needed by a criterion on loss.
    **stub : StubArguments
        Keywords that describe the stub. A uniform line: ``dk_eff`` or ``delay``, ``z_stub``, ``drill``, ``antipad``,
        ``df``, ``at``, ``end_pad``, ``end_capacitance``. Or, to solve it from its geometry: ``stackup``, ``padstack``,
        ``layer``, ``side``, ``return_vias``, ``pitch``, ``depth_drill``, ``feed``. For a uniform line also
        ``tolerances``. ``StubArguments`` says what each means.

    Returns
    -------
    Check
        True if the criterion is proven to be met.

    Raises
    ------
    StubsiError, UnitError
        Neither or both ways to describe the stub; a value that the criterion needs and that was not given; values of
        the wrong kind or out of range; an unknown keyword.

    See Also
    --------
    stub_budget : how long the stub may be.

    Examples
    --------
    >>> check = check_stub("100 mil", "DDR4-3200", dk_eff=4)
    >>> bool(check)
    True
    """
    described_stub = single_stub(stub, z0)
    length = usual_si(stub_length, STUB_LENGTH, "stub_length", rule="not negative")
    net_signal, limit = as_signal(signal), as_criterion(criterion)
    if length == 0:
        figures, provenance, verdict = None, described_stub.provenance(0.0), Verdict.PASS
    else:
        figures, provenance = described_stub.figures(length, net_signal, limit)
        verdict = verdict_of(limit, measured_ends(limit, figures))
    return Check(
        stub_length=InSI(length), signal=net_signal, criterion=limit, verdict=verdict, figures=figures,
        provenance=provenance,
    )  # fmt: skip


def stub_budget(
    signal: Signal | Dimensioned,
    *,
    criterion: Criterion | str = DEFAULT,
    z0: Dimensioned | None = None,
    **stub: Unpack[StubArguments],
) -> Budget:
    r"""Longest stub that meets a criterion, so that every shorter one does too.

    Parameters
    ----------
    signal : Signal, str or quantity
        What the net carries, as ``Signal`` reads it.
    criterion : Criterion or name in ``RULES_OF_THUMB``
        First notch at least 5 x Nyquist unless given.
    z0 : impedance, optional
        Of the line (half the differential impedance for the leg of a pair); needed by a criterion on loss.
    **stub : StubArguments
        Keywords that describe the stub, as ``check_stub`` takes them: a uniform line (``dk_eff`` ...), or a geometry
        to solve (``stackup``, ``padstack``, ``layer`` ...). ``StubArguments`` says what each means.

    Returns
    -------
    Budget
        Its ``stub_length`` as computed, and its ``proven_length``.

    Raises
    ------
    StubsiError, UnitError
        As ``check_stub``.

    See Also
    --------
    check_stub : whether a stub of a given length passes.

    Notes
    -----
    A uniform line and a limit on the first notch: :math:`L = (\pi/2 - \arctan(\omega C_e Z_s)) / \beta` at the
    lowest frequency allowed, which is :math:`c / (4 f \sqrt{D_k})` without end load. A solved stub: pads and planes
    make the budget stepwise; it is the first end position, counted from the layer in use, beyond which the criterion
    is missed, found to 5 um on the safe side.

    Examples
    --------
    >>> print(stub_budget("DDR4-3200", dk_eff=4).stub_length.to("thou").round(1))
    184.4 thou
    """
    described_stub = single_stub(stub, z0)
    net_signal, limit = as_signal(signal), as_criterion(criterion)
    longest = described_stub.longest(net_signal, limit)
    frequencies = described_stub.frequencies(longest.computed)
    return Budget(
        stub_length=InSI(longest.computed), proven_length=InSI(longest.proven), signal=net_signal, criterion=limit,
        unlimited=longest.unlimited, end_layers=described_stub.end_layers(longest.computed),
        first_notch_si=frequencies.first_notch, one_db_si=frequencies.one_db,
        provenance=described_stub.provenance(longest.computed),
    )  # fmt: skip

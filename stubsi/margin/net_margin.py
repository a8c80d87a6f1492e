"""Owns one net of a ranking as a row of a table: its figures, its verdict and the reason of it."""

from __future__ import annotations

from dataclasses import FrozenInstanceError
from typing import TYPE_CHECKING, NamedTuple, NoReturn

from stubsi.board.names import shortened

if TYPE_CHECKING:
    from stubsi.margin.reason import Reason
    from stubsi.margin.verdict import Verdict


class NetMargin(NamedTuple):
    """One net of a ranking.

    The fields with ``_si`` hold SI units. The properties of the same names without ``_si`` hold the same figures in
    the units of the table. A figure is None where there is no stub, and where it is unknown.

    Parameters
    ----------
    net, signal : str
        Names.
    nyquist_si : float
        Nyquist frequency [Hz]; ``nyquist`` in GHz.
    hole, side, leg : str
        Where the stub with the lowest first notch is; empty without stub.
    stub_length_si : float or None
        Its length [m]; ``stub_length`` in mm.
    first_notch_si, first_notch_to_si : float or None
        Ends of the range of the first notch [Hz], equal where all is known; ``first_notch``, ``first_notch_to`` in GHz.
    margin : float or None
        First notch over Nyquist [-].
    loss : float or None
        Loss at Nyquist [dB]: the shunt losses of the stubs of the worse leg, summed without interaction.
    return_loss : float or None
        Return loss at Nyquist [dB] of the stub with the lowest first notch.
    model, model_error : str
        How that stub was modelled, and how far off that may be.
    verdict : Verdict
        What is decided about the net.
    why : Reason
        Reason of the verdict as data; ``reason`` as text.
    criterion : str
        What the net must meet.
    """

    net: str
    signal: str
    nyquist_si: float
    hole: str
    side: str
    leg: str
    stub_length_si: float | None
    first_notch_si: float | None
    first_notch_to_si: float | None
    margin: float | None
    loss: float | None
    return_loss: float | None
    model: str
    model_error: str
    verdict: Verdict
    why: Reason
    criterion: str

    @property
    def nyquist(self) -> float:
        """Nyquist frequency [GHz]."""
        return self.nyquist_si / 1e9

    @property
    def stub_length(self) -> float | None:
        """Length of the stub with the lowest first notch [mm]."""
        return None if self.stub_length_si is None else self.stub_length_si * 1e3

    @property
    def first_notch(self) -> float | None:
        """Lower end of the range of the first notch [GHz]."""
        return None if self.first_notch_si is None else self.first_notch_si / 1e9

    @property
    def first_notch_to(self) -> float | None:
        """Upper end of the range of the first notch [GHz]."""
        return None if self.first_notch_to_si is None else self.first_notch_to_si / 1e9

    @property
    def reason(self) -> str:
        """Reason of the verdict, in one line."""
        return str(self.why)

    def __setattr__(self, name: str, value: object) -> NoReturn:
        raise FrozenInstanceError(f"cannot assign to '{name}': a NetMargin is not changed once it is made.")

    def __repr__(self) -> str:
        notch = "" if self.first_notch is None else f", first notch {self.first_notch:.4g} GHz"
        ratio = "" if self.margin is None else f", {self.margin:.3g} x Nyquist"
        return f"<NetMargin {shortened(self.net)}: {self.verdict}{notch}{ratio}>"

    def _repr_html_(self) -> str:
        from stubsi.show.margin_table import row_html

        return row_html(self)


COLUMNS = {
    "net": "net",
    "signal": "signal",
    "nyquist": "Nyquist [GHz]",
    "hole": "governing hole",
    "side": "side",
    "leg": "leg",
    "stub_length": "stub length [mm]",
    "first_notch": "first notch [GHz]",
    "first_notch_to": "first notch, up to [GHz]",
    "margin": "first notch / Nyquist",
    "loss": "loss at Nyquist, stubs summed without interaction [dB]",
    "return_loss": "return loss at Nyquist [dB]",
    "model": "model",
    "model_error": "model error",
    "verdict": "verdict",
    "reason": "reason",
    "criterion": "criterion",
}
"""Column names of the table, with units, by field or property of NetMargin."""

"""Owns where a stub's figures come from: the model that made them, what it assumed, and how far off it may be."""

from __future__ import annotations

from dataclasses import dataclass

HARDWARE_ERROR = 0.08
"""How far a notch may be from that of a measured board, relative, where no tolerance is known. It rests on one
published comparison, and is no bound: until a coupon is measured nothing more is known.

Source: a via-stub resonator measured at 13.5 GHz against 12.5 GHz in a 3-D model, DesignCon 2025 proceedings, p. 1408.
"""


@dataclass(frozen=True, kw_only=True, repr=False)
class Provenance:
    """How a stub was modelled.

    Parameters
    ----------
    tier : str
        Name of the model, as tables show it.
    assumptions : tuple of str
        What the model assumes.
    model_error : str
        The error against a full-wave solution of the drawn geometry, in words. The error against hardware is another
        figure.
    low, high : float
        The true notch is expected between these multiples of the computed one.
    nearly_notch : float, optional
        A dip below the notch is nearly deep enough to be one. It is not expected below this frequency [Hz].
    not_solved : str, optional
        Why a uniform line replaces a solved stub: the input that is missing, or the limit of the model that is
        exceeded. None for a solved stub, and for a stub that the user wants as a uniform line.
    open_inputs : tuple of str
        Inputs that are unknown and make the figures a range, each with how to give it.
    """

    tier: str
    assumptions: tuple[str, ...] = ()
    model_error: str
    low: float = 1 - HARDWARE_ERROR
    high: float = 1 + HARDWARE_ERROR
    nearly_notch: float | None = None
    not_solved: str | None = None
    open_inputs: tuple[str, ...] = ()

    @property
    def hardware_error(self) -> str:
        """How far a measured board may be from it, in words."""
        return f"not known until calibrated ({100 * HARDWARE_ERROR:g} % in the one comparison read)"

    def __repr__(self) -> str:
        solved = "" if self.not_solved is None else ", not solved"
        return f"<Provenance {self.tier}: {len(self.assumptions)} assumptions{solved}>"

    def _repr_html_(self) -> str:
        from stubsi.show.html import fields_html

        return fields_html(self)

    def __str__(self) -> str:
        parts = [f"{self.tier}: {self.model_error}", f"against hardware: {self.hardware_error}", *self.assumptions]
        if self.not_solved is not None:
            parts.append(f"not solved: {self.not_solved}")
        return "; ".join(parts)

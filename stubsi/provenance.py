"""Owns where a stub's figures come from: the model that made them, what it assumed, and how far off it may be."""

from __future__ import annotations

from dataclasses import dataclass, replace

COMPARISON = 0.074
"""How far off a 3-D model was in the one published comparison that was read, relative.

Source: a via-stub resonator measured at 13.5 GHz against 12.5 GHz in a 3-D model, DesignCon 2025 proceedings, p. 1408.
"""
HARDWARE_ERROR = 0.08
"""What a verdict allows for where no tolerances are given: that comparison, rounded up. It is no bound."""


ON_TOP = "how far off the model may be comes on top"
BY_TOLERANCES = f"Against hardware: as the tolerances given make it; {ON_TOP}."
"""What stands below every result over tolerances that holds ranges or probabilities itself."""


def against_hardware(notch_change: tuple[float, float] | None = None) -> str:
    """How far a board as built may be from a computed first notch, in words. Every result that says it says this.

    Parameters
    ----------
    notch_change : two of float, optional
        Lowest and highest change of the notch over the tolerances that are given, as fractions. None: none are given.

    Returns
    -------
    str
    """
    if notch_change is None:
        return (
            f"not known until tolerances are given or a coupon is measured; the one published comparison read is "
            f"{100 * COMPARISON:g} % off"
        )
    low, high = (f"{100 * change:+.1f}" for change in notch_change)
    return f"first notch {low} to {high} % by the tolerances given; {ON_TOP}"


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
    model_low, model_high, model_nearly : float, optional
        The same, and the same as ``nearly_notch``, by the error that the model declares against full wave, without what
        a board as built adds. None: the model declares none by itself, and those stand for it.
    built : two of float, optional
        Lowest and highest change of the first notch over tolerances that are given, as fractions. None: none are given.
    nearly_notch : float, optional
        A dip below the notch is nearly deep enough to be one. It is not expected below this frequency [Hz].
    not_solved : str, optional
        Why a uniform line replaces a solved stub: the input that is missing, or the limit of the model that is
        exceeded. None for a solved stub, and for a stub that the user wants as a uniform line.
    open_inputs : tuple of str
        Inputs that are unknown and make the figures a range, each with how to give it.
    unknown_df : bool
        Whether a loss tangent is unknown and counts as lossless. The worst values of loss and 1 dB frequency, which a
        verdict rests on, allow for a loss tangent of 0.03.
    """

    tier: str
    assumptions: tuple[str, ...] = ()
    model_error: str
    low: float = 1 - HARDWARE_ERROR
    high: float = 1 + HARDWARE_ERROR
    model_low: float | None = None
    model_high: float | None = None
    model_nearly: float | None = None
    built: tuple[float, float] | None = None
    nearly_notch: float | None = None
    not_solved: str | None = None
    open_inputs: tuple[str, ...] = ()
    unknown_df: bool = False

    @property
    def hardware_error(self) -> str:
        """How far a board as built may be from it, in words: the range by the tolerances, where they are given."""
        return against_hardware(self.built)

    @property
    def low_of_model(self) -> float:
        """Multiple of the computed notch below which full wave is not expected, by the declared error of the model."""
        return self.low if self.model_low is None else self.model_low

    @property
    def of_model(self) -> Provenance:
        """The same with the error that the model declares, and without what a board as built adds."""
        return replace(
            self,
            low=self.low_of_model,
            high=self.high if self.model_high is None else self.model_high,
            nearly_notch=self.nearly_notch if self.model_nearly is None else self.model_nearly,
        )

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

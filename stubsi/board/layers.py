"""Owns the layers of a board: copper layers, dielectric layers, and the mean laminate of several dielectrics."""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING, Literal, TypeAlias

from stubsi.checks import checked_name, one_of, text_or_blank
from stubsi.errors import BoardError, ValidityError
from stubsi.number_rules import DF_RULE, DK_RULE
from stubsi.physics.dielectric import F_HIGH, F_LOW, debye_terms
from stubsi.plausibility import COPPER_THICKNESS, DF, DIELECTRIC_THICKNESS, DK
from stubsi.unit_errors import as_shown
from stubsi.units import show
from stubsi.value import Converted, Dimension, OptionalDimension, Value, optional_number, value_object

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.units import NumberArray

Role: TypeAlias = Literal["signal", "plane", "mixed"]
"""Role of a copper layer.

"mixed" is a plane only around the holes whose padstack states an antipad on that layer.
"""
ROLES: tuple[Role, ...] = ("signal", "plane", "mixed")


@value_object
class CopperLayer(Value):
    """A copper layer.

    Parameters
    ----------
    name : str
        Unique in the stackup, like "L1".
    thickness : length
        Finished thickness, plating included.
    role : {"signal", "plane", "mixed"}
        "mixed" is a plane only around the padstacks that state an antipad on it.

    Raises
    ------
    UnitError, BoardError
        Thickness not a positive length; blank name; unknown role.

    Examples
    --------
    >>> CopperLayer(name="L2", thickness="18 um", role="plane").thickness_si
    1.8e-05
    """

    name: str
    thickness: Dimension = Dimension("length", usual=COPPER_THICKNESS)
    thickness_si: float = field(init=False)
    role: Role = "signal"

    def __post_init__(self) -> None:
        if not isinstance(self.name, str) or not self.name.strip():
            raise BoardError(f"copper layer name = {as_shown(self.name)}: must be a name like 'L1'.")
        checked_name(self.name, "copper layer name")
        one_of(self.role, f"copper layer {self.name} role", ROLES)


@value_object
class DielectricLayer(Value):
    """A laminate layer. If ``dk`` or ``df`` is not given, it stays unknown until the user gives it.

    Parameters
    ----------
    thickness : length
        Finished thickness, as pressed.
    dk : float, optional
        Relative permittivity [-] along z (the data-sheet value, unless the sheet says otherwise).
    df : float, optional
        Loss tangent [-]. If it is unknown, the layer counts as lossless. That moves the notch by less than 0.02 %, but
        the depth of the notch is then wrong, and the worst losses, which a verdict rests on, allow for 0.03.
    dk_in_plane : float, optional
        Relative permittivity [-] in the plane of the glass, which the radial field of a barrel sees.
    at : frequency, optional
        Frequency at which ``dk`` and ``df`` hold. At other frequencies they follow the wideband Debye model. If the
        frequency is unknown, they are constant over frequency.
    material : str
        What it is; blank where it is not stated.
    source : str
        Where the numbers are from; blank where it is not stated.

    Raises
    ------
    UnitError, BoardError
        A number that is zero, negative, not finite or written as text; a Dk below 1; a loss tangent of 1 or more; a
        frequency outside 1 kHz to 1 THz, or a loss tangent there that the wideband Debye model does not have; a
        material or source that is not a text, or is blanks only.

    Examples
    --------
    >>> core = DielectricLayer(thickness="0.2 mm", dk=3.6, df=0.004, at="10 GHz", material="core", source="data sheet")
    >>> print(core.thickness.to("thou").round(2))
    7.87 thou
    """

    thickness: Dimension = Dimension("length", usual=DIELECTRIC_THICKNESS)
    thickness_si: float = field(init=False)
    dk: Converted[NumberArray | None, float | None] = optional_number(DK_RULE, DK)
    df: Converted[NumberArray | None, float | None] = optional_number(DF_RULE, DF)
    dk_in_plane: Converted[NumberArray | None, float | None] = optional_number(DK_RULE, DK)
    at: OptionalDimension = OptionalDimension("frequency")
    at_si: float | None = field(init=False)
    material: str = ""
    source: str = ""

    def __post_init__(self) -> None:
        self._check_dispersion()
        text_or_blank(self.material, "dielectric layer material")
        text_or_blank(self.source, "dielectric layer source")

    def _check_dispersion(self) -> None:
        """Refuse values for which there is no wideband Debye model, which the layer follows over frequency."""
        if self.at_si is None:
            return
        if not F_LOW <= self.at_si <= F_HIGH:
            raise BoardError(
                f"dielectric layer at = {show(self.at_si, 'frequency')}: must lie between 1 kHz and 1 THz, or be left "
                f"out."
            )
        try:
            debye_terms(1.0, self.df or 0.0, self.at_si)
        except ValidityError:
            raise BoardError(
                f"dielectric layer df = {self.df:g}: so high a loss tangent at {show(self.at_si, 'frequency')} would "
                f"make its Dk negative at 1 THz; check it, or leave out at."
            ) from None

    @property
    def radial_dk(self) -> float | None:
        """Relative permittivity [-] that the radial field sees: ``dk_in_plane`` where it is known, otherwise ``dk``."""
        return self.dk if self.dk_in_plane is None else self.dk_in_plane


@value_object
class Laminate(Value):
    """Mean laminate between two depths.

    Parameters
    ----------
    dk, df : float
        Means of relative permittivity [-] and loss tangent [-], weighted by thickness.
    at_si : float or None
        Frequency [Hz] at which both hold; None: they are constant over frequency.
    assumed : tuple of str
        What was assumed where a value of the layers is unknown, in words.
    """

    dk: float
    df: float
    at_si: float | None
    assumed: tuple[str, ...]


def assumed_of(dielectrics: Sequence[DielectricLayer]) -> tuple[str, ...]:
    """What is assumed where some of these layers have an unknown value, in words.

    Parameters
    ----------
    dielectrics : sequence of DielectricLayer
        The layers.

    Returns
    -------
    tuple of str
        One text for each assumption.
    """
    in_plane = [layer.dk_in_plane is not None for layer in dielectrics]
    assumed = ["in-plane Dk" if all(in_plane) else "in-plane Dk where known" if any(in_plane) else "z-axis Dk"]
    if any(layer.df is None for layer in dielectrics):
        assumed.append("unknown loss tangent as lossless")
    if any(layer.at_si is None for layer in dielectrics):
        assumed.append("Dk of unknown frequency as constant")
    return tuple(assumed)

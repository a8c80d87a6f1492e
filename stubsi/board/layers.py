"""Owns the layers of a board: copper and dielectric, and the mean of several dielectrics."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, TypeAlias

from stubsi.errors import BoardError
from stubsi.unit_errors import as_shown
from stubsi.units import DF_RULE, DK_RULE, one_number
from stubsi.value import Dimension, OptionalDimension, Value, one_of, text_or_blank

if TYPE_CHECKING:
    from collections.abc import Sequence

Role: TypeAlias = Literal["signal", "plane", "mixed"]
"""What a copper layer is to a hole: no plane, a plane, or a plane only where a padstack states an antipad on it."""
ROLES: tuple[Role, ...] = ("signal", "plane", "mixed")


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
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
    """

    name: str
    thickness: Dimension = Dimension("length")
    thickness_si: float = field(init=False)
    role: Role = "signal"

    def __post_init__(self) -> None:
        if not isinstance(self.name, str) or not self.name.strip():
            raise BoardError(f"copper layer name = {as_shown(self.name)}: must be a name like 'L1'.")
        one_of(self.role, f"copper layer {self.name} role", ROLES)


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class DielectricLayer(Value):
    """A laminate layer. ``dk`` and ``df`` not given are unknown and stay so until the caller supplies them.

    Parameters
    ----------
    thickness : length
        Finished thickness, as pressed.
    dk : float, optional
        Relative permittivity [-] along z (the data-sheet value, unless the sheet says otherwise).
    df : float, optional
        Loss tangent [-]. Unknown counts as lossless: that moves the notch by less than 0.02 %, but its depth is wrong.
    dk_in_plane : float, optional
        Relative permittivity [-] in the plane of the glass, which the radial field of a barrel sees.
    at : frequency, optional
        Frequency of ``dk`` and ``df``; over frequency they then follow the wideband Debye model. Unknown: they are
        constant over frequency.
    material : str
        What it is; blank where it is not stated.
    source : str
        Where the numbers are from; blank where it is not stated.

    Raises
    ------
    UnitError, BoardError
        A number that is zero, negative, not finite or written as text; a Dk below 1; a loss tangent of 1 or more; a
        material or source that is no text.
    """

    thickness: Dimension = Dimension("length")
    thickness_si: float = field(init=False)
    dk: float | None = None
    df: float | None = None
    dk_in_plane: float | None = None
    at: OptionalDimension = OptionalDimension("frequency")
    at_si: float | None = field(init=False)
    material: str = ""
    source: str = ""

    def __post_init__(self) -> None:
        for name, rule in (("dk", DK_RULE), ("dk_in_plane", DK_RULE), ("df", DF_RULE)):
            value = getattr(self, name)
            if value is not None:
                self.__dict__[name] = one_number(value, f"dielectric layer {name}", rule=rule)
        text_or_blank(self.material, "dielectric layer material")
        text_or_blank(self.source, "dielectric layer source")

    @property
    def radial_dk(self) -> float | None:
        """Relative permittivity [-] that the radial field sees: the in-plane value where known, else ``dk``."""
        return self.dk if self.dk_in_plane is None else self.dk_in_plane


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class Laminate(Value):
    """Mean laminate between two depths.

    Parameters
    ----------
    dk, df : float
        Means of relative permittivity [-] and loss tangent [-], weighted by thickness.
    at_si : float or None
        Frequency [Hz] of both; None: constant over frequency.
    assumed : tuple of str
        What was assumed where the layers leave a value open, in words.
    """

    dk: float
    df: float
    at_si: float | None
    assumed: tuple[str, ...]


def assumed_of(dielectrics: Sequence[DielectricLayer]) -> tuple[str, ...]:
    """What is assumed where some of these layers leave a value open, in words."""
    in_plane = [layer.dk_in_plane is not None for layer in dielectrics]
    assumed = ["in-plane Dk" if all(in_plane) else "in-plane Dk where known" if any(in_plane) else "z-axis Dk"]
    if any(layer.df is None for layer in dielectrics):
        assumed.append("unknown loss tangent as lossless")
    if any(layer.at_si is None for layer in dielectrics):
        assumed.append("Dk of unknown frequency as constant")
    return tuple(assumed)

"""Owns what a tolerance belongs to: everything, the dielectrics of one material, or the holes of one padstack."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, TypeAlias

from stubsi.board.names import refuse_repeats, shortened
from stubsi.checks import checked, pairs, text_or_blank
from stubsi.errors import BoardError
from stubsi.tolerance.thickness_class import ThicknessClass
from stubsi.tolerance.tolerance import LimitUnit, Tolerance

if TYPE_CHECKING:
    from collections.abc import Callable

ALL = ""
"""Stands for every material in place of the name of one."""

OneOrByMaterial: TypeAlias = "Tolerance | ThicknessClass | Mapping[str, Tolerance | ThicknessClass] | None"
"""A tolerance of all dielectrics, or by material, as users give it."""
ByMaterial: TypeAlias = "tuple[tuple[str, Tolerance | ThicknessClass], ...]"
"""Tolerances by material, in order of name; ``ALL`` for all materials."""


def by_material(units: tuple[LimitUnit, ...], *, classes: bool) -> Callable[[OneOrByMaterial, str], ByMaterial]:
    """Converter of a tolerance that materials may have for themselves.

    Parameters
    ----------
    units : tuple of {"length", "percent", "number"}
        What it may be stated in.
    classes : bool
        Whether it may be a class of thickness.

    Returns
    -------
    callable
    """

    def convert(value: OneOrByMaterial, what: str) -> ByMaterial:
        if value is None:
            return ()
        given = pairs(value, what) if isinstance(value, (Mapping, tuple)) else ((ALL, value),)
        kept: list[tuple[str, Tolerance | ThicknessClass]] = []
        for material, each in given:
            name = text_or_blank(material, f"{what} material")
            if classes and isinstance(each, ThicknessClass):
                kept.append((name, each))
            else:
                kept.append(
                    (name, _with_unit(checked(each, f"{what} {shortened(name)}".strip(), Tolerance), what, units))
                )
        refuse_repeats(f"{what} material", [name for name, _ in kept])
        return tuple(sorted(kept, key=lambda pair: pair[0]))

    return convert


def one(*units: LimitUnit) -> Callable[[Tolerance | None, str], Tolerance | None]:
    """Converter of a tolerance of the board.

    Parameters
    ----------
    *units : {"length", "percent", "number"}
        What it may be stated in.

    Returns
    -------
    callable
    """

    def convert(value: Tolerance | None, what: str) -> Tolerance | None:
        return None if value is None else _with_unit(checked(value, what, Tolerance), what, units)

    return convert


def _with_unit(tolerance: Tolerance, what: str, units: tuple[LimitUnit, ...]) -> Tolerance:
    if tolerance.plus.unit not in units:
        raise BoardError(f"{what} = +{tolerance.plus} / -{tolerance.minus}: must be stated as {' or '.join(units)}.")
    return tolerance


OneOrByPadstack: TypeAlias = "Tolerance | Mapping[str, Tolerance] | None"
"""A tolerance of all padstacks, or by the name of the padstack, as users give it."""
ByPadstack: TypeAlias = "Tolerance | tuple[tuple[str, Tolerance], ...] | None"
"""The same as it is kept: one of all padstacks, or pairs in order of name, ``ALL`` for all that none names."""


def by_padstack(*units: LimitUnit) -> Callable[[OneOrByPadstack, str], ByPadstack]:
    """Converter of a tolerance that padstacks may have for themselves.

    Parameters
    ----------
    *units : {"length", "percent", "number"}
        What it may be stated in.

    Returns
    -------
    callable
    """

    def convert(value: OneOrByPadstack, what: str) -> ByPadstack:
        if value is None or isinstance(value, Tolerance):
            return None if value is None else _with_unit(value, what, units)
        if not isinstance(value, (Mapping, tuple)):
            return checked(value, what, Tolerance)
        kept = []
        for padstack, each in pairs(value, what):
            name = text_or_blank(padstack, f"{what} padstack")
            tolerance = checked(each, f"{what} {shortened(name)}".strip(), Tolerance)
            kept.append((name, _with_unit(tolerance, what, units)))
        refuse_repeats(f"{what} padstack", [name for name, _ in kept])
        if [name for name, _ in kept] == [ALL]:
            return kept[0][1]
        return tuple(sorted(kept, key=lambda pair: pair[0])) or None

    return convert


def of_padstacks(given: ByPadstack) -> tuple[tuple[str, Tolerance], ...]:
    """Pairs of padstack and tolerance; ``ALL`` for all that none names.

    Parameters
    ----------
    given : ByPadstack

    Returns
    -------
    tuple of (str, Tolerance)
        Empty where there is none.
    """
    return () if given is None else ((ALL, given),) if isinstance(given, Tolerance) else given

"""Owns the frozen value object: dimensioned fields, comparison, hash, print and copy by its fields.

A dimensioned field is written in two lines. The first is what users give and get back, the second is the float that
the library calculates with::

    drill: Dimension = Dimension("length")
    drill_si: float = field(init=False)

``Padstack(drill="0.3 mm")`` takes text or a pint quantity; ``padstack.drill`` is a quantity in millimetres and
``padstack.drill_si`` a float in metres.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import Field, fields
from functools import cache
from typing import TYPE_CHECKING, Any, ClassVar, Self, TypeVar, overload

from stubsi.errors import BoardError, UnitError
from stubsi.unit_names import EXAMPLE
from stubsi.units import one_si, quantity, show

if TYPE_CHECKING:
    from stubsi.unit_names import Kind
    from stubsi.units import Dimensioned, Quantity, Rule

Item = TypeVar("Item")


class InSI(float):
    """A float that is in the SI unit of its kind already: what the library itself gives to a dimensioned field."""

    __slots__ = ()


class _Dimension:
    """What a dimensioned field with and without a value that may be missing share."""

    def __init__(self, kind: Kind, *, rule: Rule = "positive") -> None:
        self.kind, self.rule = kind, rule

    def __set_name__(self, owner: type, name: str) -> None:
        self.name, self.si_name, self.shown_name = name, name + "_si", f"{owner.__name__} {name}"

    def _si(self, value: Dimensioned | InSI) -> float:
        if isinstance(value, InSI):
            return float(f"{value:.14g}")
        return one_si(value, self.kind, self.shown_name, rule=self.rule)


class Dimension(_Dimension):
    """A dimensioned field that must be given: takes text or a quantity, gives a quantity."""

    @overload
    def __get__(self, instance: None, owner: type) -> Self: ...
    @overload
    def __get__(self, instance: object, owner: type) -> Quantity: ...
    def __get__(self, instance: object | None, owner: type) -> Self | Quantity:
        if instance is None:
            raise AttributeError(self.name)
        return quantity(instance.__dict__[self.si_name], self.kind)

    def __set__(self, instance: object, value: Dimensioned | InSI) -> None:
        if value is None:
            raise UnitError(f"{self.shown_name} is missing: give it as text like '{EXAMPLE[self.kind]}'.")
        instance.__dict__[self.si_name] = self._si(value)


class OptionalDimension(_Dimension):
    """A dimensioned field that may be left out; None stands for unknown."""

    def __get__(self, instance: object | None, owner: type) -> Quantity | None:
        si = None if instance is None else instance.__dict__[self.si_name]
        return None if si is None else quantity(si, self.kind)

    def __set__(self, instance: object, value: Dimensioned | InSI | None) -> None:
        instance.__dict__[self.si_name] = None if value is None else self._si(value)


class Value:
    """Base of the frozen keyword-only dataclasses; two are equal if their fields are, whatever unit they came in."""

    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]

    def __post_init__(self) -> None:
        """Check and complete the fields."""

    def replaced(self, **changes: Any) -> Self:
        """Copy with some fields changed. The other fields are kept as they are, not read from text again.

        Parameters
        ----------
        **changes
            New values by field name, as the constructor takes them.

        Returns
        -------
        Same type as this object.
        """
        copy = object.__new__(type(self))
        own = copy.__dict__
        own.update({name: self.__dict__[name] for name in kept_names(type(self))})
        for name, value in changes.items():
            if name not in self.__dataclass_fields__ or not self.__dataclass_fields__[name].init:
                raise TypeError(f"{type(self).__name__} has no field '{name}' that can be given.")
            object.__setattr__(copy, name, value)
        copy.__post_init__()
        return copy

    def _key(self) -> tuple[Any, ...]:
        own = self.__dict__
        return tuple([own[name] for name in kept_names(type(self))])

    def __eq__(self, other: object) -> bool:
        return self is other or (type(self) is type(other) and self._key() == other._key())  # type: ignore[attr-defined]

    def __hash__(self) -> int:
        own = self.__dict__
        if "_hash" not in own:
            own["_hash"] = hash((type(self), self._key()))
        return int(own["_hash"])

    def __getstate__(self) -> dict[str, Any]:
        """Everything but what was remembered: hashes of text differ from process to process."""
        return {name: value for name, value in self.__dict__.items() if name not in ("_hash", "_memo")}

    def __repr__(self) -> str:
        shown = []
        for item in fields(self):
            dimension = type(self).__dict__.get(item.name)
            if isinstance(dimension, _Dimension):
                si = self.__dict__[dimension.si_name]
                shown.append(f"{item.name}=" + (f"'{show(si, dimension.kind, 14)}'" if si is not None else "None"))
            elif item.repr and item.init:
                shown.append(f"{item.name}={getattr(self, item.name)!r}")
        return f"{type(self).__name__}({', '.join(shown)})"


@cache
def kept_names(cls: type[Value]) -> tuple[str, ...]:
    """Names of the fields as an object of this class keeps them: SI floats in place of dimensioned fields."""
    return tuple(
        name
        for name, item in cls.__dataclass_fields__.items()
        if not isinstance(cls.__dict__.get(name), _Dimension) and (item.init or name.endswith("_si"))
    )


def sequence(value: Iterable[Item], what: str, of: type[Item] = str) -> tuple[Item, ...]:  # type: ignore[assignment]
    """Take a list as a tuple; BoardError unless it is a list and every item an ``of`` (and, if text, not blank)."""
    if isinstance(value, (str, Mapping)) or not isinstance(value, Iterable):
        raise BoardError(f"{what} = {value!r}: must be a list of {'names' if of is str else of.__name__ + 's'}.")
    items = tuple(value)
    for item in items:
        checked(item, what, of)
    return items


def pairs(value: Any, what: str) -> tuple[tuple[Any, Any], ...]:
    """Take a mapping, or a list of pairs, as pairs; BoardError if it is neither."""
    items = tuple(value.items()) if isinstance(value, Mapping) else sequence(value, what, tuple)
    if any(len(item) != 2 for item in items):
        raise BoardError(f"{what} = {value!r}: must be a mapping.")
    return items


def checked(value: Item, what: str, of: type[Item] = str) -> Item:  # type: ignore[assignment]
    """Return ``value``; BoardError unless it is an ``of`` (and, if text, not blank)."""
    if not isinstance(value, of) or (of is str and not str(value).strip()):
        wanted = {str: "a text that is not blank", bool: "True or False"}.get(of, f"a {of.__name__}")
        raise BoardError(f"{what} = {value!r}: must be {wanted}.")
    return value

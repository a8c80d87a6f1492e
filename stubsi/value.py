"""Owns the frozen value object: fields with a dimension, fields that are converted, comparison, hash, print and copy.

A field with a dimension is written in two lines. The first declares what users give and get back. The second declares
the float that the library calculates with::

    drill: Dimension = Dimension("length")
    drill_si: float = field(init=False)

``Padstack(drill="0.3 mm")`` takes text or a pint quantity; ``padstack.drill`` is a quantity in millimetres and
``padstack.drill_si`` a float in metres.

A field that takes more types than it keeps names both, and the function that converts::

    layers: Converted[Iterable[str], tuple[str, ...]] = Converted(names, default=())
"""

from __future__ import annotations

from dataclasses import MISSING, Field, dataclass, field, fields
from enum import StrEnum
from typing import TYPE_CHECKING, Any, ClassVar, Generic, Self, TypeVar, dataclass_transform, overload

from stubsi.errors import UnitError
from stubsi.plausibility import warn_if_unusual
from stubsi.unit_names import EXAMPLE
from stubsi.units import one_number, one_si, quantity, show

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from dataclasses import _MISSING_TYPE

    import numpy as np

    from stubsi.number_rules import Rule
    from stubsi.plausibility import Usual
    from stubsi.unit_names import Kind
    from stubsi.units import Dimensioned, NumberArray, Quantity

Item = TypeVar("Item")
Key = TypeVar("Key")
Scalar = TypeVar("Scalar", bound="np.generic")
Given_contra = TypeVar("Given_contra", contravariant=True)
Kept_co = TypeVar("Kept_co", covariant=True)


LONGEST_REPR = 199
"""Most characters of a value in print."""


class InSI(float):
    """A float in the SI unit of its kind. The library itself gives it to a dimensioned field; users give text."""

    __slots__ = ()


class SIField:
    """Base of the fields that are kept in SI units under their name with ``_si`` added.

    Parameters
    ----------
    kind : str
        Kind of the value, a key of ``unit_names.UNITS``.
    rule : str
        Condition on the number, one of ``units.Rule``.
    usual : Usual, optional
        Bounds outside of which a warning is given.
    """

    def __init__(self, kind: Kind, *, rule: Rule = "positive", usual: Usual | None = None) -> None:
        self.kind, self.rule, self.usual = kind, rule, usual

    def __set_name__(self, owner: type, name: str) -> None:
        self.name, self.si_name, self.shown_name = name, name + "_si", f"{owner.__name__} {name}"

    def to_si(self, value: Dimensioned | InSI, shown_name: str) -> float:
        """Convert one value to SI units.

        Parameters
        ----------
        value : str, pint.Quantity or InSI
            The value.
        shown_name : str
            Name for the error text.

        Returns
        -------
        float

        Raises
        ------
        UnitError
            The value has no unit or a wrong one, or breaks the rule of the field.

        Warns
        -----
        PlausibilityWarning
            The value is not usual.
        """
        si = self._to_si(value, shown_name)
        if self.usual is not None:
            warn_if_unusual(si, self.usual, shown_name)
        return si

    def _to_si(self, value: Dimensioned | InSI, shown_name: str) -> float:
        if isinstance(value, InSI):
            return float(f"{value:.14g}")
        return one_si(value, self.kind, shown_name, rule=self.rule)

    def text(self, si: Any) -> str:
        """Python code of what is kept, for ``repr``.

        Parameters
        ----------
        si : float or None
            What is kept, in SI units. Subclasses keep several floats.

        Returns
        -------
        str
        """
        return "None" if si is None else f"'{show(si, self.kind, 14)}'"


class Dimension(SIField):
    """A dimensioned field that must be given. It takes a text or a quantity, and it returns a quantity."""

    @overload
    def __get__(self, instance: None, owner: type) -> Self: ...
    @overload
    def __get__(self, instance: object, owner: type) -> Quantity: ...
    def __get__(self, instance: object | None, owner: type) -> Self | Quantity:
        if instance is None:
            raise AttributeError(self.name)  # the field has no default
        return quantity(instance.__dict__[self.si_name], self.kind)

    def __set__(self, instance: object, value: Dimensioned | InSI) -> None:
        if value is None:
            raise UnitError(f"{self.shown_name} is missing: give it as text like '{EXAMPLE[self.kind]}'.")
        instance.__dict__[self.si_name] = self.to_si(value, self.shown_name)


class OptionalDimension(SIField):
    """A dimensioned field that may be left out; None stands for unknown."""

    def __get__(self, instance: object | None, owner: type) -> Quantity | None:
        si = None if instance is None else instance.__dict__[self.si_name]
        return None if si is None else quantity(si, self.kind)

    def __set__(self, instance: object, value: Dimensioned | InSI | None) -> None:
        instance.__dict__[self.si_name] = None if value is None else self.to_si(value, self.shown_name)


class Converted(Generic[Given_contra, Kept_co]):
    """A field that takes values of one type and converts them to another type, which it keeps.

    Parameters
    ----------
    convert : callable
        Converts the given value. Its arguments are that value and the name for error texts, like "hole U1.A4
        connects".
    default : optional
        What is kept if no value is given. Without a default the field must be given.
    """

    def __init__(
        self, convert: Callable[[Given_contra, str], Kept_co], *, default: Kept_co | _MISSING_TYPE = MISSING
    ) -> None:
        self.convert, self.default = convert, default

    def __set_name__(self, owner: type, name: str) -> None:
        self.name, self.title = name, _words(owner.__name__)

    @overload
    def __get__(self, instance: None, owner: type) -> Self: ...
    @overload
    def __get__(self, instance: object, owner: type) -> Kept_co: ...
    def __get__(self, instance: object | None, owner: type) -> Self | Kept_co:
        if instance is not None:
            kept: Kept_co = instance.__dict__[self.name]
            return kept
        if self.default is MISSING:
            raise AttributeError(self.name)  # the field has no default
        return self.default

    def __set__(self, instance: object, value: Given_contra) -> None:
        instance.__dict__[self.name] = self.convert(value, shown_name(instance, self.title, self.name))


def optional_number(rule: Rule, usual: Usual) -> Converted[NumberArray | None, float | None]:
    """A field for a plain number that may be left out; None stands for unknown.

    Parameters
    ----------
    rule : str
        Condition on the number, one of ``units.Rule``.
    usual : Usual
        Bounds outside of which a warning is given.

    Returns
    -------
    Converted
    """

    def convert(value: NumberArray | None, what: str) -> float | None:
        number = None if value is None else one_number(value, what, rule=rule)
        warn_if_unusual(number, usual, what)
        return number

    return Converted(convert, default=None)


def shown_name(instance: object, title: str, field_name: str) -> str:
    """Name of a field for an error text.

    Parameters
    ----------
    instance : object
        The object that has the field.
    title : str
        What the object is, like "hole".
    field_name : str
        Name of the field.

    Returns
    -------
    str
        Like "hole U1.A4 connects", or "stackup layers" where the object has no name.
    """
    name = instance.__dict__.get("name")
    return f"{title} {name} {field_name}" if isinstance(name, str) else f"{title} {field_name}"


def _words(class_name: str) -> str:
    """A class name in lower-case words: "press fit" for PressFit."""
    return "".join(f" {letter.lower()}" if letter.isupper() else letter for letter in class_name).strip()


class Value:
    """Base of the frozen keyword-only dataclasses. Two are equal if their fields are equal in SI units."""

    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]

    def __post_init__(self) -> None:
        """Check and complete the fields."""

    def replaced(self, **changes: Any) -> Self:
        """Make a copy with some fields changed. The other fields are copied as they are and not read from text again.

        Parameters
        ----------
        **changes
            New values by field name, as the constructor takes them.

        Returns
        -------
        Same type as this object.
            The copy.

        Raises
        ------
        TypeError
            There is no such field.
        """
        copy = object.__new__(type(self))
        copy.__dict__.update({name: self.__dict__[name] for name in kept_names(type(self))})
        for name, value in changes.items():
            if name not in self.__dataclass_fields__ or not self.__dataclass_fields__[name].init:
                raise TypeError(f"{type(self).__name__} has no field '{name}' that can be given.")
            object.__setattr__(copy, name, value)
        copy.__post_init__()
        return copy

    def _key(self) -> tuple[Any, ...]:
        kept = self.__dict__
        return tuple([kept[name] for name in kept_names(type(self))])

    def __eq__(self, other: object) -> bool:
        return self is other or (isinstance(other, Value) and type(self) is type(other) and self._key() == other._key())

    def __hash__(self) -> int:
        kept = self.__dict__
        if "_hash" not in kept:
            kept["_hash"] = hash((type(self), self._key()))
        return int(kept["_hash"])

    def __getstate__(self) -> dict[str, Any]:
        """Everything except the remembered hash and results. Hashes of text differ from process to process."""
        return {name: value for name, value in self.__dict__.items() if name not in ("_hash", "_memo")}

    def __repr__(self) -> str:
        """Python code that makes the object again, where that is short; otherwise its beginning."""
        name = type(self).__name__
        arguments = ", ".join(f"{field_name}={text}" for field_name, text in self._arguments())
        code = f"{name}({arguments})"
        return code if len(code) <= LONGEST_REPR else f"<{f'{name} {arguments}'[: LONGEST_REPR - 3]}…>"

    def _arguments(self) -> Iterator[tuple[str, str]]:
        """Names of the fields, and Python code of their values."""
        for item in fields(self):
            declared = type(self).__dict__.get(item.name)
            if isinstance(declared, SIField):
                yield item.name, declared.text(self.__dict__[declared.si_name])
            elif item.repr and item.init:
                value = getattr(self, item.name)
                yield item.name, repr(str(value) if isinstance(value, StrEnum) else value)

    def _repr_html_(self) -> str:
        from stubsi.show.html import fields_html

        return fields_html(self)


_KEPT_NAMES: dict[type[Value], tuple[str, ...]] = {}


@dataclass_transform(
    eq_default=False, kw_only_default=True, frozen_default=True, field_specifiers=(Dimension, Converted, field)
)
def value_object(value_type: type[Item]) -> type[Item]:
    """Make a class derived from ``Value`` a frozen dataclass whose fields are given by keyword.

    Type checkers see which of its fields must be given: those without a default, dimensioned ones among them.

    Parameters
    ----------
    value_type : type
        The class.

    Returns
    -------
    type
        The same class.
    """
    return dataclass(frozen=True, kw_only=True, repr=False, eq=False)(value_type)


def kept_names(value_type: type[Value]) -> tuple[str, ...]:
    """Names of the fields as an object keeps them: the SI floats in place of the dimensioned fields.

    Parameters
    ----------
    value_type : type
        A subclass of ``Value``.

    Returns
    -------
    tuple of str
    """
    if value_type not in _KEPT_NAMES:
        _KEPT_NAMES[value_type] = tuple(
            name
            for name, item in value_type.__dataclass_fields__.items()
            if not isinstance(value_type.__dict__.get(name), SIField) and (item.init or name.endswith("_si"))
        )
    return _KEPT_NAMES[value_type]

"""Owns the plated hole: drill, pads, antipads, span, and what a press-fit pin needs of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from stubsi.errors import BoardError
from stubsi.units import one_si, quantity, show
from stubsi.value import Dimension, OptionalDimension, Value, checked, pairs, sequence


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class Antipad(Value):
    """Clearance in a plane: a round hole of diameter ``width``, or one slot of that width ``shared`` by a pair.

    A shared slot ends in half circles centred on the two barrels.
    """

    width: Dimension = Dimension("length")

    width_si: float = field(init=False)
    shared: bool = False

    def __post_init__(self) -> None:
        checked(self.shared, "antipad shared", bool)


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class PressFit(Value):
    """What a press-fit pin needs of its hole.

    Parameters
    ----------
    side : {"top", "bottom"}
        Face the pin enters from; the outer layer there counts as in use.
    contact_from, contact_to : length
        Depths below that face between which the barrel must stay plated (EN IEC 60352-5: the pin touches part of the
        barrel only).
    pin_length : length, optional
        Depth below that face at which the pin ends, inside the board or beyond it. Unknown: not modelled.
    """

    side: str
    contact_from: Dimension = Dimension("length", rule="not negative")
    contact_from_si: float = field(init=False)
    contact_to: Dimension = Dimension("length")
    contact_to_si: float = field(init=False)
    pin_length: OptionalDimension = OptionalDimension("length")
    pin_length_si: float | None = field(init=False)

    def __post_init__(self) -> None:
        if self.side not in ("top", "bottom"):
            raise BoardError(f"press fit side = {self.side!r}: must be 'top' or 'bottom'.")
        if self.contact_to_si <= self.contact_from_si:
            raise BoardError(
                f"press fit contact_to = {show(self.contact_to_si, 'length')}: must lie deeper than contact_from "
                f"= {show(self.contact_from_si, 'length')}."
            )


@dataclass(frozen=True, kw_only=True, repr=False, eq=False)
class Padstack(Value):
    """Drill, pads and antipads of a plated hole. All diameters; the barrel's outer diameter is the primary drill's.

    Parameters
    ----------
    name : str
    drill : length
        Diameter of the primary drilled hole.
    finished : length, optional
        Diameter after plating.
    pad : length, optional
        Diameter of the pad on every copper layer of the span; None: no pad but where ``pads`` says.
    pads : mapping of layer name to length or None, kept as pairs
        Pads that differ from ``pad``; None: no pad on that layer.
    antipad : length or Antipad, optional
        Clearance in every plane; None: unknown but where ``antipads`` says.
    antipads : mapping of layer name to length or Antipad, kept as pairs
        Clearances that differ from ``antipad``. On a "mixed" layer only these count: without one it is no plane here.
    non_functional_pads : {"kept", "removed"}
        Whether inner pads on layers the net does not use are on the board.
    span : pair of layer names, optional
        First and last copper layer of a blind or buried hole; None: through the whole board.

    Raises
    ------
    UnitError, BoardError
        A diameter that is not a positive length; finished not below drill; pad below drill; drill or pad not below
        antipad.
    """

    name: str
    drill: Dimension = Dimension("length")
    drill_si: float = field(init=False)
    finished: OptionalDimension = OptionalDimension("length")
    finished_si: float | None = field(init=False)
    pad: OptionalDimension = OptionalDimension("length")
    pad_si: float | None = field(init=False)
    pads: Any = field(default=())
    antipad: Any = None
    antipads: Any = field(default=())
    non_functional_pads: str = "kept"
    span: tuple[str, str] | None = None

    def __post_init__(self) -> None:
        own = self.__dict__
        pads = _by_layer(self.pads, f"padstack {checked(self.name, 'padstack name')} pads")
        own["_pads"] = {
            layer: None if pad is None else one_si(pad, "length", f"padstack {self.name} pad on {layer}")
            for layer, pad in pads.items()
        }
        own["pads"] = tuple(
            (layer, None if si is None else show(si, "length", 14)) for layer, si in own["_pads"].items()
        )
        own["antipad"] = None if self.antipad is None else _antipad(self.antipad, f"padstack {self.name} antipad")
        own["antipads"] = tuple(
            (layer, _antipad(a, f"padstack {self.name} antipad on {layer}"))
            for layer, a in _by_layer(self.antipads, f"padstack {self.name} antipads").items()
        )
        own["_antipads"] = dict(self.antipads)
        own["span"] = self._checked_span()
        if self.non_functional_pads not in ("kept", "removed"):
            raise BoardError(
                f"padstack {self.name} non_functional_pads = {self.non_functional_pads!r}: must be 'kept' or 'removed'."
            )
        self._check_diameters()

    def _checked_span(self) -> tuple[str, str] | None:
        if self.span is None:
            return None
        span = sequence(self.span, f"padstack {self.name} span")
        if len(span) != 2:
            raise BoardError(f"padstack {self.name} span = {self.span!r}: must be two layer names, first and last.")
        return span

    def _check_diameters(self) -> None:
        drill = self.drill_si
        if self.finished_si is not None and self.finished_si >= drill:
            self._refuse("finished", self.finished_si, "must be smaller than", "drill", drill)
        for pad in (self.pad_si, *self._pads.values()):
            if pad is not None and pad < drill:
                self._refuse("pad", pad, "must not be smaller than", "drill", drill)
        for layer, antipad in (("", self.antipad), *self._antipads.items()):
            if antipad is None:
                continue
            pad = self._pads.get(layer, self.pad_si) if self.non_functional_pads == "kept" else None
            for what, size in (("drill", drill), ("pad", pad)):
                if size is not None and size >= antipad.width_si:
                    self._refuse(what, size, "must be smaller than", f"antipad {layer}".strip(), antipad.width_si)

    def _refuse(self, what: str, value: float, rule: str, other: str, limit: float) -> None:
        raise BoardError(
            f"padstack {self.name} {what} = {show(value, 'length')}: {rule} {other} = {show(limit, 'length')}."
        )

    def pad_at(self, layer: str, *, in_use: bool, outer: bool) -> float | None:
        """Diameter [m] of the pad on a layer of the span, None if there is none there."""
        if self.non_functional_pads == "removed" and not in_use and not outer:
            return None
        return self._pads.get(layer, self.pad_si)

    def antipad_at(self, layer: str, role: str) -> Antipad | None:
        """Clearance in a plane or mixed layer; None where not stated."""
        return self._antipads.get(layer, self.antipad if role == "plane" else None)


def _antipad(value: Any, name: str) -> Antipad:
    if isinstance(value, Antipad):
        return value
    if isinstance(value, Mapping):
        raise BoardError(f"{name} = {value!r}: give a length, or Antipad(width=..., shared=True) for a slot.")
    return Antipad(width=quantity(one_si(value, "length", name), "length"))


def _by_layer(value: Any, name: str) -> dict[str, Any]:
    """Take a mapping from layer name, or the pairs it is kept as, in order of name; a layer twice is refused."""
    given = pairs(value, name)
    by_layer = {checked(layer, f"{name} layer"): size for layer, size in given}
    if len(by_layer) != len(given):
        raise BoardError(f"{name}: names a layer twice.")
    return dict(sorted(by_layer.items()))

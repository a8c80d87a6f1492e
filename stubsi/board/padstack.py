"""Owns the padstack of a plated hole: drill, pads, antipads and span; and what a press-fit pin needs of its hole."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal, TypeAlias, overload

from stubsi.board.layers import ROLES
from stubsi.board.size_limits import DRILL, check_size
from stubsi.checks import checked, checked_name, names, one_of, pairs
from stubsi.errors import BoardError
from stubsi.plausibility import DRILL as USUAL_DRILL
from stubsi.plausibility import PAD, PIN
from stubsi.unit_errors import as_shown
from stubsi.units import quantity, show
from stubsi.value import Converted, Dimension, InSI, OptionalDimension, SIField, Value, shown_name, value_object

if TYPE_CHECKING:
    from collections.abc import Iterable

    from stubsi.units import Dimensioned, Quantity

    LayerPads: TypeAlias = Mapping[str, Dimensioned | None] | Iterable[tuple[str, Dimensioned | None]]
    """Pads by layer as users give them: diameter, or None for no pad."""

    LayerAntipads: TypeAlias = Mapping[str, "Dimensioned | Antipad"] | Iterable[tuple[str, "Dimensioned | Antipad"]]
    """Clearances by layer as users give them."""

Side: TypeAlias = Literal["top", "bottom"]
"""An outer face of the board."""
SIDES: tuple[Side, ...] = ("top", "bottom")
PadsKept: TypeAlias = Literal["kept", "removed"]
"""Whether inner pads remain on layers that the net does not use."""
PADS_KEPT: tuple[PadsKept, ...] = ("kept", "removed")


@value_object
class Antipad(Value):
    """Clearance in a plane: a round hole, or one slot that both holes of a pair share.

    Parameters
    ----------
    width : length
        Diameter of the round hole, or width of the slot.
    shared : bool
        Whether it is a slot. The ends of a slot are half circles centred on the two barrels.

    Raises
    ------
    UnitError, BoardError
        ``width`` is not a positive length; ``shared`` is neither True nor False.
    """

    width: Dimension = Dimension("length", usual=PAD)
    width_si: float = field(init=False)
    shared: bool = False

    def __post_init__(self) -> None:
        checked(self.shared, "antipad shared", bool)


@value_object
class PressFit(Value):
    """What a press-fit pin needs of its hole.

    Parameters
    ----------
    side : {"top", "bottom"}
        Face where the pin enters; the outer layer there counts as in use.
    contact_from, contact_to : length
        Depths below that face between which the barrel must stay plated (EN IEC 60352-5: the pin touches part of the
        barrel only).
    pin_length : length, optional
        Depth below that face at which the pin ends, inside the board or beyond it. If it is unknown, the pin is not
        modelled.

    Raises
    ------
    UnitError, BoardError
        A depth is not a length, the side is unknown, the contact zone does not end deeper than it begins, or the pin
        ends before the zone does.
    """

    side: Side
    contact_from: Dimension = Dimension("length", rule="not negative", usual=PIN)
    contact_from_si: float = field(init=False)
    contact_to: Dimension = Dimension("length", usual=PIN)
    contact_to_si: float = field(init=False)
    pin_length: OptionalDimension = OptionalDimension("length", usual=PIN)
    pin_length_si: float | None = field(init=False)

    def __post_init__(self) -> None:
        one_of(self.side, "press fit side", SIDES)
        if self.contact_to_si <= self.contact_from_si:
            raise BoardError(
                f"press fit contact_to = {show(self.contact_to_si, 'length')}: must lie deeper than contact_from "
                f"= {show(self.contact_from_si, 'length')}."
            )
        if self.pin_length_si is not None and self.pin_length_si < self.contact_to_si:
            raise BoardError(
                f"press fit pin_length = {show(self.pin_length_si, 'length')}: must not be smaller than contact_to = "
                f"{show(self.contact_to_si, 'length')}, because the pin touches the barrel down to there."
            )


class LengthsByLayer(SIField):
    """A field of lengths by layer name, kept as pairs in order of name. None: there is none on that layer."""

    @overload
    def __get__(self, instance: None, owner: type) -> tuple[()]: ...
    @overload
    def __get__(self, instance: object, owner: type) -> tuple[tuple[str, Quantity | None], ...]: ...
    def __get__(self, instance: object | None, owner: type) -> tuple[tuple[str, Quantity | None], ...]:
        kept = () if instance is None else instance.__dict__[self.si_name]
        return tuple((layer, None if si is None else quantity(si, self.kind)) for layer, si in kept)

    def __set__(self, instance: object, value: LayerPads) -> None:
        what = shown_name(instance, "padstack", self.name)
        instance.__dict__[self.si_name] = tuple(
            (layer, None if length is None else self.to_si(length, f"{what.removesuffix('s')} on {layer}"))
            for layer, length in _by_layer(value, what).items()
        )

    def text(self, si: tuple[tuple[str, float | None], ...]) -> str:
        """Python code of the mapping from layer to length, for ``repr``.

        Parameters
        ----------
        si : tuple of (str, float or None)
            Lengths [m] by layer.

        Returns
        -------
        str
        """
        return "{" + ", ".join(f"{layer!r}: {super(LengthsByLayer, self).text(length)}" for layer, length in si) + "}"


def _antipad(value: Dimensioned | Antipad | None, what: str) -> Antipad | None:
    return None if value is None else _one_antipad(value, what)


def _one_antipad(value: Dimensioned | Antipad, what: str) -> Antipad:
    if isinstance(value, Antipad):
        return value
    if isinstance(value, Mapping):
        raise BoardError(f"{what} = {as_shown(value)}: give a length, or Antipad(width=..., shared=True) for a slot.")
    return Antipad(width=InSI(_WIDTH.to_si(value, what)))


_WIDTH = Dimension("length")


def _antipads(value: LayerAntipads, what: str) -> tuple[tuple[str, Antipad], ...]:
    antipads = _by_layer(value, what).items()
    return tuple((layer, _one_antipad(size, f"{what.removesuffix('s')} on {layer}")) for layer, size in antipads)


def _span(value: Iterable[str] | None, what: str) -> tuple[str, str] | None:
    if value is None:
        return None
    span = names(value, what)
    if len(span) != 2:
        raise BoardError(f"{what} = {as_shown(value)}: must be two layer names, first and last.")
    return span[0], span[1]


@value_object
class Padstack(Value):
    """Drill, pads and antipads of a plated hole.

    All sizes are diameters. The outer diameter of the barrel is that of the primary drill.

    Parameters
    ----------
    name : str
        Unique on the board.
    drill : length
        Diameter of the primary drilled hole.
    finished : length, optional
        Diameter after plating.
    pad : length, optional
        Diameter of the pad on every copper layer of the span. None: there are only the pads in ``pads``.
    pads : mapping of layer name to length or None
        Pads that differ from ``pad``; None: no pad on that layer. Kept as pairs in order of name.
    antipad : length or Antipad, optional
        Clearance in every plane. None: only the clearances in ``antipads`` are known.
    antipads : mapping of layer name to length or Antipad
        Clearances that differ from ``antipad``, kept as pairs in order of name. On a "mixed" layer only these count: a
        "mixed" layer without an entry here is no plane at this hole.
    non_functional_pads : {"kept", "removed"}
        Whether inner pads remain on layers that the net does not use.
    span : pair of layer names, optional
        First and last copper layer of a blind or buried hole; None: through the whole board.

    Raises
    ------
    UnitError, BoardError
        A diameter is not a positive length, the drill is wider than any of a board, ``finished`` is not smaller than
        ``drill``, a pad is smaller than the drill, or drill or pad is not smaller than the antipad.

    Examples
    --------
    >>> Padstack(name="via", drill="0.3 mm", pad="0.5 mm", antipad="0.8 mm").antipad
    Antipad(width='0.8 mm', shared=False)
    """

    name: str
    drill: Dimension = Dimension("length", usual=USUAL_DRILL)
    drill_si: float = field(init=False)
    finished: OptionalDimension = OptionalDimension("length", usual=USUAL_DRILL)
    finished_si: float | None = field(init=False)
    pad: OptionalDimension = OptionalDimension("length", usual=PAD)
    pad_si: float | None = field(init=False)
    pads: LengthsByLayer = LengthsByLayer("length", usual=PAD)
    pads_si: tuple[tuple[str, float | None], ...] = field(init=False)
    antipad: Converted[Dimensioned | Antipad | None, Antipad | None] = Converted(_antipad, default=None)
    antipads: Converted[LayerAntipads, tuple[tuple[str, Antipad], ...]] = Converted(_antipads, default=())
    non_functional_pads: PadsKept = "kept"
    span: Converted[Iterable[str] | None, tuple[str, str] | None] = Converted(_span, default=None)

    def __post_init__(self) -> None:
        checked_name(self.name, "padstack name")
        one_of(self.non_functional_pads, f"padstack {self.name} non_functional_pads", PADS_KEPT)
        self._check_diameters()

    @cached_property
    def _pad_on(self) -> dict[str, float | None]:
        return dict(self.pads_si)

    @cached_property
    def _antipad_on(self) -> dict[str, Antipad]:
        return dict(self.antipads)

    @property
    def every_antipad(self) -> tuple[Antipad, ...]:
        """All clearances that it states: that of every plane, and those of single layers."""
        every = (self.antipad, *self._antipad_on.values())
        return tuple(antipad for antipad in every if antipad is not None)

    def _check_diameters(self) -> None:
        """Refuse diameters that do not lie inside each other: finished, drill, pad, antipad."""
        drill = self.drill_si
        check_size(drill, DRILL, f"padstack {self.name} drill")
        if self.finished_si is not None and self.finished_si >= drill:
            self._refuse("finished", self.finished_si, "must be smaller than", "drill", drill)
        for pad in (self.pad_si, *self._pad_on.values()):
            if pad is not None and pad < drill:
                self._refuse("pad", pad, "must not be smaller than", "drill", drill)
        for layer, antipad in (("", self.antipad), *self.antipads):
            if antipad is None:
                continue
            pad = self._pad_on.get(layer, self.pad_si) if self.non_functional_pads == "kept" else None
            for what, size in (("drill", drill), ("pad", pad)):
                if size is not None and size >= antipad.width_si:
                    self._refuse(what, size, "must be smaller than", f"antipad {layer}".strip(), antipad.width_si)

    def _refuse(self, what: str, value: float, rule: str, other: str, limit: float) -> None:
        raise BoardError(
            f"padstack {self.name} {what} = {show(value, 'length')}: {rule} {other} = {show(limit, 'length')}."
        )

    def pad_at(self, layer: str, *, in_use: bool, outer: bool) -> float | None:
        """Diameter of the pad on a layer of the span.

        Parameters
        ----------
        layer : str
            Name of the copper layer.
        in_use : bool
            Whether the net uses the hole on that layer.
        outer : bool
            Whether it is an outer layer of the board.

        Returns
        -------
        float or None
            Diameter [m]; None where there is no pad.
        """
        checked(layer, "layer")
        kept = checked(in_use, "in_use", bool) or checked(outer, "outer", bool)
        if self.non_functional_pads == "removed" and not kept:
            return None
        return self._pad_on.get(layer, self.pad_si)

    def antipad_at(self, layer: str, role: str) -> Antipad | None:
        """Clearance in a plane or mixed layer.

        Parameters
        ----------
        layer : str
            Name of the copper layer.
        role : {"signal", "plane", "mixed"}
            Role of that layer in the stackup.

        Returns
        -------
        Antipad or None
            None where it is not known.
        """
        one_of(role, "role", ROLES)
        return self._antipad_on.get(checked(layer, "layer"), self.antipad if role == "plane" else None)


def _by_layer(value: object, what: str) -> dict[str, Any]:
    """Convert a mapping from layer name, or pairs, to a mapping in order of name. A layer named twice is refused."""
    layers_and_sizes = pairs(value, what)
    by_layer = {checked(layer, f"{what} layer"): size for layer, size in layers_and_sizes}
    if len(by_layer) != len(layers_and_sizes):
        raise BoardError(f"{what}: names a layer twice.")
    return dict(sorted(by_layer.items()))

"""Owns what the user gives beside an exchange file, because the file cannot say it, and the list of what is missing."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from stubsi.board.criterion import as_criterion
from stubsi.board.layers import ROLES, Role
from stubsi.board.net import STUB_FEEDS
from stubsi.board.padstack import Antipad, PressFit
from stubsi.board.signal import as_signal
from stubsi.checks import checked, one_of, sequence
from stubsi.errors import BoardError, StubsiError, UnitError
from stubsi.files.by_name import ByHole, ByName
from stubsi.number_rules import DK_RULE
from stubsi.unit_errors import as_shown
from stubsi.units import one_number, one_si
from stubsi.value import InSI

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from stubsi.board.criterion import Criterion
    from stubsi.board.net import StubFeedName
    from stubsi.board.signal import Signal
    from stubsi.files.exchange_records import FileRecord
    from stubsi.units import Dimensioned

MOST_NAMED = 4


class Overlay:
    """What the user gives beside the file, converted and checked; and what is still missing.

    Parameters
    ----------
    record : FileRecord
        What the file says.
    signals, z0, reference, dk, roles, pads, antipads, connects, plating, feed, criterion, press_fit, spans, step
        As in ``read_ipc2581``.
    """

    def __init__(
        self,
        record: FileRecord,
        *,
        signals: object,
        z0: object,
        reference: object,
        dk: object,
        roles: object,
        pads: object,
        antipads: object,
        connects: object,
        plating: Dimensioned | None,
        feed: object,
        criterion: object,
        press_fit: object,
        spans: object,
        step: str | None,
    ) -> None:
        self._record = record
        self.signals: ByName[Signal] = ByName(signals, "signals", _signal)
        z0_by_net = z0 if _is_mapping(z0) else {} if z0 is None else {"*": z0}
        self.z0 = ByName(z0_by_net, "z0", lambda value, what: InSI(one_si(value, "impedance", what)))
        self.reference = ByName(dict.fromkeys(_names(reference, "reference"), True), "reference", lambda yes, _: yes)
        self.connects = ByName(connects, "connects", _names)
        self.feed = ByName(feed, "feed", _feed)
        self.press_fit: ByName[PressFit] = ByName(press_fit, "press_fit", _press_fit)
        by_net = _is_mapping(criterion)
        self.board_criterion = None if by_net or criterion is None else _criterion(criterion, "criterion")
        self.criterion = ByName(criterion if by_net else {}, "criterion", _criterion)
        self._dk = ByName(dk, "dk", lambda value, what: one_number(value, what, rule=DK_RULE))
        self._roles = ByName(roles, "roles", _role)
        self.pads = ByHole(pads, "pads", _pad)
        self.antipads = ByHole(antipads, "antipads", _antipad)
        self.step = None if step is None else checked(step, "step")
        self.spans = ByHole(spans, "spans", _span)
        self.plating = None if plating is None else one_si(plating, "length", "plating")
        self.missing: dict[str, list[str]] = {}

    def dk_of(self, layer: str, material: str, written: float | None) -> float | None:
        """Dk of a dielectric layer. The user's value comes before that of the file, by layer before by material.

        Parameters
        ----------
        layer, material : str
        written : float or None
            What the file says [-].

        Returns
        -------
        float or None
            [-]; None: unknown.
        """
        given = self._dk.of(layer)
        if given is None:
            given = self._dk.of(material)
        if given is None:
            if written is None:
                self._record.assume("dielectric layers have no Dk in the file, and it stays unknown; give dk")
            return written
        if written is not None and written != given:
            self._record.assume("dielectric layers have another Dk in the file than the one given, which is used")
        return given

    def role(self, layer: str, written: Role | None, function: str, drawn: Role | None) -> Role:
        """Role of a copper layer: that of the user, or that of the file, or what is drawn on the layer.

        Parameters
        ----------
        layer : str
        written : str or None
            What the file says.
        function : str
            Function of the layer in the file.
        drawn : str or None
            What its copper says.

        Returns
        -------
        str
            "mixed" where nobody says it. That is noted as missing.
        """
        given = self._roles.of(layer)
        if given is None and written is None:
            if drawn is None:
                self.miss("role of layers", f"{layer} ({function})")
            else:
                self._record.assume(f"roles of copper layers are not stated and read from their copper: {drawn}")
        return given or written or drawn or "mixed"

    def gives_role(self, layer: str) -> bool:
        """Whether the user gives the role of a layer.

        Parameters
        ----------
        layer : str

        Returns
        -------
        bool
        """
        return self._roles.of(layer) is not None

    def miss(self, what: str, name: str) -> None:
        """Note that something is missing.

        Parameters
        ----------
        what : str
            A key of ``HOW_TO_GIVE``.
        name : str
            Which one.
        """
        self.missing.setdefault(what, []).append(name)

    def refuse_unused(
        self, nets: Iterable[str], signal_nets: Iterable[str], layers: Iterable[str], components: Iterable[str]
    ) -> None:
        """Refuse whatever the user gave that matches nothing in the file.

        Parameters
        ----------
        nets, signal_nets, layers, components : iterable of str
            Names of nets, of those with a signal, of layers and of components of the file.

        Raises
        ------
        BoardError
        """
        nets, signal_nets = list(nets), list(signal_nets)
        for by_net in (self.signals, self.reference, self.connects):
            by_net.refuse_unused(nets, "net")
        self.feed.refuse_unused(signal_nets, "net with a signal")
        self.criterion.refuse_unused(signal_nets, "net with a signal")
        self.press_fit.refuse_unused(components, "component with a pin in a hole")
        if list(self.z0.items) != ["*"]:
            self.z0.refuse_unused(nets, "signal net")
        self._dk.refuse_unused(layers, "dielectric layer or material")
        self._roles.refuse_unused(layers, "copper layer")
        self.pads.refuse_unused()
        self.antipads.refuse_unused()

    def refuse_other_step(self, name: str) -> None:
        """Refuse a step that the user gives, if the board of the file is another one.

        Parameters
        ----------
        name : str
            Step of the board.

        Raises
        ------
        BoardError
        """
        if self.step is not None and self.step != name:
            raise BoardError(f"step: {as_shown(self.step)} is no step of the file with plated holes; there is {name}.")

    def missing_text(self) -> str:
        """Text of all that is missing, with how to give it; blank where nothing is missing.

        Returns
        -------
        str
        """
        parts = []
        for what, names in self.missing.items():
            more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
            parts.append(f"{what} {', '.join(names[:MOST_NAMED])}{more}: give {HOW_TO_GIVE[what]}")
        return "; ".join(parts)


HOW_TO_GIVE = {
    "role of layers": "roles={'L2': 'plane', 'L3': 'signal'}",
    "impedance of nets": "z0='50 ohm', or z0={'PCIE*': '85 ohm'} (of a pair: differential)",
    "pads of holes": "pads={'0.3 mm': '0.5 mm'} by drill diameter or padstack, or None for no pads",
    "layers in use of holes": "connects={'NET': ['L1', 'L3']}, because no copper of their net is seen to touch them",
    "holes of the other half of pairs": "a file that holds both halves",
}
"""What can be missing, and how it is given."""


def _is_mapping(value: object) -> bool:
    from collections.abc import Mapping as AnyMapping

    return isinstance(value, AnyMapping)


def _names(value: Any, what: str) -> tuple[str, ...]:
    return sequence(value, what)


def _signal(value: Any, what: str) -> Signal:
    try:
        return as_signal(value)
    except UnitError as error:
        raise UnitError(f"{what}: {error}") from None


def _feed(value: Any, what: str) -> StubFeedName:
    one_of(value, what, STUB_FEEDS[1:])
    feed: StubFeedName = value
    return feed


def _press_fit(value: Any, what: str) -> PressFit:
    fit: PressFit = checked(value, what, PressFit)
    return fit


def _criterion(value: Any, what: str) -> Criterion:
    try:
        return as_criterion(value)
    except StubsiError as error:
        raise BoardError(f"{what}: {error}") from None


def _role(value: Any, what: str) -> Role:
    one_of(value, what, ROLES)
    role: Role = value
    return role


def _pad(value: Any, what: str) -> InSI | None:
    return None if value is None else InSI(one_si(value, "length", what))


def _span(value: Any, what: str) -> tuple[str, str]:
    ends = sequence(value, what)
    if len(ends) != 2:
        raise BoardError(f"{what} = {as_shown(value)}: must be two copper layers, the first and the last.")
    return ends[0], ends[1]


def _antipad(value: Any, what: str) -> Antipad | Mapping[str, Any]:
    if isinstance(value, Antipad):
        return value
    if _is_mapping(value):
        return {
            checked(layer, f"{what} layer"): _one_antipad(size, f"{what} on {layer}") for layer, size in value.items()
        }
    return _one_antipad(value, what)


def _one_antipad(value: Any, what: str) -> Antipad:
    return value if isinstance(value, Antipad) else Antipad(width=InSI(one_si(value, "length", what)))

"""Owns the arguments that describe one stub to a check or a budget, and the stub they make."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING, Any, TypedDict

from stubsi.board.net import STUB_FEEDS, ReturnVias
from stubsi.board.padstack import Padstack
from stubsi.board.stackup import Stackup
from stubsi.checks import one_of
from stubsi.errors import StubsiError
from stubsi.margin.single_stub import SolvedSingleStub, UniformSingleStub
from stubsi.plausibility import LINE_IMPEDANCE, usual_si
from stubsi.stubs.uniform_stub import Stub
from stubsi.unit_errors import as_shown
from stubsi.value import InSI

if TYPE_CHECKING:
    from collections.abc import Iterable

    from stubsi.margin.built import Varied
    from stubsi.margin.single_stub import SingleStub
    from stubsi.units import Dimensioned


class StubArguments(TypedDict, total=False):
    """The keywords that describe a stub to ``check_stub`` and ``stub_budget``: a uniform line, or a geometry to solve.

    Each of them may be left out. A uniform line takes the first group, as ``Stub`` does. A solved stub takes
    the second group: ``stackup``, ``padstack`` and ``layer`` at least.

    Attributes
    ----------
    dk_eff : float
        Uniform line: effective relative permittivity [-] of the stub. Or give ``delay``.
    delay : delay per length
        Uniform line: ``"175 ps/in"``, in place of ``dk_eff``.
    z_stub : impedance
        Uniform line: of the stub. Or give ``drill`` and ``antipad``. A criterion on loss needs it.
    drill, antipad : length
        Uniform line: diameters of barrel and clearance. ``drill`` also brings in the skin effect of the barrel.
    df : float
        Uniform line: loss tangent [-].
    at : frequency
        Uniform line: where ``dk_eff`` and ``df`` hold; then they follow the wideband Debye model.
    end_pad : length
        Uniform line: diameter of a pad at the end.
    end_capacitance : capacitance
        Uniform line: at the end, in place of ``end_pad``.
    tolerances : Tolerances
        Uniform line: what varies from board to board, ``board_thickness`` in percent (the length of the stub follows
        it) and ``dk``. Then it passes only if it does at the worst of it. The model's own error is not known, so the
        8 % of the one published comparison stay on top. For a solved stub put it on a board and use ``rank``.
    stackup : Stackup
        Solved stub: the layers it goes through.
    padstack : Padstack
        Solved stub: its drill, pads and antipads.
    layer : str
        Solved stub: the layer in use that it starts at.
    side : {"top", "bottom"}
        Solved stub: towards which side of the board it goes; "bottom" unless given.
    return_vias : ReturnVias
        Solved stub: the return vias around it. Unknown ones make the figures a range.
    pitch : length
        Solved stub: of the pair whose leg this is (odd mode).
    depth_drill : length
        Solved stub: diameter of the drill that ends a stub shorter than the hole. If it is not given, 0.2 mm over the
        primary drill is assumed, and the provenance says so.
    feed : {"", "through", "tee"}
        Solved stub: from where its signal comes, along the barrel ("through") or on the layer at which the stub starts
        ("tee"). Blank or left out: unknown, which makes the figures a range.
    """

    dk_eff: float | None
    delay: Dimensioned | None
    z_stub: Dimensioned | None
    drill: Dimensioned | None
    antipad: Dimensioned | None
    df: float
    at: Dimensioned | None
    end_pad: Dimensioned | None
    end_capacitance: Dimensioned | None
    tolerances: Varied | None
    stackup: Stackup | None
    padstack: Padstack | None
    layer: str | None
    side: str
    return_vias: ReturnVias | None
    pitch: Dimensioned | None
    depth_drill: Dimensioned | None
    feed: str


ARGUMENTS = frozenset(StubArguments.__annotations__)
GEOMETRY = ("stackup", "padstack", "layer", "side", "return_vias", "pitch", "depth_drill", "feed")
"""The arguments of a stub that is solved from its geometry; the others are those of a uniform line."""
GEOMETRY_KINDS = {"stackup": Stackup, "padstack": Padstack, "return_vias": ReturnVias}
NEVER_NONE = ("df", "side", "feed")
"""Arguments for which None does not stand for unknown."""
ANY_LENGTH = InSI(1e-3)
"""Length [m] of the ``Stub`` that holds a uniform line. Any length will do, because only the line itself is used."""
PLAIN = frozenset((str, float, int, type(None)))
"""Types of arguments that may be part of a key, because equal values of them always mean the same. True and 1 are equal
and do not mean the same, so bool is not among them."""
REMEMBERED = 256
"""How many uniform lines are remembered by their arguments. A line that causes a warning is not remembered, so that the
warning comes every time."""
_remembered: dict[tuple[object, ...], SingleStub] = {}


def single_stub(arguments: StubArguments, z0: Dimensioned | None) -> SingleStub:
    """The stub that some arguments describe.

    Parameters
    ----------
    arguments : StubArguments
        As ``check_stub`` takes them.
    z0 : impedance, optional
        Of the line it hangs on.

    Returns
    -------
    SingleStub

    Raises
    ------
    StubsiError, UnitError
        An unknown argument; neither or both ways to describe the stub; values of the wrong kind or out of range.
    """
    if not PLAIN.issuperset(map(type, (z0, *arguments.values()))):
        return _new_stub(arguments, z0)
    key = (z0, *arguments.items())
    stub = _remembered.get(key)
    if stub is None:
        stub = _new_stub(arguments, z0)
        if isinstance(stub, UniformSingleStub) and stub.stub.plausible and LINE_IMPEDANCE.holds(stub.z0):
            _remembered[key] = stub
            while len(_remembered) > REMEMBERED:
                del _remembered[next(iter(_remembered))]
    return stub


def _new_stub(arguments: StubArguments, z0: Dimensioned | None) -> SingleStub:
    """The stub that the arguments describe: solved if a stackup or padstack is among them, else a uniform line."""
    line = None if z0 is None else usual_si(z0, LINE_IMPEDANCE, "z0")
    given: dict[str, Any] = {
        name: value for name, value in arguments.items() if value is not None or name in NEVER_NONE
    }
    if not given.keys() <= ARGUMENTS:
        raise _unknown_argument(given)
    if "side" in given:
        one_of(given["side"], "side", ("top", "bottom"))
    if "feed" in given:
        one_of(given["feed"], "feed", STUB_FEEDS)
    if "stackup" in given or "padstack" in given:
        return _solved_stub(given, line)
    unused = [
        name for name in GEOMETRY if name in given and (name, given[name]) not in (("side", "bottom"), ("feed", ""))
    ]
    if unused:
        raise StubsiError(f"{', '.join(unused)}: need stackup and padstack beside them.")
    given.pop("side", None)
    given.pop("feed", None)
    tolerances = given.pop("tolerances", None)
    return UniformSingleStub(Stub(stub_length=ANY_LENGTH, **given), line, tolerances)


def _solved_stub(given: dict[str, Any], z0: float | None) -> SolvedSingleStub:
    """The stub solved from its geometry; an error where an argument is missing or belongs to a uniform line."""
    if type(given.get("df")) in (int, float) and given["df"] == 0:
        del given["df"]
    if "tolerances" in given:
        raise StubsiError(
            "tolerances: of a solved stub need its board; put it on a Board and use rank(tolerances=...)."
        )
    both = [name for name in given if name not in GEOMETRY]
    if both:
        raise StubsiError(f"give either a uniform line ({', '.join(both)}) or stackup and padstack, not both.")
    missing = [name for name in ("stackup", "padstack", "layer") if name not in given]
    if missing:
        raise StubsiError(f"{', '.join(missing)}: missing; a solved stub needs stackup, padstack and layer.")
    for name, kind in GEOMETRY_KINDS.items():
        if name in given and not isinstance(given[name], kind):
            raise StubsiError(f"{name} = {as_shown(given[name])}: must be a {kind.__name__}.")
    return SolvedSingleStub(**given, z0=z0)


def _unknown_argument(given: Iterable[str]) -> StubsiError:
    name = next(name for name in given if name not in ARGUMENTS)
    near = difflib.get_close_matches(name, sorted(ARGUMENTS), 1)
    hint = f"did you mean {near[0]}?" if near else f"known are {', '.join(StubArguments.__annotations__)}."
    return StubsiError(f"{name}: a stub has no argument of that name; {hint}")

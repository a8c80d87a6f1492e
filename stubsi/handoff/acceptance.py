"""Owns the acceptance plan: a coupon for each drill group, what to measure on it, and the limits it passes between."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from stubsi.checks import checked
from stubsi.drilling.plan import Plan
from stubsi.errors import UnknownValueError
from stubsi.show.notebook import framed
from stubsi.show.schedule import preamble
from stubsi.show.seal import sealed
from stubsi.show.tables import Column, as_csv, as_html
from stubsi.show.text_lines import CAUTION
from stubsi.units import show

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.drilling.drill_group import Group, Hit
    from stubsi.drilling.drilled_hole import State
    from stubsi.stubs.hole_model import HoleModel
    from stubsi.stubs.hole_stub import HoleStub

PRACTICE = (
    "Common practice, no source: a coupon is drilled on the same panel, in the same set-up and with the same drill as "
    "the holes of its group.",
    "Common practice, no source: the residual plating is measured on a microsection through the axis of the hole.",
    "Common practice, no source: the notch is the first deep minimum of the insertion loss of the coupon, with the "
    "lines that lead to it taken off.",
    "The coupon has padstack, layers in use, clearances and return vias of the hole that it stands for.",
    "The frequencies are computed, with the clearances that the drill needs. A coupon that lies below the lowest first "
    "notch has too long a stub, or another laminate than the stackup says.",
)
"""How the list is to be read."""


DRILLED: tuple[State, ...] = ("nominal", "worst")


class Expected(NamedTuple):
    """First notch and 1 dB frequency that a coupon should show.

    Parameters
    ----------
    notch_si : tuple of float or None
        First notch at nominal drilling, and at the longest stub that the tolerances leave [Hz]; None: no stub is left.
    none_below : tuple of bool
        Whether each is only the frequency below which there is none.
    least_notch_si : float or None
        No notch is expected below this, with the declared error of the model [Hz].
    one_db_si : tuple of float or None
        1 dB frequency at nominal drilling, and at the longest stub [Hz]; None: reached nowhere that the model holds.
    model_error : str
        Error of the model, in words.
    unknown : str
        The input without which nothing is expected; blank where all is known.
    """

    notch_si: tuple[float | None, float | None]
    none_below: tuple[bool, bool]
    least_notch_si: float | None
    one_db_si: tuple[float | None, float | None]
    model_error: str
    unknown: str = ""


class Coupon(NamedTuple):
    """The coupon of a drill group.

    Parameters
    ----------
    group : Group
        The drill group.
    hit : Hit
        The hole that it stands for: that with the least room between the longest stub left and the longest permitted.
    sections : tuple of str
        Holes of the board to section as well: that one, and one whose own layer in use is the must-not-cut layer.
    residual_si : tuple of float
        Least and greatest plating that may be left beyond the layer in use [m].
    expected : Expected
        What it should show.
    """

    group: Group
    hit: Hit
    sections: tuple[str, ...]
    residual_si: tuple[float, float]
    expected: Expected


def coupons(plan: Plan) -> tuple[Coupon, ...]:
    """Coupons of a plan, one for each drill group.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    tuple of Coupon
        In the order of the groups.

    Raises
    ------
    StubsiError
        An argument of another type.
    """
    return tuple(_coupon(plan, group) for group in checked(plan, "plan", Plan).groups)


def acceptance_csv(plan: Plan) -> str:
    """Acceptance plan as CSV behind comment lines.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    str
        A row for each drill group, sealed with the digests of the plan and of the text.
    """
    return sealed(as_csv(COLUMNS, coupons(plan), comments=[*preamble(plan), *PRACTICE]))


def coupons_html(rows: Sequence[Coupon]) -> str:
    """Coupons as HTML: what each stands for, what is left, what to measure, and when it passes.

    Parameters
    ----------
    rows : sequence of Coupon
        As ``coupons`` gives them.

    Returns
    -------
    str
    """
    return framed(as_html(SHORT_COLUMNS, rows, foot=[CAUTION], most=len(rows)))


def _coupon(plan: Plan, group: Group) -> Coupon:
    hit = min(group.hits, key=_room)
    own = next((each.hole.name for each in group.hits if each.window.layer == group.layer), hit.hole.name)
    return Coupon(
        group, hit, tuple(dict.fromkeys((hit.hole.name, own))),
        (max(0.0, hit.left.least_si), hit.left.most_si), _expected(plan, hit),
    )  # fmt: skip


def _room(hit: Hit) -> tuple[float, str]:
    """Length [m] between the longest stub left and the longest permitted; then the name, so that the order is fixed."""
    return hit.window.longest_si - hit.left.most_si if math.isfinite(hit.window.longest_si) else math.inf, hit.hole.name


def _expected(plan: Plan, hit: Hit) -> Expected:
    """Notch and 1 dB frequency that a hit should show, at nominal and at worst depth; or why that is not known."""
    try:
        stubs = [_stub_of(plan.hole_model(hit.hole.name, state), hit.side) for state in DRILLED]
    except UnknownValueError as error:
        return Expected((None, None), (False, False), None, (None, None), "", str(error))
    nominal, worst = (None if stub is None else float(stub.models.first_notch[0, 0]) for stub in stubs)
    none_below = [stub is not None and math.isinf(stub.models.first_notch[1, 0]) for stub in stubs]
    z0 = plan.board.net(hit.net).z_stub_line_si
    at_nominal, at_worst = (_one_db(stub, z0) for stub in stubs)
    longest = stubs[1]
    return Expected(
        (nominal, worst), (none_below[0], none_below[1]),
        None if longest is None else float(longest.models.least_notch[0]),
        (at_nominal, at_worst), "" if longest is None else longest.provenance.model_error,
    )  # fmt: skip


def _stub_of(model: HoleModel, side: str) -> HoleStub | None:
    return next((stub for stub in model.stubs if stub.side == side), None)


def _one_db(stub: HoleStub | None, z0: float) -> float | None:
    """Lowest 1 dB frequency of a stub [Hz]; None where nothing is left of it, or the line is unknown."""
    if stub is None or not math.isfinite(z0):
        return None
    found = stub.one_db_frequency(z0=f"{z0!r} ohm").m_as("Hz")
    low = float(found.min() if getattr(found, "ndim", 0) else found)
    return low if math.isfinite(low) else None


def _mm(length: float) -> str:
    return f"{round(1e3 * length, 3) + 0.0:.3f}"


def _ghz(coupon: Coupon, hertz: float | None) -> str:
    """Frequency [GHz]; "unknown", or "none" where no stub is left or 1 dB is not reached."""
    if coupon.expected.unknown:
        return "unknown"
    return "none" if hertz is None else f"{hertz / 1e9:.4g}"


def _notch(coupon: Coupon, state: int) -> str:
    """First notch [GHz], behind ">" where it is only the frequency below which there is none."""
    text = _ghz(coupon, coupon.expected.notch_si[state])
    return f">{text}" if coupon.expected.none_below[state] else text


def _layers(coupon: Coupon) -> str:
    return " ".join(coupon.hit.hole.connects)


def passes_if(coupon: Coupon) -> str:
    """When a coupon passes, in words.

    Parameters
    ----------
    coupon : Coupon

    Returns
    -------
    str
    """
    least, most = coupon.residual_si
    notch = coupon.expected.least_notch_si
    measured = "" if notch is None else f", and the first notch lies at {show(notch, 'frequency')} or higher"
    return (
        f"{coupon.group.layer} is not cut, and {show(least, 'length')} to {show(most, 'length')} of plating are left "
        f"beyond {coupon.hit.window.layer}{measured}"
    )


COLUMNS: tuple[Column[Coupon], ...] = (
    Column("group", lambda each: str(each.group.number)),
    Column("coupon like hole", lambda each: each.hit.hole.name),
    Column("padstack", lambda each: each.hit.hole.padstack.name),
    Column("layers in use", _layers),
    Column("drilled from", lambda each: each.group.side),
    Column("primary drill", lambda each: _mm(each.group.primary_si), unit="mm"),
    Column("depth drill", lambda each: _mm(each.group.drill_si), unit="mm"),
    Column("must-not-cut layer", lambda each: each.group.layer),
    Column("residual plating, least", lambda each: _mm(each.residual_si[0]), unit="mm"),
    Column("residual plating, most", lambda each: _mm(each.residual_si[1]), unit="mm"),
    Column("first notch, nominal", lambda each: _notch(each, 0), unit="GHz"),
    Column("first notch, longest stub", lambda each: _notch(each, 1), unit="GHz"),
    Column("first notch, at least", lambda each: _ghz(each, each.expected.least_notch_si), unit="GHz"),
    Column("1 dB frequency, nominal", lambda each: _ghz(each, each.expected.one_db_si[0]), unit="GHz"),
    Column("1 dB frequency, longest stub", lambda each: _ghz(each, each.expected.one_db_si[1]), unit="GHz"),
    Column("error of the model", lambda each: each.expected.model_error or each.expected.unknown),
    Column("holes to section", lambda each: " ".join(each.sections)),
    Column("passes if", passes_if),
)  # fmt: skip
"""Columns of the acceptance plan, a row for each coupon."""


def _range(low: str, high: str) -> str:
    """Two ends, or one text where they are equal."""
    return low if low == high else f"{low} to {high}"


SHORT_COLUMNS: tuple[Column[Coupon], ...] = (
    Column("group", lambda each: str(each.group.number), align="right"),
    Column("coupon like hole", lambda each: each.hit.hole.name),
    Column("layers in use", _layers),
    Column("drilled from", lambda each: f"{each.group.side}, {_mm(each.group.drill_si)} mm"),
    Column("residual plating", lambda each: _range(*map(_mm, each.residual_si)), unit="mm"),
    Column("first notch, nominal to longest stub", lambda each: _range(_notch(each, 0), _notch(each, 1)), unit="GHz"),
    Column("at least", lambda each: _ghz(each, each.expected.least_notch_si), unit="GHz", align="right"),
    Column("1 dB, longest stub", lambda each: _ghz(each, each.expected.one_db_si[1]), unit="GHz", align="right"),
    Column("section as well", lambda each: ", ".join(each.sections)),
    Column("passes if", passes_if),
)
"""Columns of the acceptance plan where people read it."""

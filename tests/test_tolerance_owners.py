"""Tolerances of one padstack: another drill, clearance or registration than that of the others, in files as well."""

from __future__ import annotations

import pytest

from stubsi import BoardError, FileError, Tolerance, Tolerances, UnknownNameError, corners, rank, read_tolerances
from stubsi.files.tolerance_tables import tolerance_lines
from stubsi.tolerance.built_board import built_board
from tests.test_tolerance_corners import TEST, board, plus_minus

__all__ = ["board"]

OF_VIA = Tolerances(
    drill={"via": plus_minus("80 um"), "post": plus_minus("0.1 mm")}, antipad={"via": plus_minus("0.05 mm")},
    registration={"": Tolerance(plus="0.1 mm", minus="0 mm", source=TEST)},
)  # fmt: skip


def test_each_padstack_has_a_factor_of_its_own(board):
    factors = {factor.name: factor.per_hole for factor in OF_VIA.factors(board)}
    assert factors == {"drill of post": True, "drill of via": True, "antipad of via": False, "registration": False}
    assert "drill of other padstacks" in OF_VIA.exact
    assert "registration of other padstacks" not in OF_VIA.exact
    assert "antipad of via: +0.05 mm / -0.05 mm" in str(OF_VIA)


def test_only_its_holes_are_built_otherwise(board):
    built = built_board(board, OF_VIA, {("drill", "via"): 1.0, ("antipad", "via"): -1.0})
    via, post = built.net("CLK").holes[0].padstack, built.net("GND").holes[0].padstack
    assert (via.drill_si, via.antipad.width_si) == pytest.approx((0.38e-3, 0.85e-3))
    assert post == board.net("GND").holes[0].padstack


@pytest.mark.slow
def test_a_tolerance_of_the_only_padstack_of_a_net_is_that_of_all(board):
    """The reference holes are no wider for it: their drill hardly matters to the uniform line of CLK."""
    of_one, of_all = (
        corners(board, Tolerances(antipad=given))["CLK"].first_notch_si
        for given in ({"via": plus_minus("0.1 mm")}, plus_minus("0.1 mm"))
    )
    assert of_one == pytest.approx(of_all, rel=1e-9)
    assert of_one[1] == pytest.approx(rank(board)["CLK"].first_notch_si, rel=1e-12)


def test_files_hold_them(tmp_path):
    path = tmp_path / "t.toml"
    path.write_text("\n".join(tolerance_lines(OF_VIA)))
    assert 'padstack = "via"' in path.read_text()
    assert read_tolerances(path) == OF_VIA
    path.write_text(path.read_text().replace('"drill"', '"dk"', 1).replace('"0.1 mm"', "0.1"))
    with pytest.raises(FileError, match=r"padstack = .*dk is not of one padstack; leave it out"):
        read_tolerances(path)


def test_what_does_not_fit_is_refused(board):
    with pytest.raises(UnknownNameError, match="padstack"):
        Tolerances(drill={"vai": plus_minus("80 um")}).factors(board)
    with pytest.raises(BoardError, match="registration minus: must be zero"):
        Tolerances(registration={"via": plus_minus("0.1 mm")})
    with pytest.raises(BoardError, match="drill via"):
        Tolerances(drill={"via": "80 um"})

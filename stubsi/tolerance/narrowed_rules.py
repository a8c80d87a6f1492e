"""Owns the rules under tolerances: how much narrower the windows of a plan become by the thickness of the board."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.board.board import Board
from stubsi.checks import checked
from stubsi.drilling.depth_tolerance import DepthTolerance
from stubsi.drilling.rules import FabricatorRules
from stubsi.drilling.side_view import check_layers, side_view
from stubsi.errors import BoardError
from stubsi.tolerance.built_board import built_board
from stubsi.tolerance.tolerances import Tolerances

if TYPE_CHECKING:
    from stubsi.board.stackup import Stackup


def narrowed_rules(rules: FabricatorRules, board: Board, tolerances: Tolerances) -> FabricatorRules:
    r"""The fabricator's rules with a thickness tolerance that is at least that of the board's tolerances.

    Plan with them, so that every window holds for all boards within the tolerances.

    Parameters
    ----------
    rules : FabricatorRules
        As the fabricator states them.
    board : Board
        The board as drawn.
    tolerances : Tolerances
        Of its dielectrics, its copper and its thickness.

    Returns
    -------
    FabricatorRules
        The same rules where the residual stub is guaranteed, because a guarantee includes all tolerances, and where
        their thickness tolerance is wide enough.

    Raises
    ------
    BoardError
        An argument is of another type, a tolerance does not fit the board, the rules name a layer that it does not
        have, or the tolerances leave nothing of a part of the board.

    Notes
    -----
    With z the distance of the near face of a layer from where the depth is counted from (the datum, or the near face of
    the sensed layer), the part that is drilled through may deviate by the largest of :math:`z_{most}/z - 1` and of
    :math:`1 - z_{least}/z` over all layers and sides. All layers are at their limits at once, which is the worst; a
    bound on the thickness of the board is not used. Normal distributions count to their limits.

    Examples
    --------
    >>> from stubsi import Tolerance, read_board, read_rules
    >>> board, rules = read_board("shared/demo_board.toml"), read_rules("shared/demo_rules.toml")
    >>> depth = DepthTolerance(plus="2 mil", minus="2 mil", thickness_plus=0.0, thickness_minus=0.0, reference="face",
    ...                        source="example")
    >>> thick = Tolerances(board_thickness=Tolerance.plus_minus("10 %", source="a fabricator's capability page"))
    >>> print(narrowed_rules(rules.replaced(tolerance=depth), board, thick).tolerance.in_words())
    depth +0.0508 mm / -0.0508 mm, thickness +0.102 / -0.102 of the part drilled through, referenced to face
    """
    checked(rules, "rules", FabricatorRules)
    checked(board, "board", Board)
    checked(tolerances, "tolerances", Tolerances)
    check_layers(board.stackup, rules)
    depth = rules.tolerance
    factors = [each for each in tolerances.factors(board) if each.quantity.endswith("thickness")]
    if not isinstance(depth, DepthTolerance) or not factors:
        return rules
    thick, thin = (
        built_board(board, tolerances, {(each.quantity, each.material): end for each in factors}).stackup
        for end in (1.0, -1.0)
    )
    plus = max(depth.thickness_plus, _largest_change(board.stackup, thick, rules))
    minus = max(depth.thickness_minus, -_largest_change(board.stackup, thin, rules))
    if minus >= 1:
        raise BoardError("tolerances: leave nothing of a part of the board; make the thickness tolerances narrower.")
    if (plus, minus) == (depth.thickness_plus, depth.thickness_minus):
        return rules
    source = f"{depth.source}; thickness by the tolerances of the board"
    return rules.replaced(tolerance=depth.replaced(thickness_plus=plus, thickness_minus=minus, source=source))


def _largest_change(drawn: Stackup, built: Stackup, rules: FabricatorRules) -> float:
    """Largest change of a part that is drilled through, as a fraction; of its own sign where all have the same."""
    changes = []
    for side in dict(rules.sides):
        as_drawn, as_built = side_view(drawn, rules, side), side_view(built, rules, side)
        for before, after in zip(as_drawn.near.tolist(), as_built.near.tolist(), strict=True):
            part = before - as_drawn.sensed
            if part > drawn.copper[0].thickness_si:  # beyond the outer copper, and beyond the sensed layer
                changes.append((after - as_built.sensed) / part - 1)
    return float(f"{max(changes, key=abs, default=0.0):.14g}")

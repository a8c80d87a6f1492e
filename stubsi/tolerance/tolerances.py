"""Owns the tolerances of a board: which values of it have one, and as which independent factors they vary."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.board import Board
from stubsi.board.layers import DielectricLayer
from stubsi.board.names import by_name
from stubsi.checks import checked
from stubsi.errors import BoardError
from stubsi.tolerance.owners import ALL, by_material, by_padstack, of_padstacks, one
from stubsi.tolerance.thickness_class import ThicknessClass
from stubsi.tolerance.tolerance import Tolerance
from stubsi.unit_errors import as_shown
from stubsi.value import Converted, Value, value_object

if TYPE_CHECKING:
    from stubsi.margin.ranking import Ranking
    from stubsi.stubs.model_choice import ModelChoice
    from stubsi.tolerance.owners import ByMaterial, ByPadstack, OneOrByMaterial, OneOrByPadstack


class Factor(NamedTuple):
    """One independent cause of spread.

    Parameters
    ----------
    quantity : str
        What varies: a field of ``Tolerances``.
    material : str
        The material, or the padstack, that it varies in; blank where it is not of one.
    tolerance : Tolerance
        Its distribution. Where several layers of a class share the factor: that of the first of them.
    per_hole : bool
        Whether every hole has a value of its own. Otherwise all the board shares one value.
    """

    quantity: str
    material: str
    tolerance: Tolerance
    per_hole: bool

    @property
    def name(self) -> str:
        """Name for tables, like "dk of low-loss core"."""
        return self.quantity.replace("_", " ") + (f" of {self.material}" if self.material else "")


@value_object
class Tolerances(Value):
    r"""Tolerances of a board, handed to a study beside the board. What has no tolerance here counts as exact.

    Parameters
    ----------
    dielectric_thickness : Tolerance, ThicknessClass, or mapping of material to one of them
        Thickness of the dielectrics, as a length or in percent. A mapping leaves the other materials exact.
    board_thickness : Tolerance
        Thickness of the board, in percent or as a length. If ``dielectric_thickness`` is given it is a bound: boards
        out of it are screened out. Otherwise all dielectrics take the change, each in proportion to its thickness.
    copper_thickness : Tolerance
        Thickness of every copper layer, as a length or in percent.
    dk : Tolerance, or mapping of material to Tolerance
        Dk, as a number or in percent. The Dk in the plane of the glass changes in the same proportion.
    drill : Tolerance, or mapping of padstack name to Tolerance
        Diameter of the primary drilled hole; the finished hole changes by the same length. A mapping leaves the other
        padstacks exact.
    antipad : Tolerance, or mapping of padstack name to Tolerance
        Diameter, or width of a slot, of every clearance in a plane.
    registration : Tolerance, or mapping of padstack name to Tolerance
        How far the centre of a hole lies from the centre of its clearance, as a length: give ``minus`` as zero.

    Raises
    ------
    BoardError
        A tolerance is of another type, or is stated in a unit that does not apply.

    Notes
    -----
    All layers of one material come from one lot and shift together, by the same part of their limits. Different
    materials vary independently; so do thickness and Dk. ``drill`` is drawn for each hole; ``registration`` and
    ``antipad`` are shared by all holes of the panel, or, given by padstack, by all holes of that padstack. What belongs
    to the stackup, to a padstack and to the board stands here together; the depth of a drill stands in the rules.

    An eccentric barrel counts as one in a clearance that is narrower: the coaxial line of equal capacitance, exact for
    two round conductors, :math:`R' = r \exp \operatorname{arcosh}\frac{R^2 + r^2 - d^2}{2Rr}` with r the radius of
    the drill, R that of the clearance and d the offset. Source: the textbook formula of the eccentric coaxial line. For
    a slot it is an estimate. It is applied to every clearance alike.

    Not covered: spread of pads, of plating, of the loss tangent, between layers of one lot, and of positions of return
    vias.
    """

    dielectric_thickness: Converted[OneOrByMaterial, ByMaterial] = Converted(
        by_material(("length", "percent"), classes=True), default=()
    )
    board_thickness: Converted[Tolerance | None, Tolerance | None] = Converted(one("length", "percent"), default=None)
    copper_thickness: Converted[Tolerance | None, Tolerance | None] = Converted(one("length", "percent"), default=None)
    dk: Converted[OneOrByMaterial, ByMaterial] = Converted(
        by_material(("number", "percent"), classes=False), default=()
    )
    drill: Converted[OneOrByPadstack, ByPadstack] = Converted(by_padstack("length", "percent"), default=None)
    antipad: Converted[OneOrByPadstack, ByPadstack] = Converted(by_padstack("length", "percent"), default=None)
    registration: Converted[OneOrByPadstack, ByPadstack] = Converted(by_padstack("length"), default=None)

    def __post_init__(self) -> None:
        if any(each.minus.size > 0 for _, each in of_padstacks(self.registration)):
            raise BoardError("registration minus: must be zero; it is a distance, which is never negative.")

    @property
    def bounded(self) -> bool:
        """Whether the thickness of the board is a bound that built boards are screened by."""
        return self.board_thickness is not None and bool(self.dielectric_thickness)

    @property
    def of_laminate(self) -> bool:
        """Whether Dk and thickness vary. If not, the flat allowance against hardware stays on top of the worst case."""
        return bool(self.dk) and (bool(self.dielectric_thickness) or self.board_thickness is not None)

    def factors(self, board: Board) -> tuple[Factor, ...]:
        """The independent causes of spread of a board, in the order of the fields.

        Parameters
        ----------
        board : Board
            The board as drawn.

        Returns
        -------
        tuple of Factor
            Empty where everything is exact.

        Raises
        ------
        BoardError
            A material is not in the stackup, a class does not list a thickness of it, or a Dk with a tolerance is not
            known.
        """
        checked(board, "board", Board)
        factors = []
        for quantity in _QUANTITIES:
            given = getattr(self, quantity)
            if quantity in _BY_MATERIAL:
                factors += [
                    Factor(quantity, material, tolerance, False)
                    for material, tolerance in _of_materials(board, given, quantity).items()
                ]
            elif quantity in _BY_PADSTACK:
                factors += [
                    Factor(quantity, padstack, tolerance, quantity == "drill")
                    for padstack, tolerance in _of_board(board, given, quantity)
                ]
            elif given is not None and not (quantity == "board_thickness" and self.bounded):
                factors.append(Factor(quantity, "", given, False))
        return tuple(factors)

    def of_layer(self, quantity: str, layer: DielectricLayer) -> Tolerance | None:
        """Tolerance of one dielectric layer.

        Parameters
        ----------
        quantity : {"dielectric_thickness", "dk"}
        layer : DielectricLayer
            The layer as drawn.

        Returns
        -------
        Tolerance or None
            None: it is exact.
        """
        given = dict(getattr(self, quantity))
        tolerance = given.get(layer.material, given.get(ALL))
        return tolerance.tolerance(layer.thickness_si) if isinstance(tolerance, ThicknessClass) else tolerance

    def ranked(self, board: Board, model: ModelChoice) -> Ranking:
        """The ranking of a board over these tolerances; ``rank`` with ``tolerances`` gives it.

        Parameters
        ----------
        board : Board
            As drawn.
        model : ModelChoice
            Electrical model of its stubs.

        Returns
        -------
        Ranking
            Its verdicts hold at the worst of these tolerances.

        Raises
        ------
        BoardError
            As ``corners``.
        """
        from stubsi.tolerance.corners import corners_of

        return corners_of(board, self, model).ranking

    def notch_range(self, dk_eff: float | None) -> tuple[float, float]:
        r"""Lowest and highest first notch of a uniform line, over that of the line as drawn.

        Parameters
        ----------
        dk_eff : float or None
            Its effective permittivity; None where its delay was given.

        Returns
        -------
        tuple of float
            By :math:`f \propto 1 / (L \sqrt{\varepsilon})`: the length follows ``board_thickness`` in percent, the
            permittivity ``dk`` of all materials.

        Raises
        ------
        BoardError
            Something else has a tolerance, which acts on a stackup or a padstack; the Dk falls below 1.
        """
        others = [name for name in _QUANTITIES if getattr(self, name) and name not in ("board_thickness", "dk")]
        if others or dict(self.dk).keys() - {ALL}:
            named = others[0].replace("_", " ") if others else "dk of one material"
            raise BoardError(
                f"tolerances of {named}: a uniform line has no such thing; give board_thickness in percent and dk, or "
                "put the stub on a board and use rank."
            )
        thick, dk = self.board_thickness, dict(self.dk).get(ALL)
        if thick is not None and thick.plus.unit != "percent":
            raise BoardError(f"tolerances board_thickness = +{thick.plus} / -{thick.minus}: state it in percent here.")
        if isinstance(dk, Tolerance) and dk_eff is None and dk.plus.unit != "percent":
            raise BoardError(f"tolerances dk = +{dk.plus} / -{dk.minus}: state it in percent where a delay is given.")
        short, long = (1.0, 1.0) if thick is None else thick.limits(1.0)
        nominal = 1.0 if dk_eff is None else dk_eff
        least, most = (nominal, nominal) if not isinstance(dk, Tolerance) else dk.limits(nominal)
        if dk_eff is not None and least < 1:
            raise BoardError(f"tolerances dk: goes down to {least:g}, below 1, which no material has.")
        return 1 / (long * math.sqrt(most / nominal)), 1 / (short * math.sqrt(least / nominal))

    def of_padstack(self, quantity: str, padstack: str) -> tuple[str, Tolerance | None]:
        """Tolerance of one padstack, and whose it is.

        Parameters
        ----------
        quantity : {"drill", "antipad", "registration"}
            What varies.
        padstack : str
            Name of the padstack.

        Returns
        -------
        owner : str
            The padstack, or ``ALL`` where it has none of its own.
        tolerance : Tolerance or None
            None: it is exact.
        """
        given = dict(of_padstacks(getattr(self, quantity)))
        owner = padstack if padstack in given else ALL
        return owner, given.get(owner)

    @property
    def exact(self) -> tuple[str, ...]:
        """What counts as exact because no tolerance is given, in words."""
        free = [name for name in _QUANTITIES if not getattr(self, name)]
        partly = [f"{name} of other materials" for name in _BY_MATERIAL if dict(getattr(self, name)).keys() - {ALL}]
        by_padstack = {name: dict(of_padstacks(getattr(self, name))) for name in _BY_PADSTACK}
        partly += [f"{name} of other padstacks" for name, of in by_padstack.items() if of and ALL not in of]
        if self.dielectric_thickness and "board_thickness" in free:
            free.remove("board_thickness")
        if self.board_thickness is not None and "dielectric_thickness" in free:
            free.remove("dielectric_thickness")
        return tuple(name.replace("_", " ") for name in (*free, *partly))

    def __str__(self) -> str:
        lines = []
        for quantity in _QUANTITIES:
            given = getattr(self, quantity)
            name = quantity.replace("_", " ")
            if quantity in _BY_MATERIAL:
                lines += [f"{name}{f' of {material}' if material else ''}: {each}" for material, each in given]
            elif quantity in _BY_PADSTACK:
                lines += [f"{name}{f' of {owner}' if owner else ''}: {each}" for owner, each in of_padstacks(given)]
            elif given is not None:
                lines.append(f"{name}: {given}")
        return "\n".join([*lines, f"exact, for want of a tolerance: {', '.join(self.exact) or 'nothing'}"])


_QUANTITIES = (
    "dielectric_thickness", "board_thickness", "copper_thickness", "dk", "drill", "antipad", "registration",
)  # fmt: skip
_BY_MATERIAL = ("dielectric_thickness", "dk")
_BY_PADSTACK = ("drill", "antipad", "registration")


def _of_board(board: Board, given: ByPadstack, quantity: str) -> list[tuple[str, Tolerance]]:
    """Tolerances of the padstacks of a board, each with the name of the padstack; ``ALL`` for all that none names."""
    padstacks = {hole.padstack.name: hole.padstack for net in board.nets for hole in net.holes}
    found = of_padstacks(given)
    for name, _ in found:
        if name != ALL:
            by_name(padstacks, name, "padstack", f"for {quantity} on the board")
    named = {name for name, _ in found}
    return [(name, each) for name, each in found if name != ALL or padstacks.keys() - named or not padstacks]


def _of_materials(board: Board, given: ByMaterial, quantity: str) -> dict[str, Tolerance]:
    """Tolerance of every material that has one; of a class, that of the first layer of the material."""
    dielectrics = [layer for layer in board.stackup.layers if isinstance(layer, DielectricLayer)]
    materials = {layer.material: layer for layer in dielectrics}
    for material, _ in given:
        if material != ALL:
            by_name(materials, material, "material", f"for {quantity.replace('_', ' ')} in the stackup")
    by_material = dict(given)
    of_materials: dict[str, Tolerance] = {}
    for layer in dielectrics:
        tolerance = by_material.get(layer.material, by_material.get(ALL))
        if tolerance is None:
            continue
        if quantity == "dk" and layer.dk is None:
            raise BoardError(f"dk of {as_shown(layer.material)}: is unknown and has a tolerance; give the Dk first.")
        if isinstance(tolerance, ThicknessClass):
            tolerance = tolerance.tolerance(layer.thickness_si)
        of_materials.setdefault(layer.material, tolerance)
    return of_materials

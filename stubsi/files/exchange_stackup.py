"""Owns the stackup of an exchange file: its layers in order, without mask, with Dk and Df where the file says them."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, NamedTuple

from stubsi.board.layers import CopperLayer, DielectricLayer
from stubsi.board.stackup import Stackup
from stubsi.errors import FileError
from stubsi.files.exchange_planes import drawn_role
from stubsi.files.exchange_records import COPPER, DIELECTRIC
from stubsi.files.schema import errors_at
from stubsi.physics.dielectric import F_HIGH, F_LOW
from stubsi.unit_errors import as_shown
from stubsi.units import show
from stubsi.value import InSI

if TYPE_CHECKING:
    from stubsi.board.layers import Role
    from stubsi.files.exchange_overlay import Overlay
    from stubsi.files.exchange_records import (
        FileRecord,
        LayerRecord,
        StackGroup,
        StackLayer,
        StackupRecord,
        StepRecord,
    )

ROLES: dict[str, Role] = {"SIGNAL": "signal", "PLANE": "plane", "MIXED": "mixed"}
"""Role of a copper layer by its function. The other functions, like CONDUCTOR, say no role."""
MOST_GROUPS = 100
"""Most groups of a stackup."""
THICKNESS_AGREES = 0.02
"""How far the sum of the layers may be off the thickness of the whole board before it is mentioned [-]."""


class Placed(NamedTuple):
    """A layer at its place in the stackup, with the specifications of the groups that it lies in."""

    layer: LayerRecord
    place: StackLayer
    outer_specs: list[str]


def stackup_of(record: FileRecord, step: StepRecord, overlay: Overlay) -> Stackup:
    """Make the stackup of a board.

    Parameters
    ----------
    record : FileRecord
        What the file says.
    step : StepRecord
        The board whose stackup is wanted.
    overlay : Overlay
        Dk and roles that the file does not say. What is missing is noted in it.

    Returns
    -------
    Stackup
        From the outer face of the top copper to that of the bottom copper. Mask and other layers outside of them are
        left out and counted.

    Raises
    ------
    FileError
        The file has no stackup, or several of which the board names none; a layer that is referred to is missing or
        appears twice; a thickness is missing; the layers are no stackup.
    """
    chosen = chosen_stackup(record, step)
    placed = _turned(record, _in_order(record, chosen))
    inside = _between_copper(record, chosen, placed)
    layers: list[CopperLayer | DielectricLayer] = []
    for each in inside:
        where = f"{record.name}: line {each.place.line}: layer {each.layer.name}"
        if not each.place.thickness:
            raise FileError(f"{where}: has no thickness, or a thickness of 0.")
        thickness = InSI(each.place.thickness)
        with errors_at(where):
            if _is_copper(each):
                function = each.layer.function
                role = overlay.role(each.layer.name, ROLES.get(function), function, drawn_role(step, each.layer))
                layers.append(CopperLayer(name=each.layer.name, thickness=thickness, role=role))
                record.copper_spreads += [each.place.spread] if each.place.spread else []
            else:
                layers.append(_dielectric(record, each, thickness, overlay))
    with errors_at(f"{record.name}: line {chosen.line}"):
        stackup = Stackup(layers=tuple(layers), source=f"IPC-2581 file {record.name}")
    _compare_thickness(record, chosen, stackup, placed)
    return stackup


def chosen_stackup(record: FileRecord, step: StepRecord) -> StackupRecord:
    """The stackup of a board: the only one that has layers, or that which the board names.

    Parameters
    ----------
    record : FileRecord
    step : StepRecord

    Returns
    -------
    StackupRecord

    Raises
    ------
    FileError
        There is none, or several of which the board names none.
    """
    filled = [each for each in record.stackups if any(group.layers for group in each.groups)]
    if not filled:
        raise FileError(
            f"{record.name}: holds no stackup (no Stackup with StackupLayers), so no layer has a thickness; export it "
            f"with its stackup."
        )
    named = [each for each in filled if each.name == step.stackup]
    if len(filled) > 1 and len(named) != 1:
        names = ", ".join(each.name or "without a name" for each in filled[:4])
        raise FileError(
            f"{record.name}: line {filled[1].line}: holds {len(filled)} stackups ({names}) and step {step.name} names "
            f"none of them; only a board of one stackup can be read."
        )
    return named[0] if len(filled) > 1 else filled[0]


def _in_order(record: FileRecord, stackup: StackupRecord) -> list[Placed]:
    """Layers by sequence. A group that another group refers to stands at the place of the reference."""
    groups = {group.name: group for group in stackup.groups if group.name and group.name not in record.layers}
    inner = {layer.ref for group in stackup.groups for layer in group.layers} & set(groups)
    outer = [group for group in stackup.groups if group.name not in inner]
    if not outer:
        raise FileError(f"{record.name}: line {stackup.line}: every stackup group lies inside another one.")
    seen: set[str] = set()
    placed = [each for group in outer for each in _in_group(record, groups, group, stackup.specs, seen)]
    if len(outer) > 1 and not inner and all(each.place.sequence is not None for each in placed):
        if _numbered_anew(outer) and _turned(record, placed)[0].layer.side == "TOP":
            record.assume("groups of the stackup number their layers anew, and follow each other as in the file")
            return placed
        _check_sequence(record, [each.place for each in placed])
        placed.sort(key=lambda each: each.place.sequence or 0.0)
    return placed


def _numbered_anew(groups: list[StackGroup]) -> bool:
    """Whether every group numbers its layers from the same number on, so that the numbers hold within it only."""
    least = {min((layer.sequence or 0.0 for layer in group.layers), default=0.0) for group in groups}
    return len(least) == 1


def _in_group(
    record: FileRecord, groups: dict[str, StackGroup], group: StackGroup, outer_specs: list[str], seen: set[str]
) -> list[Placed]:
    """Layers of a group by sequence. ``seen`` holds all layers and groups so far; none may come twice."""
    specs = [*group.specs, *outer_specs]
    _check_sequence(record, group.layers)
    placed = []
    for each in sorted(group.layers, key=lambda layer: layer.sequence or 0.0):
        where = f"{record.name}: line {each.line}: StackupLayer layerOrGroupRef = {as_shown(each.ref)}"
        if each.ref in seen or len(groups) > MOST_GROUPS:
            raise FileError(f"{where}: is in the stackup twice, or there are more than {MOST_GROUPS} groups.")
        seen.add(each.ref)
        if each.ref in groups:
            placed += _in_group(record, groups, groups[each.ref], [*each.specs, *specs], seen)
        elif each.ref in record.layers:
            placed.append(Placed(record.layers[each.ref], each, specs))
        else:
            raise FileError(f"{where}: the file has no such Layer.")
    return placed


def _check_sequence(record: FileRecord, layers: list[StackLayer]) -> None:
    """Refuse layers whose order is not known: a sequence number missing or used twice."""
    numbers = Counter(layer.sequence for layer in layers)
    if None in numbers and len(numbers) > 1:
        line = next(layer.line for layer in layers if layer.sequence is None)
        raise FileError(f"{record.name}: line {line}: StackupLayer has no sequence, but others have one.")
    for layer in layers:
        if layer.sequence is not None and numbers[layer.sequence] > 1:
            raise FileError(
                f"{record.name}: line {layer.line}: sequence {layer.sequence:g} of the stackup appears twice, so the "
                f"order of the layers is not known."
            )


def _turned(record: FileRecord, placed: list[Placed]) -> list[Placed]:
    """The layers from the top. The sides of the outer copper layers decide where they contradict the sequence."""
    sides = [each.layer.side for each in placed if _is_copper(each)]
    if len(sides) > 1 and sides[0] == "BOTTOM" and sides[-1] == "TOP":
        record.assume("stackups are numbered from the bottom, as the sides of their outer layers say")
        return placed[::-1]
    return placed


def _is_copper(each: Placed) -> bool:
    """Whether a layer is copper. Some files call a dielectric CONDUCTOR, with side NONE and the material of a laminate.

    Common practice, no source.
    """
    no_side = each.layer.side == "NONE" and each.place.material.upper() not in {"", "COPPER"}
    return each.layer.function in COPPER and not no_side


def _between_copper(record: FileRecord, stackup: StackupRecord, placed: list[Placed]) -> list[Placed]:
    """The layers from the first copper layer to the last; those outside, like mask, are left out and counted."""
    copper = [i for i, each in enumerate(placed) if _is_copper(each)]
    if len(copper) < 2:
        raise FileError(f"{record.name}: line {stackup.line}: the stackup holds fewer than two copper layers.")
    inside = placed[copper[0] : copper[-1] + 1]
    for _ in range(len(placed) - len(inside)):
        record.ignore("layers outside the outer copper, like solder mask")
    for each in inside:
        if not _is_copper(each) and each.layer.function not in DIELECTRIC and each.layer.function not in COPPER:
            raise FileError(
                f"{record.name}: line {each.place.line}: layer {each.layer.name} lies between copper layers and is "
                f"{each.layer.function or 'of no function'}: must be copper or a dielectric ({', '.join(DIELECTRIC)})."
            )
    return inside


def _dielectric(record: FileRecord, each: Placed, thickness: InSI, overlay: Overlay) -> DielectricLayer:
    name = each.layer.name
    own = [*each.place.specs, *each.layer.specs]
    written = {
        key: _from_specs(record, own, key, each) or _from_specs(record, each.outer_specs, key, each)
        for key in ("dk", "df")
    }
    specs = [record.specs[ref] for ref in own if ref in record.specs]
    material = next((spec.material for spec in specs if spec.material), each.place.material) or name
    dk_of_file, at = _one_value(record, written["dk"], "Dk")
    df, df_at = _one_value(record, written["df"], "loss tangent")
    dk = overlay.dk_of(name, material, dk_of_file)
    from_file = dk == dk_of_file
    spread = each.place.spread
    if spread and not spread.percent and spread.minus >= (each.place.thickness or 0.0):
        record.assume("tolerances of layers are as large as the layer, and are left out")
    elif spread:
        record.dielectric_spreads.setdefault(material, []).append(spread)
    if from_file:
        record.dk_spreads.setdefault(material, []).extend(spec.dk_spread for spec in specs if spec.dk_spread)
    known = at is not None and from_file and F_LOW <= at <= F_HIGH and (df is None or df_at == at)
    return DielectricLayer(
        thickness=thickness, dk=dk, df=df, at=InSI(at) if known and at is not None else None, material=material,
        source=f"IPC-2581 file {record.name}" if from_file else "given by the user",
    )  # fmt: skip


def _one_value(record: FileRecord, values: dict[float | None, float], what: str) -> tuple[float | None, float | None]:
    """The value of a material, with the frequency [Hz] it holds at. One of several would be a guess."""
    if len(set(values.values())) > 1:
        record.assume(f"materials have a {what} for each of several frequencies, and it stays unknown; give one")
        return None, None
    return next(((value, at) for at, value in values.items()), (None, None))


def _from_specs(record: FileRecord, refs: list[str], key: str, each: Placed) -> dict[float | None, float]:
    """The values, by frequency, that the specifications of a layer agree on; none where none says one."""
    found: list[dict[float | None, float]] = []
    for ref in refs:
        spec = record.specs.get(ref)
        if spec is None:
            record.ignore("references to specifications that the file does not hold")
            continue
        values = spec.dk if key == "dk" else spec.df
        if values and values not in found:
            found.append(values)
    if len(found) > 1:
        several = sorted({value for values in found for value in values.values()})
        raise FileError(
            f"{record.name}: line {each.place.line}: layer {each.layer.name} refers to specifications with different "
            f"{key}: {', '.join(f'{value:g}' for value in several)}."
        )
    return found[0] if found else {}


def _compare_thickness(record: FileRecord, stackup: StackupRecord, made: Stackup, placed: list[Placed]) -> None:
    """Mention a board whose layers do not add up to the thickness that the file says."""
    thickness = made.edges_si[-1]
    if stackup.measured != "METAL":
        thickness = sum(each.place.thickness or 0.0 for each in placed)
    if stackup.overall and abs(thickness - stackup.overall) > THICKNESS_AGREES * stackup.overall:
        record.assume(
            f"layers add up to {show(thickness, 'length')}, though the thickness of the board is written as "
            f"{show(stackup.overall, 'length')}"
        )

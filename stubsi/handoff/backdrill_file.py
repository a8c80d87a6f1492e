"""Owns the depth-drill specifications of a plan as an IPC-2581 file of its own: a Spec, a drill layer per group.

A name may not hold everything: revision B1 takes letters, digits and ``_-.+`` only, revision C all but a colon. What
does not fit is written as its code point between angle brackets, like ``<003A>``, and reads back equal.

Source: the schemas of IPC-2581 revision B1 and C; the generated files are validated against both.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Literal, TypeAlias
from xml.etree import ElementTree

from stubsi.checks import one_line
from stubsi.handoff.drill_file import drill_file_of, in_mm
from stubsi.show.schedule import preamble, remarks
from stubsi.show.seal import seal_line, sealed

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

    from stubsi.drilling.drill_group import Group
    from stubsi.drilling.plan import Plan
    from stubsi.handoff.drill_file import Place

Revision: TypeAlias = Literal["B1", "C"]
"""Revision of IPC-2581 that is written."""
REVISIONS: tuple[Revision, ...] = ("B1", "C")
NO_DATE = "1970-01-01T00:00:00"
"""Stands where the schema asks for a time: the file depends on the plan alone."""

_UNFIT = {
    "B1": re.compile(r"[^A-Za-z0-9_\-.+]"),
    "C": re.compile("[:<>\ufffe\uffff\ud800-\udfff]|^ +| +$|[^\\S ]"),
}
_CODE = re.compile(r"<([0-9A-F]{4,6})>")


def fitted(name: str, revision: Revision) -> str:
    """Name as a revision takes it.

    Parameters
    ----------
    name : str
    revision : {"B1", "C"}

    Returns
    -------
    str
    """
    return _UNFIT[revision].sub(lambda match: "".join(f"<{ord(sign):04X}>" for sign in match[0]), name)


def unfitted(name: str) -> str:
    """Name as it was before ``fitted``.

    Parameters
    ----------
    name : str

    Returns
    -------
    str
    """
    return _CODE.sub(lambda match: chr(int(match[1], 16)) if int(match[1], 16) < 0x110000 else match[0], name)


def as_ipc2581(plan: Plan, revision: Revision = "C") -> str:
    """Depth-drill specifications of a plan as an IPC-2581 file.

    Parameters
    ----------
    plan : Plan
        The plan.
    revision : {"B1", "C"}

    Returns
    -------
    str

    Raises
    ------
    UnknownValueError
        The position of a drilled hole is unknown.
    """
    root = ElementTree.Element("IPC-2581", xmlns="http://webstds.ipc.org/2581", revision=revision)
    layers = [fitted(name, revision) for name in plan.board.stackup.names]
    drill_layers = [_unused(f"DEPTH_DRILL_{group.number}", layers) for group in plan.groups]
    _content(root, [*layers, *drill_layers], revision)
    _header(root, plan)
    ecad = _add(root, "Ecad", name="depth_drilling")
    header = _add(ecad, "CadHeader", units="MILLIMETER")
    for group, drill_layer in zip(plan.groups, drill_layers, strict=True):
        _spec(_add(header, "Spec", name=drill_layer), plan, group, revision)
    _data(_add(ecad, "CadData"), plan, layers, drill_layers, revision)
    ElementTree.indent(root)
    said = [
        "Holes: plusTol and minusTol are not known to the plan; the 0 there is no tolerance, it stands for the value "
        "that the schema asks for.",
        *(line for line in (*preamble(plan), *remarks(plan)) if not line.startswith("Plan digest: ")),
    ]
    comments = [f"<!-- {seal_line(plan.digest)} -->", *(f"<!-- {_comment(line)} -->" for line in said)]
    text = ElementTree.tostring(root, encoding="unicode")
    return sealed("\n".join(['<?xml version="1.0" encoding="UTF-8"?>', *comments, text, ""]))


def _unused(name: str, taken: list[str]) -> str:
    while name in taken:
        name += "_"
    return name


def _comment(line: str) -> str:
    """Text that can stand in a comment: one line in ASCII, without two hyphens side by side or one at its end."""
    text = one_line(line).encode("ascii", "backslashreplace").decode("ascii")
    return re.sub(r"-(?=-|$)", r"\\x2d", text)


def _add(parent: Element, name: str, /, **attributes: str) -> Element:
    return ElementTree.SubElement(parent, name, attributes)


def _content(root: Element, layers: list[str], revision: Revision) -> None:
    content = _add(root, "Content", roleRef="owner")
    mode = _add(content, "FunctionMode", mode="FABRICATION")
    if revision == "B1":
        mode.set("level", "1")
    _add(content, "StepRef", name="board")
    for name in layers:
        _add(content, "LayerRef", name=name)


def _header(root: Element, plan: Plan) -> None:
    logistic = _add(root, "LogisticHeader")
    _add(logistic, "Role", id="owner", roleFunction="OWNER")
    _add(logistic, "Enterprise", id="unknown", code="NONE")
    _add(logistic, "Person", name="unknown", enterpriseRef="unknown", roleRef="owner")
    history = _add(root, "HistoryRecord", number="1", origination=NO_DATE, software="stubsi", lastChange=NO_DATE)
    file = _add(history, "FileRevision", fileRevisionId=plan.digest, comment="fileRevisionId is the digest of the plan")
    package = _add(file, "SoftwarePackage", name="stubsi", vendor="none", revision="0")
    _add(package, "Certification", certificationStatus="SELFTEST")


def _spec(spec: Element, plan: Plan, group: Group, revision: Revision) -> None:
    """Start layer, must-not-cut layer, largest stub, depth with tolerance, primary drill. Lengths in [mm]."""
    names, rules = plan.board.stackup.names, plan.rules
    start = names[0 if group.side == "top" else -1]
    for kind, layer in (("START_LAYER", start), ("MUST_NOT_CUT_LAYER", group.layer)):
        _add(_add(spec, "Backdrill", type=kind), "Property", layerOrGroupRef=fitted(layer, revision))
    most, least = group.left.most_si, group.left.least_si
    stub = _add(spec, "Backdrill", type="MAX_STUB_LENGTH")
    _add(stub, "Property", value=in_mm(most), unit="MM", tolPlus="0", tolMinus=in_mm(most - least))
    shallower, deeper = map(in_mm, rules.tolerance.depth_limits_si)
    what = f"depth of the {rules.depth_to} below the outer {rules.datum} surface of the drilled side"
    depth = _add(spec, "Backdrill", type="OTHER", comment=what)
    for value in dict.fromkeys(map(in_mm, group.depth_si)):
        _add(depth, "Property", value=value, unit="MM", tolPlus=deeper, tolMinus=shallower)
    primary = _add(spec, "Backdrill", type="OTHER", comment="diameter of the primary drill")
    _add(primary, "Property", value=in_mm(group.primary_si), unit="MM")


def _data(data: Element, plan: Plan, layers: list[str], drill_layers: list[str], revision: Revision) -> None:
    """Write the layers, a drill layer for each group with its span, and the drilled places with their nets."""
    for number, name in enumerate(layers):
        side = {0: "TOP", len(layers) - 1: "BOTTOM"}.get(number, "INTERNAL")
        _add(data, "Layer", name=name, layerFunction="CONDUCTOR", side=side, polarity="POSITIVE")
    for group, name in zip(plan.groups, drill_layers, strict=True):
        layer = _add(
            data, "Layer", name=name, layerFunction="DRILL", side=group.side.upper(), polarity="POSITIVE"
        )  # fmt: skip
        _add(layer, "SpecRef", id=name)
        last = fitted(group.layer, revision)
        _add(layer, "Span", fromLayer=layers[0 if group.side == "top" else -1], toLayer=last)
    step = _add(data, "Step", name="board")
    _add(step, "Datum", x="0", y="0")
    for group, name in zip(plan.groups, drill_layers, strict=True):
        feature = _add(step, "LayerFeature", layerRef=name)
        for place in drill_file_of(plan, group).places:
            _hole(_add(feature, "Set", net=fitted(place.net, revision)), name, group, place, revision)


def _hole(parent: Element, spec: str, group: Group, place: Place, revision: Revision) -> None:
    hole = _add(
        parent, "Hole", name=fitted(place.hole, revision), diameter=in_mm(group.drill_si, 4),
        platingStatus="NONPLATED", plusTol="0", minusTol="0", x=in_mm(place.x_si, 4), y=in_mm(place.y_si, 4),
    )  # fmt: skip
    _add(hole, "SpecRef", id=spec)

"""Realistic boards of any size for tests, each as an IPC-2581 file of any revision and as a Board built directly.

The scenario is invented: the gauges of a harbour, read through a backplane. Every net goes from a hole to the next on
one signal layer and leaves both holes on another one; every hole has pads on all layers; the planes are areas of the
reference net with a cut-out around each signal hole. All lengths are given in millimetres and written in any unit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

from stubsi import Board, CopperLayer, DielectricLayer, Hole, Net, Padstack, Stackup, Tolerance, Tolerances

SPACE = "http://webstds.ipc.org/2581"
PER_MM = {"MILLIMETER": 1.0, "MICRON": 1e3, "INCH": 1 / 25.4}
REVISIONS = ("A", "B", "B1", "C")
DRILL, PAD, ANTIPAD, WIDTH = 0.25, 0.5, 0.9, 0.12
"""Diameters of hole, pad and clearance, and width of the lines [mm]."""
STEP = 2.0
"""Distance between holes [mm]. A reference hole stands half of it beside every net."""
COLUMNS = 100
"""Holes in one row of the board."""
CORE, PREPREG = ("HARBOUR_CORE", 3.9, 0.008, 0.3), ("HARBOUR_PREPREG", 3.6, 0.01, 0.2)
"""Name, Dk, loss tangent and thickness [mm]."""
COPPER = {"SIGNAL": 0.035, "PLANE": 0.03}


@dataclass(frozen=True)
class GeneratedBoard:
    """A board of so many copper layers, nets with one line, pairs, and holes of each line."""

    layers: int = 6
    nets: int = 6
    pairs: int = 2
    holes: int = 2
    in_padstacks: str = ""
    """In revision A: "span" of every hole stands in its placed padstack only, or the "hole" itself and its pads do."""

    @cached_property
    def copper(self):
        """Name and function of every copper layer from the top: every third one inside is a plane."""
        last = self.layers - 1
        functions = ["PLANE" if 0 < i < last and i % 3 == 1 else "SIGNAL" for i in range(self.layers)]
        return [(f"L{i + 1}", function) for i, function in enumerate(functions)]

    @cached_property
    def stack(self):
        """(name, function, thickness [mm], material) from the top."""
        rows = []
        for number, (name, function) in enumerate(self.copper):
            rows.append((name, function, COPPER[function], None))
            if number < self.layers - 1:
                material = (PREPREG, CORE)[number % 2]
                rows.append((f"D{number + 1}", ("DIELPREG", "DIELCORE")[number % 2], material[3], material))
        return rows

    @cached_property
    def lines(self):
        """(net, other half of its pair or "", layer between its holes, layer on which it leaves them)."""
        signal = [name for name, function in self.copper if function == "SIGNAL"]
        of = [(f"GAUGE_{i}", "", i) for i in range(self.nets)]
        for i in range(self.pairs):
            names = f"TIDE_{i}_P", f"TIDE_{i}_N"
            of += [(*names, self.nets + i), (*names[::-1], self.nets + i)]
        return [
            (net, other, signal[i % len(signal)], signal[(i + 1 + i // len(signal) % (len(signal) - 1)) % len(signal)])
            for net, other, i in of
        ]

    def place(self, number):
        """Place [mm] of the hole of this number on the board."""
        return STEP * (number % COLUMNS), STEP * (number // COLUMNS)

    @cached_property
    def signal_holes(self):
        """(number of the line, x, y) of every signal hole, in the order of the nets."""
        return [(i // self.holes, *self.place(i)) for i in range(len(self.lines) * self.holes)]

    @cached_property
    def reference_holes(self):
        return [(x, y + STEP / 2) for line, x, y in self.signal_holes[:: self.holes]]

    def signal(self, net):
        return "16 GT/s" if net.startswith("TIDE") else "10 Gb/s"

    def tolerances(self, revision="C"):
        """What the file states: 10 % of every thickness from B on; of copper, that of the thickest layer."""
        source = f"IPC-2581 file {self.file_name(revision, 'MILLIMETER')}"

        def plus_minus(value):
            return Tolerance.plus_minus(value, source=source)

        by_layer = {} if revision == "A" else {
            "dielectric_thickness": {name: plus_minus(f"{0.1 * size} mm") for name, *_, size in (CORE, PREPREG)},
            "copper_thickness": plus_minus("3.5 um"),
            "dk": {CORE[0]: plus_minus(0.1)},
        }  # fmt: skip
        return Tolerances(board_thickness=plus_minus("0.1 mm"), drill=plus_minus("0.05 mm"), **by_layer)

    @property
    def given(self):
        """What a reader is given beside the file."""
        return {
            "signals": {"GAUGE_*": "10 Gb/s", "TIDE_*": "16 GT/s"},
            "z0": {"GAUGE_*": "50 ohm", "TIDE_*": "85 ohm"},
            "reference": ["HARBOUR_0V"],
        }

    def given_for(self, revision):
        """Also what a file of the revision cannot say: pairs before C; Dk and clearances in A."""
        given = self.given
        if not self.pairs:
            given = {**given, "signals": {"GAUGE_*": "10 Gb/s"}, "z0": "50 ohm"}
        if revision != "C" and self.pairs:
            given["pairs"] = {"TIDE_*_P": "TIDE_*_N"}
        if revision == "A":
            given["dk"] = {name: dk for name, dk, _, _ in (CORE, PREPREG)}
            given["antipads"] = {f"{DRILL} mm": f"{ANTIPAD} mm"}
        return given

    # the board, built directly

    def board(self, revision="C"):
        layers = [
            CopperLayer(name=name, thickness=f"{size} mm", role=function.lower())
            if material is None
            else DielectricLayer(
                thickness=f"{size} mm", dk=material[1], df=None if revision == "A" else material[2],
                material=material[0],
            )
            for name, function, size, material in self.stack
        ]  # fmt: skip
        names = [name for name, _ in self.copper]
        via = Padstack(name="VIA", drill=f"{DRILL} mm", pads=dict.fromkeys(names, f"{PAD} mm"), antipad=f"{ANTIPAD} mm")
        by_line = {}
        for line, x, y in self.signal_holes:
            by_line.setdefault(line, []).append((x, y))
        nets, legs = {}, {}
        for number, (net, other, between, leaving) in enumerate(self.lines):
            leg = net[-1] if other else ""
            title = "/".join(sorted((net, other), reverse=True)) if other else net
            nets.setdefault(title, []).extend(
                Hole(
                    name=f"{net}.{i}", padstack=via, connects=[name for name in names if name in {between, leaving}],
                    x=f"{x} mm", y=f"{y} mm", leg=leg,
                )
                for i, (x, y) in enumerate(by_line[number], 1)
            )  # fmt: skip
            legs[title] = net
        made = [
            Net(name=title, holes=holes, signal=self.signal(title), z0="85 ohm" if "/" in title else "50 ohm")
            for title, holes in nets.items()
        ]
        post = Padstack(name="POST", drill=f"{DRILL} mm")
        made.append(
            Net(
                name="HARBOUR_0V", reference=True,
                holes=[
                    Hole(name=f"HARBOUR_0V.{i}", padstack=post, x=f"{x} mm", y=f"{y} mm")
                    for i, (x, y) in enumerate(self.reference_holes, 1)
                ],
            )
        )  # fmt: skip
        return Board(stackup=Stackup(layers=layers), nets=made, name="harbour")

    # the file

    def file_name(self, revision, unit):
        return f"{revision}_{unit}_{self.layers}_{len(self.lines)}.xml"

    def write(self, folder, revision="C", unit="MILLIMETER"):
        path = folder / self.file_name(revision, unit)
        with path.open("w", encoding="utf-8") as file:
            file.writelines(f"{line}\n" for line in _Writer(self, revision, unit).all())
        return path


class _Writer:
    """Writes one file line by line, in the order that the schema of its revision asks for."""

    def __init__(self, board, revision, unit):
        self.made, self.revision, self.scale, self.unit = board, revision, PER_MM[unit], unit

    def n(self, value):
        return f"{value * self.scale:.12g}"

    def at(self, x, y):
        return f'x="{self.n(x)}" y="{self.n(y)}"'

    def all(self):
        yield '<?xml version="1.0" encoding="UTF-8"?>'
        yield f'<IPC-2581 xmlns="{SPACE}" revision="{self.revision}">'
        yield from self.head()
        yield f'<Ecad name="harbour"><CadHeader units="{self.unit}">'
        if self.revision != "A":
            yield from self.specs()
        yield "</CadHeader><CadData>"
        yield from self.layers()
        yield from self.stackup()
        yield '<Step name="harbour">'
        yield from self.step()
        yield "</Step></CadData></Ecad></IPC-2581>"

    def head(self):
        level = ' level="1"' if self.revision != "C" else ""
        comment = ' comment="all"' if self.revision == "B" else ""
        yield f'<Content roleRef="owner"><FunctionMode mode="FABRICATION"{level}{comment}/><StepRef name="harbour"/>'
        yield from (f'<LayerRef name="{name}"/>' for name in [*(row[0] for row in self.made.stack), "DRILL"])
        line = (
            '<DictionaryLineDesc units="MILLIMETER"><EntryLineDesc id="thin">'
            f'<LineDesc lineEnd="ROUND" lineWidth="{WIDTH}"/></EntryLineDesc></DictionaryLineDesc>'
        )
        shape = (
            '<DictionaryStandard units="MILLIMETER"><EntryStandard id="round">'
            f'<Circle diameter="{PAD}"/></EntryStandard></DictionaryStandard>'
        )
        yield line + shape if self.revision == "C" else shape + line
        yield "</Content>"
        yield (
            '<LogisticHeader><Role id="owner" roleFunction="OWNER"/><Enterprise id="none" code="NONE"/>'
            '<Person name="nobody" enterpriseRef="none" roleRef="owner"/></LogisticHeader>'
            '<HistoryRecord number="1" origination="2001-01-01T00:00:00" software="tests" '
            'lastChange="2001-01-01T00:00:00"><FileRevision fileRevisionId="1" comment="">'
            '<SoftwarePackage name="tests" vendor="none" revision="0"><Certification certificationStatus="SELFTEST"/>'
            "</SoftwarePackage></FileRevision></HistoryRecord>"
        )

    def specs(self):
        for name, dk, df, _ in (CORE, PREPREG):
            within = ' tolPlus="0.1" tolMinus="0.1"' if name == CORE[0] else ""
            yield (
                f'<Spec name="{name}"><General type="MATERIAL"><Property text="{name}"/></General>'
                f'<Dielectric type="DIELECTRIC_CONSTANT"><Property value="{dk}"{within}/></Dielectric>'
                f'<Dielectric type="LOSS_TANGENT"><Property value="{df}"/></Dielectric></Spec>'
            )

    def layers(self):
        last = self.made.stack[-1][0]
        for name, function, _, _ in self.made.stack:
            side = {"L1": "TOP", last: "BOTTOM"}.get(name, "INTERNAL")
            yield f'<Layer name="{name}" layerFunction="{function}" side="{side}" polarity="POSITIVE"/>'
        yield '<Layer name="DRILL" layerFunction="DRILL" side="ALL" polarity="POSITIVE">'
        yield "</Layer>" if self.made.in_padstacks else f'<Span fromLayer="L1" toLayer="{last}"/></Layer>'

    def stackup(self):
        whole = self.n(sum(row[2] for row in self.made.stack))
        more = {"A": "", "C": ' name="all" stackupStatus="APPROVED"'}.get(self.revision, ' name="all"')
        tolerance = f'tolPlus="{self.n(0.1)}" tolMinus="{self.n(0.1)}"'
        yield f'<Stackup{more} overallThickness="{whole}" {tolerance} whereMeasured="METAL">'
        yield f'<StackupGroup name="board" thickness="{whole}" {tolerance}>'
        for number, (name, _, size, material) in enumerate(self.made.stack, 1):
            kind = (
                f'materialType="{material[0] if material else "COPPER"}"'
                if self.revision == "A"
                else f'tolPlus="{self.n(0.1 * size)}" tolMinus="{self.n(0.1 * size)}" sequence="{number}"'
            )
            inside = f'<SpecRef id="{material[0]}"/>' if material and self.revision != "A" else ""
            yield f'<StackupLayer layerOrGroupRef="{name}" thickness="{self.n(size)}" {kind}>{inside}</StackupLayer>'
        yield "</StackupGroup></Stackup>"

    def placed(self):
        """A padstack at the place of every hole, with its span and pads, as revisions A and B have it."""
        holes = [(self.made.lines[line][0], x, y) for line, x, y in self.made.signal_holes]
        for net, x, y in [*holes, *(("HARBOUR_0V", *place) for place in self.made.reference_holes)]:
            yield f'<PadStack net="{net}"><LayerHole name="H" {self.drilled(x, y)}>'
            yield f'<Span fromLayer="L1" toLayer="{self.made.copper[-1][0]}"/></LayerHole>'
            if self.made.in_padstacks == "hole":
                for name, _ in self.made.copper:
                    yield f'<LayerPad layerRef="{name}"><Location {self.at(x, y)}/>'
                    yield '<StandardPrimitiveRef id="round"/></LayerPad>'
            yield "</PadStack>"

    def step(self):
        if self.made.in_padstacks:
            yield from self.placed()
        if self.revision != "A":
            yield from self.padstack()
        yield '<Datum x="0" y="0"/>'
        width, height = STEP * COLUMNS, STEP * (len(self.made.signal_holes) // COLUMNS + 2)
        yield f"<Profile>{self.polygon('Polygon', self.corners(-STEP, -STEP, width, height))}</Profile>"
        yield from self.nets()
        if self.made.in_padstacks != "hole":
            yield from self.drills()
        for name, function in self.made.copper:
            yield from self.copper(name, function)

    def padstack(self):
        names = [name for name, _ in self.made.copper]
        yield f'<PadStackDef name="VIA"><PadstackHoleDef name="V" {self.drilled(0, 0)}/>'
        for use, size in (("REGULAR", PAD), ("ANTIPAD", ANTIPAD)):
            for name in names:
                yield (
                    f'<PadstackPadDef layerRef="{name}" padUse="{use}"><Location x="0" y="0"/>'
                    f'<Circle diameter="{self.n(size)}"/></PadstackPadDef>'
                )
        yield "</PadStackDef>"

    def drilled(self, x, y):
        return (
            f'diameter="{self.n(DRILL)}" platingStatus="VIA" plusTol="{self.n(0.05)}" minusTol="{self.n(0.05)}" '
            f"{self.at(x, y)}"
        )

    def nets(self):
        pin = '<PinRef componentRef="U1" pin="1"/>' if self.revision == "A" else '<PinRef pin="1"/>'
        for net, other, *_ in self.made.lines:
            pair = f' netPair="{other}"' if other and self.revision == "C" else ""
            yield f'<LogicalNet name="{net}" netClass="SIGNAL"{pair}>{pin}</LogicalNet>'
        yield f'<LogicalNet name="HARBOUR_0V" netClass="GROUND">{pin}</LogicalNet>'

    def drills(self):
        yield '<LayerFeature layerRef="DRILL">'
        geometry = "" if self.revision == "A" else ' geometry="VIA"'
        for line, x, y in self.made.signal_holes:
            yield f'<Set net="{self.made.lines[line][0]}"{geometry}><Hole name="H" {self.drilled(x, y)}/></Set>'
        yield f'<Set net="HARBOUR_0V"{geometry}>'
        yield from (f'<Hole name="H" {self.drilled(x, y)}/>' for x, y in self.made.reference_holes)
        yield "</Set></LayerFeature>"

    def copper(self, layer, function):
        yield f'<LayerFeature layerRef="{layer}">'
        for line, x, y in self.made.signal_holes:
            net, _, between, leaving = self.made.lines[line]
            pad = f'<Pad><Location {self.at(x, y)}/><StandardPrimitiveRef id="round"/></Pad>'
            if self.made.in_padstacks != "hole":
                yield f'<Set net="{net}" padUsage="VIA">{pad}</Set>'
            if layer == leaving:
                yield self.line(net, (x, y), (x, y - 0.4), (x + 0.4, y - 0.8))
        for number, (net, _, between, _) in enumerate(self.made.lines):
            if layer == between:
                yield from self.joined(net, number)
        if function == "PLANE":
            yield from self.plane()
        yield "</LayerFeature>"

    def joined(self, net, number):
        """Lines from hole to hole; at the end of a row a piece to both sides in their place."""
        start = number * self.made.holes
        places = [self.made.place(start + i) for i in range(self.made.holes)]
        for (x, y), (to_x, to_y) in zip(places, places[1:] or [(places[0][0] + 1, places[0][1])], strict=False):
            if y == to_y:
                yield self.line(net, (x, y), ((x + to_x) / 2, y), (to_x, to_y))
            else:
                yield self.line(net, (x, y), (x + 0.5, y), (x + 1, y))
                yield self.line(net, (to_x, to_y), (to_x - 0.5, to_y), (to_x - 1, to_y))

    def line(self, net, *points):
        inside = f"{self.path(points)}<LineDescRef id='thin'/>"
        return f'<Set net="{net}"><Features><Polyline>{inside}</Polyline></Features></Set>'

    def plane(self):
        """A strip of the plane for every row of holes, with a cut-out around each signal hole."""
        rows = {}
        for _, x, y in self.made.signal_holes:
            rows.setdefault(y, []).append(x)
        for y, places in rows.items():
            yield '<Set net="HARBOUR_0V"><Features><Contour>'
            yield self.polygon("Polygon", self.corners(-STEP, y - STEP / 2, STEP * COLUMNS, y + STEP / 2))
            for x in places:
                yield self.polygon("Cutout", self.ring(x, y))
            yield "</Contour></Features></Set>"

    def ring(self, x, y):
        """Corners of a clearance whose sides touch the circle of its diameter."""
        radius, sides = ANTIPAD / 2 / math.cos(math.pi / 16), 16
        turns = [2 * math.pi * (i + 0.5) / sides for i in range(sides)]
        return [(x + radius * math.cos(turn), y + radius * math.sin(turn)) for turn in turns]

    def corners(self, x, y, to_x, to_y):
        return [(x, y), (to_x, y), (to_x, to_y), (x, to_y), (x, y)]

    def polygon(self, tag, points):
        return f"<{tag}>{self.path(points)}</{tag}>"

    def path(self, points):
        first, *rest = points
        return f"<PolyBegin {self.at(*first)}/>" + "".join(f"<PolyStepSegment {self.at(*each)}/>" for each in rest)

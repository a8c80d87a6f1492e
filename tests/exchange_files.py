"""Writer of small IPC-2581 files for tests: what is drawn is given in millimetres and written in any of the units."""

from __future__ import annotations

from dataclasses import dataclass, field

PER_MM = {"MILLIMETER": 1.0, "MICRON": 1e3, "INCH": 1 / 25.4}

SIX = (
    ("TOP", "SIGNAL", 0.045), ("PREPREG_1", "DIELPREG", 0.2), ("GND_2", "PLANE", 0.03), ("CORE_1", "DIELCORE", 0.3),
    ("SIG_3", "SIGNAL", 0.03), ("PREPREG_2", "DIELPREG", 0.4), ("SIG_4", "SIGNAL", 0.03), ("CORE_2", "DIELCORE", 0.3),
    ("GND_5", "PLANE", 0.03), ("PREPREG_3", "DIELPREG", 0.2), ("BOTTOM", "SIGNAL", 0.045),
)  # fmt: skip
"""A board of six copper layers: name, function, thickness [mm] from the top."""


@dataclass
class Exchange:
    """One file. Lengths are in millimetres; ``drills`` holds the span of every drill layer."""

    layers: tuple = SIX
    dk: dict = field(default_factory=lambda: {"*": 3.9})
    unit: str = "MILLIMETER"
    prefix: str = ""
    revision: str = "C"
    sequence: bool = True
    drills: dict = field(default_factory=lambda: {"DRILL": ("TOP", "BOTTOM")})
    head: str = ""
    body: str = ""
    step_head: str = ""
    features: list = field(default_factory=list)

    def mm(self, *values):
        return tuple(f"{value * PER_MM[self.unit]:.12g}" for value in values)

    def put(self, layer, net, inside, **attributes):
        """A set of one net on a layer."""
        net = f' net="{net}"' if net else ""
        more = "".join(f' {key}="{value}"' for key, value in attributes.items())
        self.features.append(f'<LayerFeature layerRef="{layer}"><Set{net}{more}>{inside}</Set></LayerFeature>')
        return self

    def hole(self, net, x, y, diameter=0.3, layer="DRILL", status="VIA", **attributes):
        x, y, d = self.mm(x, y, diameter)
        inside = f'<Hole name="H" diameter="{d}" platingStatus="{status}" plusTol="0" minusTol="0" x="{x}" y="{y}"/>'
        return self.put(layer, net, inside, **attributes)

    def line(self, layer, net, points, width=0.1, **attributes):
        (x, y), *steps = [self.mm(*point) for point in points]
        steps = "".join(f'<PolyStepSegment x="{x}" y="{y}"/>' for x, y in steps)
        (width,) = self.mm(width)
        inside = (
            f'<Features><Polyline><PolyBegin x="{x}" y="{y}"/>{steps}'
            f'<LineDesc lineEnd="ROUND" lineWidth="{width}"/></Polyline></Features>'
        )
        return self.put(layer, net, inside, **attributes)

    def polygon(self, points, tag="Polygon"):
        (x, y), *steps = [self.mm(*point) for point in points]
        steps = "".join(f'<PolyStepSegment x="{x}" y="{y}"/>' for x, y in steps)
        return f'<{tag}><PolyBegin x="{x}" y="{y}"/>{steps}</{tag}>'

    def area(self, layer, net, outline, *cutouts, **attributes):
        holes = "".join(self.polygon(cutout, "Cutout") for cutout in cutouts)
        inside = f"<Features><Contour>{self.polygon(outline)}{holes}</Contour></Features>"
        return self.put(layer, net, inside, **attributes)

    def pad(self, layer, net, x, y, shape='<Circle diameter="{}"/>', size=0.5, pin="", padstack=""):
        x, y, size = self.mm(x, y, size)
        reference = f' padstackDefRef="{padstack}"' if padstack else ""
        pin = f'<PinRef componentRef="{pin}" pin="1"/>' if pin else ""
        place = f'<Location x="{x}" y="{y}"/>'
        return self.put(layer, net, f"<Pad{reference}>{place}{shape.replace('{}', size)}{pin}</Pad>")

    def pads(self, net, x, y, size=0.5, layers=None, **more):
        for layer in layers or [name for name, function, _ in self.layers if not function.startswith("DIEL")]:
            self.pad(layer, net, x, y, size=size, **more)
        return self

    def net(self, name, kind="", pair=""):
        kind = f' netClass="{kind}"' if kind else ""
        pair = f' netPair="{pair}"' if pair else ""
        self.step_head += f'<LogicalNet name="{name}"{kind}{pair}><PinRef pin="1"/></LogicalNet>'
        return self

    def component(self, name, mount, layer="TOP", package="", at=(0, 0), turn=""):
        x, y = self.mm(*at)
        self.step_head += (
            f'<Component refDes="{name}" mountType="{mount}" layerRef="{layer}" packageRef="{package}" part="p">{turn}'
            f'<Location x="{x}" y="{y}"/></Component>'
        )
        return self

    def package(self, name, pins):
        places = [self.mm(*pin) for pin in pins]
        inside = "".join(f'<Pin number="{i}"><Location x="{x}" y="{y}"/></Pin>' for i, (x, y) in enumerate(places, 1))
        self.step_head += f'<Package name="{name}" type="OTHER">{inside}</Package>'
        return self

    def _stackup(self):
        rows, specs = [], []
        for number, (name, function, thickness) in enumerate(self.layers):
            (size,) = self.mm(thickness)
            dk = self.dk.get(name, self.dk.get("*")) if function.startswith("DIEL") else None
            reference = f'<SpecRef id="S{number}"/>' if dk else ""
            if dk:
                specs.append(
                    f'<Spec name="S{number}"><Dielectric type="DIELECTRIC_CONSTANT"><Property value="{dk}"/>'
                    f'</Dielectric><Dielectric type="LOSS_TANGENT"><Property value="0.01"/></Dielectric></Spec>'
                )
            sequence = f' sequence="{number + 1}"' if self.sequence else ""
            rows.append(
                f'<StackupLayer layerOrGroupRef="{name}" thickness="{size}"{sequence}>{reference}</StackupLayer>'
            )
        return rows, specs

    def text(self):
        rows, specs = self._stackup()
        sides = {0: "TOP", len(self.layers) - 1: "BOTTOM"}
        layers = [
            f'<Layer name="{name}" layerFunction="{function}" side="{sides.get(i, "INTERNAL")}" polarity="POSITIVE"/>'
            for i, (name, function, _) in enumerate(self.layers)
        ]
        layers += [
            f'<Layer name="{name}" layerFunction="DRILL" side="ALL" polarity="POSITIVE">'
            + (f'<Span fromLayer="{span[0]}" toLayer="{span[1]}"/>' if span else "")
            + "</Layer>"
            for name, span in self.drills.items()
        ]
        group = "\n".join(rows)
        stackup = f'<Stackup name="s"><StackupGroup name="all">{group}</StackupGroup></Stackup>' if rows else ""
        root = f'<IPC-2581 revision="{self.revision}"><Content><FunctionMode mode="FABRICATION"/>'
        parts = [
            f'{root}{self.head}</Content><Ecad name="e"><CadHeader units="{self.unit}">',
            *specs,
            "</CadHeader><CadData>",
            *layers,
            f'{stackup}{self.body}<Step name="sluice">{self.step_head}',
            *self.features,
            "</Step></CadData></Ecad></IPC-2581>",
        ]
        text = "\n".join(parts)
        if self.prefix:
            text = text.replace("</", "\0").replace("<", f"<{self.prefix}:").replace("\0", f"</{self.prefix}:")
            namespace = f'xmlns:{self.prefix}="http://webstds.ipc.org/2581"'
            text = text.replace("IPC-2581 revision", f"IPC-2581 {namespace} revision")
        return '<?xml version="1.0" encoding="UTF-8"?>\n' + text

    def write(self, folder, name="board.xml"):
        path = folder / name
        path.write_text(self.text(), encoding="utf-8")
        return path


def square(x, y, half):
    return [(x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half)]

"""Owns the comparison of two IPC-2581 files of depth-drill specifications: as the plan writes it, and as read."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from stubsi.files.backdrill import BackdrillReader
from stubsi.handoff.read_places import ReadPlace, place_differences

if TYPE_CHECKING:
    from stubsi.files.backdrill import DrilledHole
    from stubsi.handoff.read_places import Difference


def spec_file_differences(path: Path, planned: str) -> list[Difference]:
    """What an IPC-2581 file says other than the planned one: its specifications, and its holes on each drill layer.

    Parameters
    ----------
    path : Path
        The file as it is.
    planned : str
        The text that the plan has for it.

    Returns
    -------
    list of (line, what, planned, read)

    Raises
    ------
    FileError
        As in ``read_backdrill_specs``.
    """
    own, read = _read_text(planned, path.name), _read(path)
    found: list[Difference] = []
    specs, read_specs = _entries(own), _entries(read)
    for name in dict.fromkeys([*specs, *read_specs]):
        if specs.get(name) != read_specs.get(name):
            line = read.spec_lines.get(name)
            found.append((line, f"specification {name}", specs.get(name, ""), read_specs.get(name, "")))
    layers, read_layers = _by_layer(own), _by_layer(read)
    for layer in dict.fromkeys([*layers, *read_layers]):
        holes, read_holes = layers.get(layer, []), read_layers.get(layer, [])
        found += [
            (line, f"{what} on {layer}", planned_value, read_value)
            for line, what, planned_value, read_value in place_differences(
                [*map(_place, holes)], [*map(_place, read_holes)]
            )
        ]
        found += _reference_differences(layer, holes, read_holes)
    return found


def _reference_differences(layer: str, holes: list[DrilledHole], read: list[DrilledHole]) -> list[Difference]:
    """Holes that refer to other specifications, so that another depth or layer holds for them."""
    planned = {hole.name: " ".join(hole.specs) for hole in holes}
    return [
        (hole.line, f"specification of {hole.name} on {layer}", planned[hole.name], " ".join(hole.specs))
        for hole in read
        if hole.name in planned and planned[hole.name] != " ".join(hole.specs)
    ]


def _read(path: Path) -> BackdrillReader:
    reader = BackdrillReader(path)
    reader.read()
    return reader


def _read_text(text: str, name: str) -> BackdrillReader:
    with TemporaryDirectory() as folder:
        path = Path(folder, name)
        path.write_text(text, encoding="utf-8")
        return _read(path)


def _entries(reader: BackdrillReader) -> dict[str, str]:
    return {spec.name: "; ".join(map(str, spec.entries)) for spec in reader.backdrill_specs()}


def _by_layer(reader: BackdrillReader) -> dict[str, list[DrilledHole]]:
    layers: dict[str, list[DrilledHole]] = {}
    for hole in reader.holes:
        layers.setdefault(hole.layer, []).append(hole)
    return layers


def _place(hole: DrilledHole) -> ReadPlace:
    return ReadPlace(hole.line, hole.x_si, hole.y_si, hole.drill_si, hole.name, hole.net)

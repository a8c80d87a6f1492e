"""IPC-2581 files that are wrong, cut off or made to do harm: an error with file and line, and nothing else."""

from __future__ import annotations

import random
import re
import time
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
import shapely

import stubsi
from stubsi import FileError, StubsiError, read_ipc2581
from stubsi.files import exchange_pieces, exchange_touch
from stubsi.files.exchange_drawing import Copper
from tests.exchange_files import Exchange, square

SHARED = (Path(__file__).parents[1] / "shared" / "sluice_gate.xml").read_text(encoding="utf-8")
GIVEN = {"signals": {"FLOW_*": "16 GT/s", "LEVEL": "1 Gb/s", "ALARM": "1 Mb/s"}, "z0": "50 ohm"}
HOLE = '<Hole name="H" diameter="0.25"'


def read(tmp_path, content, **given):
    path = tmp_path / "bad.xml"
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
    return read_ipc2581(path, **{**GIVEN, **given})


BOMB = '<!DOCTYPE a [<!ENTITY b "bbbbbbbbbb"><!ENTITY c "&b;&b;&b;&b;">]>'
OUTSIDE = '<!DOCTYPE a [<!ENTITY e SYSTEM "file:///etc/hostname">]>'
HEAD, _, REST = SHARED.partition("?>")
HEAD += "?>"
DEEP = "<Content>" * 200_000
LAYER = '<Layer name="GND_2" layerFunction="PLANE" side="INTERNAL" polarity="POSITIVE"/>'
PANEL = (
    '<Step name="panel"><LayerFeature layerRef="DRILL"><Set net="GND"><Hole diameter="1" platingStatus="PLATED" '
    'x="1" y="1"/></Set></LayerFeature></Step>'
)


def swapped(old, new):
    assert old in SHARED
    return SHARED.replace(old, new, 1)


WRONG = {
    "a DOCTYPE": (HEAD + BOMB + REST, "line 1: declares a DOCTYPE"),
    "an external entity": (HEAD + OUTSIDE + REST, "line 1: declares a DOCTYPE"),
    "an entity that nobody declared": (swapped('x="20"', 'x="&b;"'), "line .*undefined entity"),
    "deep nesting": (f'{HEAD}<IPC-2581 revision="C">{DEEP}', "more than 64 elements"),
    "another format": ("<gerber/>", "line 1: the first element is 'gerber'"),
    "an unknown revision": (swapped('revision="C"', 'revision="D"'), "line 4: IPC-2581 revision = 'D': known are"),
    "no revision": (swapped('revision="C"', ""), "line 4: IPC-2581 has no revision"),
    "an unknown unit": (swapped('units="MILLIMETER"', 'units="MIL"'), "line 5: CadHeader units = 'MIL'"),
    "no unit": (swapped('units="MILLIMETER"', ""), "line 5: CadHeader has no units"),
    "cut off": (SHARED[: len(SHARED) // 2], r"line \d+: is no well-formed XML"),
    "cut off after the stackup": (SHARED[: SHARED.index("<Step")], "line .*is no well-formed XML"),
    "text that is not of its encoding": (SHARED.encode().replace(b'"H"', b'"\xff"', 1), r"line \d+: is no well-formed"),
    "UTF-16 that says UTF-8": (b"\xff\xfe" + SHARED.encode("utf-16-le"), "line 1: "),
    "an unknown encoding": (swapped('encoding="UTF-8"', 'encoding="KLINGON"'), "line 1: .*encoding"),
    "an encoding of several bytes": (swapped('encoding="UTF-8"', 'encoding="shift_jis"'), "line 1: .*save .*as UTF-8"),
    "not XML at all": (bytes(range(256)) * 40, "line 1: is no well-formed XML"),
    "a coordinate that is NaN": (swapped('x="20"', 'x="NaN"'), "line .* x = 'NaN': must be a plain finite number"),
    "an infinite coordinate": (swapped('y="10"', 'y="INF"'), "line .* y = 'INF': must be a plain finite number"),
    "a number beyond floats": (swapped('x="20"', 'x="1e999"'), "line .* x = '1e999': is larger than anything"),
    "a coordinate in the next town": (swapped('x="20"', 'x="2e7"'), "line .* check the units"),
    "a comma decimal": (swapped('x="20"', 'x="20,5"'), "line .* x = '20,5': must be a plain finite number"),
    "a number with a unit": (swapped('x="20"', 'x="20 mm"'), "line .* must be a plain finite number"),
    "a number with underscores": (swapped('x="20"', 'x="2_0"'), "line .* must be a plain finite number"),
    "a long number": (swapped('x="20"', f'x="{"1" * 100_000}"'), "line .* at most 300 characters"),
    "a negative diameter": (swapped('diameter="0.25"', 'diameter="-0.25"'), "line .* must not be negative"),
    "a diameter of zero": (swapped('diameter="0.25"', 'diameter="0"'), "line .*diameter = 0: must be positive"),
    "no diameter": (swapped(HOLE, '<Hole name="H"'), "line .*Hole has no diameter"),
    "an unknown plating": (swapped('Status="VIA"', 'Status="SHINY"'), "line .*platingStatus = 'SHINY'"),
    "a layer twice": (swapped(LAYER, LAYER + LAYER), "line 14: Layer 'GND_2' appears twice"),
    "a specification twice": (swapped('<Spec name="S3">', '<Spec name="S1">'), "line 7: Spec 'S1' appears twice"),
    "two values of Dk": (
        swapped('<Property value="3.7"/>', '<Property value="3.7"/><Property value="4.1"/>'),
        "line 6: .*3.7 and then 4.1",
    ),
    "a Dk below 1": (swapped('<Property value="3.7"/>', '<Property value="0.37"/>'), "layer PREPREG_1: .*dk"),
    "a layer of the stackup that is nowhere": (
        swapped('layerOrGroupRef="CORE_1"', 'layerOrGroupRef="CORE_9"'), "line 28: .*'CORE_9': the file has no such",
    ),
    "a layer of the stackup twice": (swapped('layerOrGroupRef="CORE_1"', 'layerOrGroupRef="TOP"'), "line 28: .*twice"),
    "a sequence twice": (swapped('sequence="4"', 'sequence="5"'), "line 28: sequence 5 of the stackup appears twice"),
    "a sequence missing": (swapped(' sequence="4"', ""), "line 28: StackupLayer has no sequence"),
    "a thickness missing": (swapped(' thickness="0.3"', ""), "line 28: layer CORE_1: has no thickness"),
    "a thickness of zero": (swapped('thickness="0.3"', 'thickness="0"'), "line 28: layer CORE_1: .*thickness"),
    "mask between copper": (swapped('layerFunction="DIELCORE"', 'layerFunction="SOLDERMASK"'), "line 28: .*SOLDERMASK"),
    "a group inside itself": (
        swapped('layerOrGroupRef="CORE_1"', 'layerOrGroupRef="all"'), "line .*lies inside another one",
    ),
    "copper on a layer that is nowhere": (swapped('layerRef="SIG_3"><Set', 'layerRef="SIG_9"><Set'), "line .*'SIG_9'"),
    "holes on a layer that is nowhere": (swapped('layerRef="DRILL"', 'layerRef="DRIL"'), "line .*'DRIL'"),
    "a span to a layer that is nowhere": (
        swapped('toLayer="BOTTOM"', 'toLayer="BOT"'), "line 23: drill layer DRILL: Span names BOT",
    ),
    "no span": (swapped('<Span fromLayer="TOP" toLayer="BOTTOM"/>', ""), "line 23: drill layer DRILL: has no Span"),
    "a span of one layer": (swapped('toLayer="BOTTOM"', 'toLayer="TOP"'), "line 23: .*begins and ends on TOP"),
    "a shape that is nowhere": (
        swapped('<Circle diameter="0.45"/>', '<StandardPrimitiveRef id="C1"/>'), "line .*shape 'C1': the file has no",
    ),
    "a line width that is nowhere": (
        swapped('<LineDesc lineEnd="ROUND" lineWidth="0.12"/>', '<LineDescRef id="W"/>'), "line .*'W': the file has no",
    ),
    "a component twice": (swapped('refDes="U1"', 'refDes="J1"'), "line .*Component 'J1' appears twice"),
    "a net of two classes": (swapped('name="P3V3"', 'name="GND"'), "line .*'GND' appears with two classes"),
    "a net paired with two": (swapped('netPair="FLOW_N"', 'netPair="LEVEL"'), "line .*is paired with"),
    "a name of many lines": (swapped('net="ALARM"', 'net="A&#10;B"'), "line .*must be one line"),
    "a name without end": (swapped('net="ALARM"', f'net="{"A" * 10_000}"'), "line .*at most 300 characters"),
    "several boards": (swapped("</CadData>", f"{PANEL}</CadData>"), r"line \d+: several steps hold plated holes"),
}  # fmt: skip


@pytest.mark.parametrize("wrong", WRONG)
def test_a_wrong_file_is_refused_with_file_and_line(wrong, tmp_path):
    content, said = WRONG[wrong]
    with pytest.raises(FileError, match=said) as refused:
        read(tmp_path, content)
    assert str(refused.value).startswith("bad.xml: ")
    assert len(str(refused.value)) < 1000


def test_one_of_several_steps_is_read_by_its_name(tmp_path):
    """A board beside a coupon or a panel with plated holes of its own."""
    text = swapped("</CadData>", f"{PANEL}</CadData>")
    assert read(tmp_path, text, step="sluice").board == read(tmp_path, SHARED).board
    with pytest.raises(FileError, match=r"several steps hold plated holes \(.*, panel\); give step"):
        read(tmp_path, text, step="nowhere")
    with pytest.raises(StubsiError, match="step: 'panel' is no step of the file with plated holes"):
        read(tmp_path, SHARED, step="panel")


def test_the_file_that_is_made_wrong_is_right(tmp_path):
    assert len(read(tmp_path, SHARED).board.signal_nets) == 3
    assert read(tmp_path, SHARED.replace("UTF-8", "UTF-16", 1).encode("utf-16")).board == read(tmp_path, SHARED).board


def test_a_refused_file_fills_no_memory(tmp_path):
    """Three million levels, 27 MB: refused at the 65th, without reading on."""
    path = tmp_path / "deep.xml"
    path.write_text('<IPC-2581 revision="C">' + "<Content>" * 3_000_000)
    tracemalloc.start()
    try:
        with pytest.raises(FileError, match="64 elements"):
            read_ipc2581(path)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 2_000_000


def test_reading_tells_how_far_it_is(tmp_path):
    """At every megabyte and at the end, never backwards; an error of the callback ends the reading."""
    text = SHARED.replace("</CadData>", f"<!--{' ' * 3_000_000}--></CadData>")
    told = []
    read(tmp_path, text, progress=lambda done, of: told.append((done, of)))
    size = len(text.encode("utf-8"))
    assert told == [(1 << 20, size), (2 << 20, size), (size, size)]

    def stop(done, of):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        read(tmp_path, text, progress=stop)
    with pytest.raises(StubsiError, match="progress"):
        read(tmp_path, text, progress=3)


@pytest.mark.parametrize("area", [False, True], ids=["line", "area"])
def test_few_and_many_shapes_are_looked_up_alike(area, monkeypatch):
    """Random shapes and holes: the tree finds what the distances between all pairs say."""
    rng = np.random.default_rng(3)
    place = rng.uniform(0, 0.05, (300, 2))
    reach = rng.choice([0.1e-3, 0.15e-3, 0.6e-3], 300)
    copper = Copper()
    for x, y, width in zip(*rng.uniform(0, 0.05, (2, 400)), rng.choice([1e-4, 2e-4, 3e-3], 400), strict=True):
        if area:
            copper.areas.append(stubsi.files.exchange_drawing.Area(square(x, y, width), [square(x, y, width / 2)]))
        else:
            copper.lines.extend((x, y, x + 1e-3, y + 2e-3, width))

    def touched():
        return exchange_touch.touches(*exchange_pieces.shapes_of(copper), shapely.points(place), reach)

    monkeypatch.setattr(exchange_touch, "FEW_PAIRS", 0)
    tree = touched()
    monkeypatch.setattr(exchange_touch, "FEW_PAIRS", 10**9)
    pairs = touched()
    assert 10 < pairs.sum() < 290
    np.testing.assert_array_equal(tree, pairs)


# Changed at random

VALUES = (
    "NaN",
    "-1",
    "0",
    "1e999",
    "1e-300",
    "99999999999",
    "",
    " ",
    "TOP",
    "true",
    "\u202e",
    "x" * 400,
    "&#10;",
    "GND",
)


def mutated(rng, text):
    """A text with one to four random changes, as text or bytes."""
    for _ in range(rng.randint(1, 4)):
        kind = rng.randrange(8)
        if kind == 0:  # an attribute gets another value
            places = [match.span(1) for match in re.finditer(r'="([^"]*)"', text)]
            if places:
                start, end = rng.choice(places)
                text = text[:start] + rng.choice(VALUES) + text[end:]
        elif kind == 1:  # two values change places
            places = [match.span(1) for match in re.finditer(r'="([^"]*)"', text)]
            if len(places) > 1:
                (a, b), (c, d) = sorted(rng.sample(places, 2))
                text = text[:a] + text[c:d] + text[b:c] + text[a:b] + text[d:]
        elif kind in (2, 3, 4):  # a line is left out, comes twice, or moves
            lines = text.split("\n")
            line = lines.pop(rng.randrange(len(lines)))
            for _ in range(kind - 2):
                lines.insert(rng.randrange(len(lines) + 1), line)
            text = "\n".join(lines)
        elif kind == 5:  # an attribute is left out
            text = re.sub(
                rf'(.{{{rng.randrange(max(1, len(text) - 500))}}}.*?) \w+="[^"]*"',
                r"\1",
                text,
                count=1,
                flags=re.DOTALL,
            )
        elif kind == 6:  # an element has another name
            names = re.findall(r"<(\w+)", text)
            if names:
                old, new = rng.choice(names), rng.choice(names)
                text = (
                    text.replace(f"<{old} ", f"<{new} ", 1)
                    if rng.random() < 0.3
                    else re.sub(rf"(</?){old}\b", rf"\1{new}", text)
                )
        else:  # the file is cut off
            text = text if rng.random() < 0.7 else text[: rng.randrange(len(text) + 1)]
    data = text.encode("utf-8")
    if rng.random() < 0.1 and data:
        place = rng.randrange(len(data))
        data = data[:place] + bytes([rng.randrange(256)]) + data[place + 1 :]
    return data


def fuzz(tmp_path, count, seed):
    """(read, refused) of so many changed files."""
    rng, path, refused = random.Random(seed), tmp_path / "fuzz.xml", 0
    for number in range(count):
        path.write_bytes(data := mutated(rng, SHARED))
        try:
            result = read_ipc2581(path, **GIVEN)
            assert len(repr(result)) < 200
            assert str(result)
        except StubsiError as error:
            refused += 1
            if not 0 < len(str(error)) < 3000:
                pytest.fail(f"file {number} of seed {seed}: an error text of {len(str(error))} characters")
        except Exception as error:
            (tmp_path / "found.xml").write_bytes(data)
            pytest.fail(f"file {number} of seed {seed}, {tmp_path}/found.xml: {type(error).__name__}: {error}")
    return count - refused, refused


def test_changed_files_are_read_or_refused(tmp_path):
    taken, refused = fuzz(tmp_path, 150, 1)
    assert taken > 10
    assert refused > 50


@pytest.mark.slow
def test_many_changed_files_are_read_or_refused(tmp_path, capsys):
    taken, refused = fuzz(tmp_path, 20_000, 2)
    with capsys.disabled():
        print(f"\nchanged IPC-2581 files: {taken} read, {refused} refused, 0 other errors")
    assert taken + refused == 20_000


# Time and memory grow with the size of the file


def many_holes(tmp_path, count):
    """A board of so many holes, ten to a net, each with a pad and a line on two layers."""
    exchange = Exchange().net("GND", "GROUND")
    for number in range(count):
        net, x, y = f"N{number // 10}", 1.5 * (number % 200), 1.5 * (number // 200)
        exchange.hole(net, x, y).pads(net, x, y, layers=("TOP", "SIG_3"))
        for layer in ("TOP", "SIG_3"):
            exchange.line(layer, net, [(x, y), (x + 0.5, y + 0.5)])
    return exchange.write(tmp_path, f"{count}.xml")


@pytest.mark.slow
def test_time_and_memory_grow_with_the_number_of_holes(tmp_path):
    times, peaks = [], []
    for count in (2_000, 16_000):
        path, best = many_holes(tmp_path, count), float("inf")
        for _ in range(2):
            start = time.process_time()
            result = read_ipc2581(path, signals={"N*": "10 Gb/s"}, z0="50 ohm")
            best = min(best, time.process_time() - start)
        assert len(result.board.signal_holes.kind) == count
        times.append(best)
        tracemalloc.start()
        read_ipc2581(path, signals={"N*": "10 Gb/s"}, z0="50 ohm")
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert times[1] / times[0] < 2 * 8
    assert peaks[1] / peaks[0] < 1.5 * 8

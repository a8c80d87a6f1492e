"""Copper of a board file near the depth drills of a plan. Distances are plane geometry, worked by hand in the file.

The via of net DATA stands at (5, 5) mm, leaves on SIG_3 and is drilled from the bottom: drill 0.3 + 0.2 = 0.5 mm, past
BOTTOM, GND_5 and SIG_4. Needed are 0.15 mm to copper and 0.05 mm for the edge, 0.2 mm together.
"""

from __future__ import annotations

import pytest

import stubsi
from stubsi import (
    BoardError,
    CopperKind,
    CopperNearDrills,
    FileError,
    StubsiError,
    copper_near_drills,
    read_ipc2581,
)
from stubsi.__main__ import main
from tests.exchange_files import Exchange, square
from tests.readers import pandas_rows

RULES = {
    "oversize": "0.2 mm", "tip_angle": 150, "tip_distance": None, "least_depth": "0 mm", "least_plated": "0 mm",
    "copper_clearance": "0.15 mm", "edge_tolerance": "0.05 mm", "hole_clearance": None, "sides": {"bottom": "any"},
    "datum": "copper", "depth_to": "tip", "source": "test",
    "tolerance": stubsi.GuaranteedResidual.plus_minus("0.2 mm", "0.05 mm", source="test"),
}  # fmt: skip


def drawn():
    exchange = Exchange().hole("DATA", 5, 5).pads("DATA", 5, 5).net("GND", "GROUND").hole("GND", 6, 5)
    return exchange.line("TOP", "DATA", [(5, 5), (9, 5)]).line("SIG_3", "DATA", [(5, 5), (5, 9)])


def found(exchange, folder, **rules):
    path = exchange.write(folder)
    read = read_ipc2581(
        path, signals={"DATA": "16 GT/s"}, z0="50 ohm", pads={"0.3 mm": "0.5 mm"}, antipads={"0.3 mm": "0.9 mm"}
    )
    plan = stubsi.plan(read.board, stubsi.FabricatorRules(**{**RULES, **rules}), model="uniform")
    assert [(group.side, group.layer) for group in plan.groups] == [("bottom", "SIG_3")]
    return copper_near_drills(plan, path), plan


def test_a_line_is_found_with_its_place_distance_and_move(tmp_path):
    """Edge of the drill at 5.25, of the line at 5.4 - 0.05 = 5.35: 0.1 mm apart; 0.1 mm farther clears it."""
    near, _ = found(drawn().line("SIG_4", "ALARM", [(5.4, 3), (5.4, 8)]), tmp_path)
    (each,) = near
    assert (each.hole, each.net, each.side, each.layer) == ("DATA.1", "DATA", "bottom", "SIG_4")
    assert (each.copper_net, each.kind, each.too_near) == ("ALARM", CopperKind.LINE, True)
    assert each.at_si == pytest.approx((5.35e-3, 5e-3), rel=1e-9)
    assert each.distance_si == pytest.approx(0.1e-3, abs=1e-12)
    assert each.needed_si == pytest.approx(0.2e-3, rel=1e-12)
    assert each.shift_si == pytest.approx((0.1e-3, 0), abs=1e-12)
    assert each.clearance_si is None
    assert "too near; move the line by 0.1 mm in x" in str(each)


@pytest.mark.parametrize(
    "points", [[(5.4, 3), (5.4, 8)], [(5, 4), (5, 7)], [(4.2, 4.5), (6, 5.1)], [(5.2, 5.1), (7, 6)]]
)
def test_the_move_clears_it_and_no_shorter_one_does(points, tmp_path):
    near, _ = found(drawn().line("SIG_4", "ALARM", points), tmp_path)
    (each,) = near
    for part, left in ((1.0, 0), (0.99, 1)):
        dx, dy = (part * 1e3 * step for step in each.shift_si)
        moved = [(x + dx, y + dy) for x, y in points]
        assert len(found(drawn().line("SIG_4", "ALARM", moved), tmp_path)[0]) == left


def test_a_plane_must_leave_the_clearance_that_is_named(tmp_path):
    """The cut-out ends 0.3 mm from the middle, 0.05 mm from the drill. Needed is 0.5 + 2 x 0.2 = 0.9 mm across."""
    near, _ = found(drawn().area("GND_5", "GND", square(5, 5, 4), square(5, 5, 0.3)), tmp_path)
    (each,) = near
    assert (each.kind, each.copper_net, each.shift_si) == (CopperKind.AREA, "GND", None)
    assert each.distance_si == pytest.approx(0.05e-3, abs=1e-12)
    assert each.clearance_si == pytest.approx(0.9e-3, rel=1e-12)
    assert len(found(drawn().area("GND_5", "GND", square(5, 5, 4), square(5, 5, 0.4501)), tmp_path)[0]) == 0
    whole, _ = found(drawn().area("GND_5", "GND", square(5, 5, 4)), tmp_path)
    assert whole.near[0].distance_si < 0


def test_layers_that_the_drill_does_not_pass_do_not_count(tmp_path):
    exchange = drawn()
    for layer in ("TOP", "GND_2", "SIG_3"):
        exchange.line(layer, "ALARM", [(5.3, 6), (5.3, 8)]).line(layer, "ALARM", [(5.35, 4), (7, 4)])
    assert len(found(exchange, tmp_path)[0]) == 0


def test_every_kind_of_copper_counts_but_the_pad_of_the_hole(tmp_path):
    """A round pad, a corner of a rectangle, copper without a net, a teardrop, and a line of the same net."""
    exchange = drawn().pad("BOTTOM", "P1", 5.6, 5, size=0.4)
    exchange.pad("BOTTOM", "P2", 5, 4.4, '<RectCenter width="{}" height="{}"/>', size=0.4)
    exchange.line("SIG_4", "", [(4.52, 4), (4.52, 6)]).area(
        "SIG_4", "P3", square(5, 5.5, 0.1), geometryUsage="TEARDROP"
    )
    exchange.line("SIG_4", "DATA", [(5.45, 4), (5.45, 6)])
    near, _ = found(exchange, tmp_path)
    assert {(each.layer, each.copper_net, each.kind): 1e6 * each.distance_si for each in near} == {
        ("BOTTOM", "P1", "pad"): pytest.approx(150), ("BOTTOM", "P2", "pad"): pytest.approx(150),
        ("SIG_4", "", "line"): pytest.approx(180), ("SIG_4", "P3", "pad"): pytest.approx(150),
        ("SIG_4", "DATA", "line"): pytest.approx(150),
    }  # fmt: skip


def test_an_unknown_rule_is_not_judged_but_a_cut_is(tmp_path):
    exchange = drawn().line("SIG_4", "ALARM", [(5.4, 3), (5.4, 8)]).line("BOTTOM", "LEVEL", [(4, 5), (4.9, 5)])
    near, _ = found(exchange, tmp_path, copper_clearance=None)
    assert [(each.copper_net, each.too_near, each.shift_si) for each in near] == [
        ("LEVEL", True, None), ("ALARM", None, None),
    ]  # fmt: skip
    assert near.summary() == "1 piece of copper too near; 1 not judged, because a rule is unknown."


def test_copper_that_cannot_be_read_is_named(tmp_path):
    exchange = drawn().area("GND_5", "GND", square(5, 5, 0.4), polarity="NEGATIVE")
    near, _ = found(exchange.pad("TOP", "P", 9, 9, "<Donut/>"), tmp_path)
    assert near.not_checked == ("GND_5",)
    assert "GND_5" in near.summary()


def test_as_a_table_and_in_a_notebook(tmp_path):
    near, _ = found(drawn().line("SIG_4", "ALARM", [(5.4, 3), (5.4, 8)]), tmp_path)
    frame = near.to_frame()
    assert frame["distance [mm]"].tolist() == pytest.approx([0.1])
    assert frame["move in x [mm]"].tolist() == pytest.approx([0.1])
    assert "ALARM" in near._repr_html_()
    assert len(repr(near)) < 200


def test_the_file_must_be_that_of_the_board(tmp_path):
    _, plan = found(drawn(), tmp_path)
    other = Exchange().hole("DATA", 5.1, 5).pads("DATA", 5.1, 5)
    with pytest.raises(FileError, match=r"no plated hole at \(5 mm, 5 mm\), where DATA.1 of net DATA"):
        copper_near_drills(plan, other.write(tmp_path, "other.xml"))
    with pytest.raises(FileError, match="has no layer"):
        copper_near_drills(plan, Exchange(layers=()).hole("DATA", 5, 5).write(tmp_path, "other.xml"))
    with pytest.raises(BoardError, match="must be a plan"):
        copper_near_drills("plan", tmp_path / "board.xml")


def test_the_hand_off_lists_each_piece_of_copper(tmp_path):
    """The line of the first test, with the figures worked out there; a later hand-off takes the list away."""
    near, plan = found(drawn().line("SIG_4", "=ALARM", [(5.4, 3), (5.4, 8)]), tmp_path)
    paths = stubsi.write_hand_off(plan, tmp_path / "out", copper=near)
    assert paths[-1].name == "copper_near_drills.csv"
    text = paths[-1].read_text(encoding="utf-8")
    assert stubsi.still_valid(text, plan, plan.board, plan.rules)
    head, row = pandas_rows(text)
    said = dict(zip(head, row, strict=True))
    assert (said["drilled hole"], said["layer"], said["copper"], said["too near"]) == ("DATA.1", "SIG_4", "line", "yes")
    assert said["net of the copper"].lstrip("'\t ") == "=ALARM"
    assert not said["net of the copper"].startswith("=")  # no formula for a spreadsheet
    assert (said["x [mm]"], said["distance [mm]"], said["move in x [mm]"]) == ("5.3500", "0.1000", "0.1000")
    assert not stubsi.read_hand_off(tmp_path / "out", plan)
    stubsi.write_hand_off(plan, tmp_path / "out", replace=True)
    assert not (tmp_path / "out" / "copper_near_drills.csv").exists()


def test_copper_of_another_plan_is_refused(tmp_path):
    near, plan = found(drawn().line("SIG_4", "ALARM", [(5.4, 3), (5.4, 8)]), tmp_path)
    wrong = CopperNearDrills((near.near[0]._replace(hole="OTHER.1"),), (), ())
    with pytest.raises(StubsiError, match=r"OTHER\.1 is not drilled in this plan"):
        stubsi.write_hand_off(plan, tmp_path / "out", copper=wrong)
    with pytest.raises(StubsiError, match="copper"):
        stubsi.write_hand_off(plan, tmp_path / "out", copper="all")


def test_the_command_says_and_lists_what_is_too_near(tmp_path, capsys):
    board = drawn().line("SIG_4", "ALARM", [(5.4, 3), (5.4, 8)]).write(tmp_path)
    facts, rules = tmp_path / "facts.toml", tmp_path / "rules.toml"
    facts.write_text(
        f'exchange = "{board.name}"\nz0 = "50 ohm"\n[signals]\nDATA = "25 Gb/s"\n[pads]\n"0.3 mm" = "0.5 mm"\n'
        '[antipads]\n"0.3 mm" = "0.9 mm"\n',
        encoding="utf-8",
    )
    stubsi.write_rules(rules, rules=stubsi.FabricatorRules(**RULES))
    assert main([str(facts), "--rules", str(rules), "--out", str(tmp_path / "out")]) == 0
    said = capsys.readouterr().out
    assert "1 piece of copper too near." in said
    assert "ALARM" in (tmp_path / "out" / "copper_near_drills.csv").read_text(encoding="utf-8")


@pytest.mark.parametrize("sign", "=+-@")
def test_no_cell_of_any_list_of_a_hand_off_is_a_formula(sign, tmp_path):
    """Nets that begin as a formula does, in the lists of groups, holes, coupons and copper, as pandas reads them."""
    exchange = drawn().line("SIG_4", f"{sign}B1", [(5.4, 3), (5.4, 8)])
    exchange.features = [each.replace('net="DATA"', f'net="{sign}A1"') for each in exchange.features]
    path = exchange.write(tmp_path)
    read = read_ipc2581(
        path, signals={f"{sign}A1": "16 GT/s"}, z0="50 ohm", pads={"0.3 mm": "0.5 mm"}, antipads={"0.3 mm": "0.9 mm"}
    )
    plan = stubsi.plan(read.board, stubsi.FabricatorRules(**RULES), model="uniform")
    near = copper_near_drills(plan, path)
    for written in stubsi.write_hand_off(plan, tmp_path / "out", copper=near):
        if written.suffix == ".csv":
            cells = [cell for row in pandas_rows(written.read_text(encoding="utf-8")) for cell in map(str, row)]
            assert not [cell for cell in cells if cell.startswith(("=", "+", "@", "-A", "-B"))]
            assert any(f"'{sign}A1" in cell for cell in cells) or "schedule" in written.name  # it names no net
    assert not stubsi.read_hand_off(tmp_path / "out", plan, copper=near)


def test_the_list_is_read_back(tmp_path):
    """Edited, missing or of another plan: each is told, with the piece of copper and both values."""
    near, plan = found(drawn().line("SIG_4", "ALARM", [(5.4, 3), (5.4, 8)]), tmp_path)
    stubsi.write_hand_off(plan, tmp_path / "out", copper=near)
    assert not stubsi.read_hand_off(tmp_path / "out", plan, copper=near)
    assert not stubsi.read_hand_off(tmp_path / "out", plan)
    path = tmp_path / "out" / "copper_near_drills.csv"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace(",0.1000,0.2000,yes", ",0.3000,0.2000,no"), encoding="utf-8")
    differences = stubsi.read_hand_off(tmp_path / "out", plan, copper=near).differences
    where = "drilled hole DATA.1 drilled from bottom layer SIG_4 net of the copper ALARM copper line"
    assert [each[2:] for each in differences] == [
        ("text", "as written", "edited"), (f"{where}, distance [mm]", "0.1000", "0.3000"),
        (f"{where}, too near", "yes", "no"),
    ]  # fmt: skip
    assert text.splitlines()[differences[1].line - 1].startswith("DATA.1,")
    (edited,) = stubsi.read_hand_off(tmp_path / "out", plan).differences
    assert edited == ("copper_near_drills.csv", None, "text", "as written", "edited")
    path.unlink()
    (missing,) = stubsi.read_hand_off(tmp_path / "out", plan, copper=near).differences
    assert missing == ("copper_near_drills.csv", None, "file", "there", "")

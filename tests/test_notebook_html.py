"""What a notebook shows of every result: HTML with its figures in it, short, and nothing that a name can break."""

from __future__ import annotations

import html.parser
import re

import pytest

from stubsi import (
    Board,
    check_stub,
    difference,
    hand_off_check,
    hole_model,
    layer_matrix,
    plan,
    rank,
    stub_budget,
    undrilled_changes,
)  # fmt: skip
from stubsi.margin.reason import DrillSide, Reason
from stubsi.margin.verdict import Verdict
from tests import drilling_boards as made
from tests import margin_boards as mb
from tests.readers import MARKUP

EVIL = "<b>A</b>&B"


class Parsed(html.parser.HTMLParser):
    """Tags and text of an HTML text; every tag that is opened is closed."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.text, self.open = set(), "", []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text += data + " "


@pytest.fixture(scope="module")
def board():
    routes = {"layers": ("L1", "L2", "L3", "L4", "L5")}
    nets = (
        made.net(EVIL, ("L1", "L2"), 0.4, **routes),
        made.net("B", ("L1", "L3"), 0.4, **routes),
        made.net("C", ("L1", "L3"), 0.4),
        made.net("D", ("L4", "L6"), 0.2),
    )
    return Board(stackup=made.stackup((0.25,) * 5), nets=nets, name=EVIL)


@pytest.fixture(scope="module")
def drilled(board):
    return plan(board, made.rules(sides={"bottom": "any"}), model="uniform", dk_eff=4)


@pytest.fixture(scope="module")
def results(board, drilled):
    matrix = layer_matrix(mb.stackup(), ["25 Gb/s"], padstack=mb.VIA, z0="50 ohm", return_vias=mb.RETURNS)
    changed = board.with_waiver(net="B", waiver=EVIL).with_layer(net=EVIL, from_layer="L2", to_layer="L4")
    geometry = {"stackup": mb.stackup(), "padstack": mb.VIA, "layer": "S1", "return_vias": mb.RETURNS}
    return {
        "board": board,
        "ranking": rank(board, dk_eff=4),
        "plan": drilled,
        "consequences": drilled.consequences(),
        "reroutes": drilled.reroutes(),
        "effects": drilled.effects(),
        "near holes": drilled.near_holes(),
        "questions": plan(board, made.rules(least_depth=None), model="uniform", dk_eff=4).questions(),
        "check": check_stub("24 mil", "25.78125 Gb/s", dk_eff=6.17),
        "check of a length only": check_stub("24 mil", "25 Gb/s", criterion="TI 15 mil", **geometry),
        "budget": stub_budget("DDR4-3200", dk_eff=4),
        "budget of a geometry": stub_budget("25 Gb/s", **geometry),
        "matrix": matrix,
        "difference of boards": difference(board, changed),
        "difference of rankings": difference(rank(board, dk_eff=4), rank(changed, dk_eff=4)),
        "difference of plans": difference(
            drilled, plan(changed, made.rules(sides={"bottom": "any"}), model="uniform", dk_eff=4)
        ),
        "undrilled": undrilled_changes(board, EVIL, model="uniform", dk_eff=4),
        "shallower": drilled.shallower_changes(EVIL),
        "hand-off check": hand_off_check(drilled),
        "hole": hole_model(mb.board(mb.net("A", ("S1", "S2"))), "A.0"),
    }


@pytest.fixture(scope="module")
def pages(results):
    """The HTML of every result, made once."""
    return {name: result._repr_html_() for name, result in results.items()}


@pytest.fixture(scope="module")
def shown(pages):
    return {name: Parsed(page) for name, page in pages.items()}


def test_every_result_is_a_table_and_no_other_markup(shown):
    for page in shown.values():
        assert "table" in page.tags
        assert page.tags <= MARKUP


def test_every_result_is_one_frame_with_one_style_sheet_that_touches_nothing_else(pages):
    for page in pages.values():
        assert page.startswith('<div class="stubsi"><style>')
        assert page.count("<style>") == 1
        sheet = page[page.index("<style>") + 7 : page.index("</style>")]
        assert all(part.strip().startswith(".stubsi") for rule in sheet.split("}")[:-1] for part in rule.split("{")[:1])
        assert "<script" not in page


def test_what_explains_is_folded_and_what_decides_is_open(board, drilled):
    ranking = rank(board, dk_eff=4)._repr_html_()
    open_, folded = ranking.split("<details>")
    assert "4 nets: " in open_
    assert "confirm with the fabricator" in open_
    assert "<summary>Criteria, models and notes: " in folded
    assert "<summary>Remarks: 1</summary>" in drilled._repr_html_()


def test_what_decides_is_in_view_and_every_other_column_is_one_press_away(board):
    """The sheet hides the cells of the class, and only behind a fold that is closed; without a sheet all is in view."""
    page = rank(board, dk_eff=4)._repr_html_()
    heads = re.findall(r"<th( class=\"more\")?>([^<]*)</th>", page)
    assert [title for hidden, title in heads if not hidden][:4] == ["net", "verdict", "reason", "first notch / Nyquist"]
    assert {"model", "criterion", "governing hole"} <= {title for hidden, title in heads if hidden}
    assert f"<summary>All {len(heads)} columns</summary></details><table>" in page
    assert ".stubsi details.more:not([open]) + table .more { display: none; }" in page


SAFE = {"class", "style"}
"""Attributes that the package writes into a notebook: no handler, no address."""


def test_no_markup_of_a_result_can_act(pages):
    """No script, no handler, no address, nothing that is loaded: only marks for the style sheet, whatever the names."""
    for page in pages.values():
        assert {name for tag in re.findall(r"<[a-z][^>]*>", page) for name in re.findall(r'([a-z-]+)="', tag)} <= SAFE
        assert not re.search(r"url\(|@import|expression|javascript:", page)


def test_names_are_text(shown):
    differences = (f"difference of {what}" for what in ("boards", "rankings", "plans"))
    for name in ("board", "ranking", "plan", "consequences", "reroutes", "undrilled", "shallower", *differences):
        assert EVIL in shown[name].text


def test_the_board_shows_its_layers_and_counts(shown, board):
    text = shown["board"].text
    assert "4 signal nets, 0 reference nets, 4 holes" in text
    assert all(name in text for name in board.stackup.names)
    assert "10 Gb/s NRZ 4" in text


def test_the_plan_shows_its_groups_its_digest_and_what_is_refused(shown, drilled):
    text = shown["plan"].text
    assert drilled.digest in text
    assert drilled.summary().splitlines()[0] in text
    assert "refused: D: D.1 from the top" in text
    assert all(f"{group.number} bottom L6 {group.layer} " in text for group in drilled.groups)


def test_consequences_show_both_ends_and_why(shown, drilled):
    text = shown["consequences"].text
    assert all(line in text for line in drilled.consequences().summary().splitlines())
    assert "D.1 from the top" in text


def test_reroutes_show_the_best_moves(shown, drilled):
    moves = drilled.reroutes()
    assert f"best single move: {moves.single}" in shown["reroutes"].text
    assert "C: no other layer it may use" in shown["reroutes"].text


def test_effects_and_questions_show_a_row_each(shown, board, drilled):
    for effect in drilled.effects():
        assert f"{effect.padstack.name} {effect.side} {', '.join(effect.layers)} {effect.kind}" in shown["effects"].text
    questions = plan(board, made.rules(least_depth=None), model="uniform", dk_eff=4).questions()
    assert len(questions) > 0
    for question in questions:
        assert f"{question.unknown} {question.flips} {question.about}" in shown["questions"].text


def test_checks_and_budgets_show_their_figures(shown):
    """0.6096 mm at Dk_eff 6.17: c / (4 L sqrt(Dk)) = 49.5 GHz (derived)."""
    assert "falls short" in shown["check"].text
    assert "49.5 GHz" in shown["check"].text
    assert "0.6096 mm" in shown["check"].text
    assert "4.684 mm" in shown["budget"].text
    assert "longest stub" in shown["budget"].text
    assert "ending" in shown["budget of a geometry"].text
    for name in ("check", "budget"):
        assert "confirm with the fabricator" in shown[name].text


def test_a_hole_shows_both_its_stubs(shown):
    """0.23 mm a layer: two from S1 up to the top face, two from S2 down to the bottom face."""
    hole = hole_model(mb.board(mb.net("A", ("S1", "S2"))), "A.0")
    text = shown["hole"].text
    assert "Hole A.0" in text
    assert text.count("0.46 mm from") == 2
    for stub in hole.stubs:
        low, high = stub.notch_frequency().m_as("GHz")
        assert f"{low:.4g} GHz to {high:.4g} GHz" in text
        assert str(stub.provenance) in text


def test_a_long_ranking_is_cut_short():
    nets = [mb.net(f"N{i}", ("TOP", "S1"), place=i) for i in range(250)]
    ranking = rank(mb.board(*nets, places=0), model="uniform")
    page = ranking._repr_html_()
    assert page.count("<tr>") == 1 + 200
    assert "and 50 more rows" in page


def test_a_plan_with_many_remarks_shows_the_first():
    nets = [made.net(f"N{i:02}", ("L4", "L6"), 0.2) for i in range(30)]
    refused = plan(
        Board(stackup=made.stackup((0.25,) * 5), nets=nets),
        made.rules(sides={"bottom": "any"}),
        model="uniform",
        dk_eff=4,
    )
    page = refused._repr_html_()
    assert page.count("<div>refused: ") == 20
    assert "and 10 more remarks, see to_text()" in page


def test_parts_of_results_show_their_figures():
    """Every part that a cell can end in: a row, a stub of a hole, and what a board is made of."""
    board = mb.board(mb.net(EVIL, ("TOP", "S1")))
    ranking = rank(board)
    row, stub = ranking[EVIL], hole_model(board, f"{EVIL}.0").below
    shows = {
        row: [EVIL, "stub length [mm]", f"{row.stub_length_si * 1e3:.4g}", row.reason],
        stub: ["bottom", str(stub.distance), "first notch", "GHz", str(stub.provenance)],
        stub.provenance: ["Provenance", stub.provenance.tier, "model error", stub.provenance.model_error],
        board.stackup: ["Stackup", *board.stackup.names, "dielectric"],
        board.net(EVIL): [EVIL, "holes", "z0", "50 ohm"],
        mb.VIA: ["Padstack", "drill", "0.3 mm"],
    }
    for thing, texts in shows.items():
        page = Parsed(thing._repr_html_())
        assert page.tags <= {"div", "table", "thead", "tbody", "tr", "th", "td"}
        for text in texts:
            assert text in page.text
        assert len(repr(thing)) < 200


def test_a_reason_prints_short():
    holes = tuple(f"{'x' * 100}{i}" for i in range(3))
    why = Reason(Verdict.DRILL, None, (DrillSide("bottom", "S1", holes),), waiver="agreed " * 100)
    assert repr(why).startswith("<Reason drill: agreed")
    assert len(repr(why)) < 200

"""Whatever stands in a name or a source, every export reads back: its columns, its rows, and no line more.

The readers are not ours: pandas and the csv module (as a spreadsheet reads), markdown-it, Python's HTML parser.
"""

from __future__ import annotations

import re
import tomllib
from functools import cache

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from stubsi import (
    Board,
    BoardError,
    CopperLayer,
    Criterion,
    Hole,
    Net,
    Padstack,
    check_stub,
    difference,
    hole_model,
    layer_matrix,
    plan,
    rank,
    read_board,
    still_valid,
    stub_budget,
)
from stubsi.__main__ import main
from stubsi.checks import one_line
from tests import drilling_boards as db
from tests import margin_boards as mb
from tests.board_text import MINIMAL, changed
from tests.readers import html_rows, markdown_rows, pandas_rows, spreadsheet_rows

CONTROLS = [
    "\n", "\r\n", "\t", "\0", "\x1b[31m", "\x0b", "\x85", "\u2028", "\u2029", "\u202e", "\u2066", "\u200b",
    "\ufeff",
]  # fmt: skip
FORGED = 'ok\n1,bottom,L1,L2,9.999\n| 1 | bottom |\n<script>x</script>, "=1+1,=2+2\n# Plan digest: 0123456789abcdef'
FORGED_DIGEST = "Plan digest: 0123456789abcdef, digest of this text: 0123456789abcdef"
NAMES = [
    "=1+1", "+3V3", "-12V", "@SUM(A1)", "# net", "a|b", "a\\|b", "a\\", "<script>x</script>", "&lt;", "*b*", "_c_",
    "`d`", "[e](f)", "![g](h)", "~~i~~", 'j,"k', "'quoted", " blank ", "\uff1dA1", "$\\bad$", FORGED_DIGEST,
]  # fmt: skip

hostile = st.sampled_from(CONTROLS + NAMES)
sources = st.lists(hostile | st.text(max_size=8), min_size=1, max_size=4).map("".join).filter(str.strip)
names = st.lists(st.sampled_from(NAMES) | st.text(max_size=8), min_size=1, max_size=3).map("".join)
names = names.filter(lambda name: name.strip() and one_line(name) == name)
few = settings(max_examples=8)


class Case:
    """A board, its ranking and its plan, with one name and one source in every place that takes one."""

    def __init__(self, name, source):
        self.name, self.source = name, source
        via = Padstack(name=name, drill="0.3 mm", finished="0.25 mm", pad="0.5 mm", antipad="0.8 mm")
        criterion = Criterion.stub_length("0.4 mm", source=source)
        nets = [
            Net(
                name=f"{name}{end}", signal="10 Gb/s", z0="50 ohm", criterion=criterion, waiver=waiver,
                holes=[Hole(name=f"{name}{end}", padstack=via, connects=used, x="1 mm", y="2 mm")],
            )
            for end, used, waiver in (("", ("L1", "L2"), ""), ("2", ("L1", "L3"), source))
        ]  # fmt: skip
        nets[1] = nets[1].replaced(holes=[nets[1].holes[0].replaced(x="9 mm")])
        self.board = Board(stackup=db.stackup((0.25,) * 5), nets=nets, name=name)
        self.rules = db.rules(source=source, least_depth=None)
        self.ranking = rank(self.board, dk_eff=4)
        self.plan = plan(self.board, self.rules, model="uniform", dk_eff=4)


case_of = cache(Case)
"""A case that is made once: every table is tested with the same names and sources."""


def outputs(case):
    """Everything that is printed about a case."""
    changes = case.plan.consequences()
    check = check_stub("1 mm", "10 Gb/s", dk_eff=4, criterion=case.board.nets[0].criterion)
    budget = stub_budget("10 Gb/s", dk_eff=4, criterion=case.board.nets[0].criterion)
    matrix = layer_matrix(
        case.board.stackup, ["10 Gb/s"], padstack=case.board.nets[0].holes[0].padstack, z0="50 ohm",
        criterion=case.board.nets[0].criterion,
    )  # fmt: skip
    return [
        case.board, *case.board.nets, case.rules, case.rules.tolerance, case.ranking, *case.ranking, case.plan,
        *case.plan.groups, *case.plan.hits, changes, *changes, case.plan.effects(), *case.plan.effects(),
        case.plan.near_holes(), case.plan.questions(), case.plan.reroutes(), check, budget, matrix,
        hole_model(case.board, case.name, model="uniform"), *(row.why for row in case.ranking),
        *case.plan.undrilled.values(), *differences(case),
    ]  # fmt: skip


def differences(case):
    """What differs once a net has another layer and the other one a waiver."""
    first, second = case.board.nets
    other = case.board.with_layer(net=first.name, from_layer="L2", to_layer="L3").with_waiver(
        net=second.name, waiver="other"
    )
    changes = [
        difference(case.board, other), difference(case.ranking, rank(other, dk_eff=4)),
        difference(case.plan, plan(other, case.rules, model="uniform", dk_eff=4)),
    ]  # fmt: skip
    return [*changes, *(change for each in changes for change in each)]


SHOWN = {
    "ranking.to_csv": (lambda case: case.ranking.to_csv(), pandas_rows, 2, 0),
    "ranking.to_markdown": (lambda case: case.ranking.to_markdown(), markdown_rows, 2, 0),
    "ranking._repr_html_": (lambda case: case.ranking._repr_html_(), html_rows, 2, 0),
    "plan.to_csv": (lambda case: case.plan.to_csv(), pandas_rows, 1, 12),
    "plan.holes_csv": (lambda case: case.plan.holes_csv(), pandas_rows, 1, 0),
    "plan.to_markdown": (lambda case: case.plan.to_markdown(), markdown_rows, 1, 12),
    "plan._repr_html_": (lambda case: case.plan._repr_html_(), html_rows, 1, 12),
    "consequences._repr_html_": (lambda case: case.plan.consequences()._repr_html_(), html_rows, 2, 0),
}
"""Every table: how it is made, who reads it, how many rows it has, and which column holds the name of the first net."""
FRAMES = {
    "ranking.to_csv": lambda case: list(case.ranking.to_frame().columns),
    "ranking.to_markdown": lambda case: list(case.ranking.to_frame().columns),
}
EXAMPLES = [("A", FORGED), ("=1+1", "a,=1+1"), ("a\\|b", 'x,"y'), ("# net", FORGED_DIGEST), ("<b>A</b>", "\x1b[31m")]


def with_examples(test):
    for name, source in EXAMPLES:
        test = example(name=name, source=source)(test)
    return few(given(name=names, source=sources)(test))


@pytest.mark.parametrize("table", SHOWN)
def test_every_table_reads_back_with_its_columns_and_rows(table):
    make, read, count, column = SHOWN[table]

    @with_examples
    def reads_back(name, source):
        case = case_of(name, source)
        head, *rows = read(make(case))
        assert len(rows) == count
        assert {len(row) for row in rows} == {len(head)}
        shown = {row[column].strip() for row in rows}
        assert case.name.strip() in {text.removeprefix("'") for text in shown} | shown
        if table in FRAMES:
            assert head == FRAMES[table](case)

    reads_back()


@with_examples
def test_a_spreadsheet_computes_nothing_and_loses_no_line(name, source):
    """Comments too are broken into cells; a part that opened a quotation would hide the rows below it."""
    case = case_of(name, source)
    for text in (case.ranking.to_csv(), case.plan.to_csv(), case.plan.holes_csv()):
        rows = spreadsheet_rows(text)
        assert len(rows) == text.count("\n")
        for cell in (cell.strip() for row in rows for cell in row):
            assert not cell.startswith(tuple("=@\uff1d\uff0b\uff0d\uff20\t\r"))
            assert cell[:1] not in ("+", "-") or float(cell) is not None


@with_examples
def test_nothing_that_is_printed_leaves_its_line(name, source):
    """As text, in print and in a notebook."""
    case = case_of(name, source)
    texts = [case.plan.to_text(), case.ranking.to_text(), case.plan.explain(name)]
    for result in outputs(case):
        texts += [str(result), repr(result), result._repr_html_() if hasattr(result, "_repr_html_") else ""]
    for text in texts:
        assert all(one_line(line) == line for line in text.split("\n"))
        assert "<script>" not in text or not text.startswith("<div>")


@with_examples
def test_an_export_still_holds_whatever_stands_in_it(name, source):
    case = case_of(name, source)
    for text in (case.plan.to_text(), case.plan.to_csv(), case.plan.holes_csv(), case.plan.to_markdown()):
        assert still_valid(text, case.plan, case.board, case.rules)
        assert not still_valid(text.replace("bottom", "top"), case.plan, case.board, case.rules)


@pytest.mark.parametrize("control", CONTROLS, ids=ascii)
@pytest.mark.parametrize(
    "make",
    [
        lambda name: Padstack(name=name, drill="0.3 mm"),
        lambda name: CopperLayer(name=name, thickness="35 um"),
        lambda name: Hole(name=name, padstack=mb.VIA),
        lambda name: Hole(name="A", padstack=mb.VIA, connects=(name,)),
        lambda name: Net(name=name, holes=[mb.hole("A", ())], reference=True),
        lambda name: Board(stackup=mb.stackup(), nets=(), name=name),
        lambda name: mb.net("A", ("TOP", "S1"), layers=(name,)),
    ],
    ids=["padstack", "layer", "hole", "connects", "net", "board", "layers"],
)
def test_a_name_with_a_control_character_is_refused(make, control):
    with pytest.raises(BoardError, match="must be one line without control characters") as caught:
        make(f"A{control}B")
    assert one_line(str(caught.value)) == str(caught.value)


@pytest.mark.parametrize("control", CONTROLS, ids=ascii)
def test_the_command_shows_no_control_character(control, tmp_path, capsys):
    """TOML takes them as escapes, and so they reach names, sources and error texts."""
    escape = "".join(f"\\u{ord(character):04X}" for character in control)
    assert tomllib.loads(f'a = "{escape}"') == {"a": control}
    for old, new in (
        ('name   = "CLK"', f'name = "C{escape}K"'),
        ('signal = "10 Gb/s"', f'signal = "C{escape}K"'),
        ('padstack = "via"', f'padstack = "C{escape}K"'),
        ('connects = ["TOP"]', f'connects = ["C{escape}K"]'),
        ('z0     = "50 ohm"', f'z0 = "50 ohm"\n"a{escape}b" = 1'),
        ('z0     = "50 ohm"', f'z0 = "50 ohm"\nwaiver = "C{escape}K"'),
    ):
        path = tmp_path / "board.toml"
        path.write_text(changed(MINIMAL, old, new), encoding="utf-8")
        main([str(path)])
        said = capsys.readouterr()
        assert all(one_line(line) == line for line in (said.out + said.err).split("\n"))
        assert said.err.count("\n") <= 1


def test_a_source_arrives_as_it_was_written(tmp_path):
    """What is escaped in print is kept as it was given."""
    path = tmp_path / "board.toml"
    source = "".join(CONTROLS) + FORGED
    text = "".join(f"\\U{ord(character):08X}" for character in source)
    path.write_text(changed(MINIMAL, "[stackup]", f'[stackup]\nsource = "{text}"'), encoding="utf-8")
    assert read_board(path).stackup.source == source
    assert re.search(r"[\x00-\x1f]", read_board(path)._repr_html_()) is None

"""The table writer: every row, every cell, one line each, whatever stands in it; and within the width asked for."""

from __future__ import annotations

import codecs
import csv
import html.parser
import io
import math
import re

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stubsi import Board, Criterion, StubsiError, plan, rank, still_valid
from stubsi.show.schedule import schedule_text
from stubsi.show.tables import Column, as_csv, as_html, as_markdown, as_text
from stubsi.show.text_lines import checked_width, one_line, wrapped
from tests import drilling_boards
from tests import margin_boards as mb
from tests.readers import MARKUP, markdown_rows

PLAIN = [("via", "12.5", "kept"), ("hole", "3.25", "left out first")]
COLUMNS = [
    Column("name", lambda row: row[0], elastic=True),
    Column("size", lambda row: row[1], unit="mm", align="right", priority=2),
    Column("remark", lambda row: row[2], priority=1),
]
NASTY = 'a\nb\r\nc\td\x00e\x1bf\x85g\u2028h|i,j"k<b>l</b>&m\x0bn\u202eo\ufeffp'

cells = st.text(max_size=12)
tables = st.lists(st.tuples(cells, cells, cells), max_size=5)


class Parsed(html.parser.HTMLParser):
    """Tags and cells of an HTML text."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.cells, self.inside = set(), [], False
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.add(tag)
        self.inside = tag in ("td", "th")
        if self.inside:
            self.cells.append("")

    def handle_endtag(self, tag):
        self.inside = self.inside and tag not in ("td", "th")

    def handle_data(self, data):
        if self.inside:
            self.cells[-1] += data


# --- text -------------------------------------------------------------------------------------------------------------


def test_text_by_hand():
    text = as_text(COLUMNS, PLAIN, 80, head=["Sizes"], foot=["End"], below=lambda row: [f"  of {row[0]}"])
    assert text.splitlines() == [
        "Sizes",
        "name  size  remark",
        "        mm",
        "via   12.5  kept",
        "  of via",
        "hole  3.25  left out first",
        "  of hole",
        "End",
    ]


def test_a_table_without_units_has_one_line_of_titles():
    assert as_text([COLUMNS[0]], PLAIN) == "name\nvia\nhole"


def test_the_lowest_priority_goes_first():
    assert as_text(COLUMNS, PLAIN, 26).splitlines()[0] == "name  size  remark"
    assert as_text(COLUMNS, PLAIN, 25).splitlines()[0] == "name  size"
    assert as_text(COLUMNS, PLAIN, 9).splitlines()[0] == "name"


def test_what_is_too_long_keeps_both_ends():
    (_, line) = as_text([COLUMNS[0]], [("BACKPLANE_LANE_17_P", "", "")], 12).splitlines()
    assert line == "BACKPL…_17_P"


def test_columns_that_always_stay_make_the_lines_longer():
    stays = [Column("name", lambda row: row[0]), Column("size", lambda row: row[1])]
    assert as_text(stays, PLAIN, 5) == as_text(stays, PLAIN, 80)


@given(st.text(max_size=200), st.integers(40, 140), st.integers(0, 8))
def test_wrapped_lines_keep_every_word(text, width, indent):
    lines = wrapped([text], width, indent=indent)
    assert all(len(line) <= width for line in lines)
    assert all(line.startswith(" " * indent) for line in lines)
    assert "".join("".join(lines).split()) == "".join(one_line(text).split())


@pytest.mark.parametrize("width", [math.nan, math.inf, -1, 0, 39, 10_001, 80.0, "80", None, True], ids=repr)
def test_a_width_that_is_none_is_refused(width):
    with pytest.raises(StubsiError, match=r"width = .*: must be a whole number of characters from 40 to 10000"):
        checked_width(width)


@pytest.mark.parametrize("width", [40, 10_000, np.int64(100)], ids=repr)
def test_a_width_in_range_is_taken(width):
    assert checked_width(width) == int(width)


# --- CSV, Markdown, HTML ----------------------------------------------------------------------------------------------


@given(tables, st.lists(cells, max_size=3))
def test_csv_reads_back_whatever_stands_in_it(rows, comments):
    """Read by the csv module, and line by line: a comment is a line that begins with #, a row is one line."""
    lines = as_csv(COLUMNS, rows, comments=comments).splitlines()
    assert len(lines) == len(comments) + 1 + len(rows)
    assert [line[:2] for line in lines[: len(comments)]] == ["# "] * len(comments)
    head, *shown = csv.reader(lines[len(comments) :])
    assert head == ["name", "size [mm]", "remark"]
    assert [[cell.removeprefix("'") for cell in row] for row in shown] == [
        [one_line(cell) for cell in row] for row in rows
    ]


@given(tables, st.lists(cells, max_size=3))
def test_csv_reads_back_in_pandas_with_its_comments_skipped(rows, comments):
    """pandas.read_csv as an independent reader. A cell that begins with # is a cell, and no comment."""
    text = as_csv(COLUMNS, rows, comments=comments)
    frame = pd.read_csv(io.StringIO(text), comment="#", dtype=str, keep_default_na=False, skip_blank_lines=False)
    assert list(frame.columns) == ["name", "size [mm]", "remark"]
    assert frame.shape == (len(rows), 3)


@pytest.mark.parametrize("text", ["=1+1", "+3V3", "-12V", "@SUM(A1)", "=cmd|' /C calc'!A0", "'quoted"])
def test_no_cell_of_a_csv_is_a_formula(text):
    """What a spreadsheet reads as a formula begins with = + - or @ (common practice, no source)."""
    shown = as_csv(COLUMNS, [(text, "1", "")]).splitlines()[1]
    (row,) = csv.reader([shown])
    assert row[0] == "'" + text


@pytest.mark.parametrize("number", ["-0.5", "+3", "-1e-12", "-inf"])
def test_a_number_in_a_csv_stays_a_number(number):
    (row,) = csv.reader([as_csv(COLUMNS, [("via", number, "")]).splitlines()[1]])
    assert row[1] == number


@given(tables)
def test_markdown_has_a_line_per_row_and_its_cells(rows):
    """markdown-it as an independent reader."""
    text = as_markdown(COLUMNS, rows, head=["above"], foot=["below"])
    lines = text.splitlines()
    assert (lines[0], lines[-1]) == ("* above", "* below")
    assert len([line for line in lines if line.startswith("|")]) == 2 + len(rows)
    head, *shown = markdown_rows(text)
    assert head == ["name", "size [mm]", "remark"]
    assert shown == [[one_line(cell).strip() for cell in row] for row in rows]


@given(tables)
def test_html_shows_text_and_no_markup_of_its_own(rows):
    shown = Parsed(as_html(COLUMNS, rows, head=["<i>head</i>"], foot=["<u>"]))
    assert shown.tags <= {"div", "table", "thead", "tbody", "tr", "th", "td"}
    assert shown.cells == ["name", "size [mm]", "remark", *(one_line(cell) for row in rows for cell in row)]


def test_html_says_what_it_leaves_out():
    text = as_html(COLUMNS, PLAIN * 50, most=10)
    assert text.count("<tr>") == 1 + 10
    assert "and 90 more rows" in text


@given(st.text(st.characters(exclude_characters="\\", exclude_categories=["Cs"])))
def test_a_text_on_one_line_is_the_text_with_escapes(text):
    """Read back with Python's own rule for escapes."""
    shown = one_line(text)
    assert len(shown.splitlines()) <= 1
    assert re.sub(r"\\(x..|u....|[nrt])", lambda escape: codecs.decode(escape[0], "unicode_escape"), shown) == text


# --- what a name or a source may not break ----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def nasty_ranking():
    criterion = Criterion.notch_ratio(5, source=NASTY)
    net = mb.net("A", ("TOP", "S1"), criterion=criterion, waiver=NASTY)
    return rank(mb.board(net), model="uniform")


def test_a_source_with_line_breaks_stays_in_its_comment(nasty_ranking):
    lines = nasty_ranking.to_csv().splitlines()
    comments = [line for line in lines if line.startswith("#")]
    assert len(lines) == len(comments) + 2
    assert any("a\\nb\\r\\nc\\td\\x00e" in line for line in comments)
    _, row = csv.reader(lines[len(comments) :])
    assert len(row) == len(next(csv.reader([lines[len(comments)]])))


def test_a_source_with_line_breaks_stays_in_its_line_of_markdown(nasty_ranking):
    lines = nasty_ranking.to_markdown().splitlines()
    assert all(line == "" or line.startswith(("* ", "| ")) for line in lines)


def test_a_source_with_line_breaks_shows_as_text(nasty_ranking):
    assert Parsed(nasty_ranking._repr_html_()).tags <= MARKUP
    assert all(line.isprintable() for line in nasty_ranking.to_text().splitlines())


def test_an_export_with_line_breaks_in_a_source_can_be_checked_later():
    rules = drilling_boards.rules(source=NASTY)
    net = drilling_boards.net("A", ("L1", "L3"), 0.5)
    board = Board(stackup=drilling_boards.stackup((0.25,) * 5), nets=(net,))
    drilled = plan(board, rules, model="uniform", dk_eff=4)
    for text in (drilled.to_text(), drilled.to_csv(), drilled.holes_csv(), drilled.to_markdown()):
        assert still_valid(text, drilled, board, rules)
        assert still_valid(text.replace("\n", "\r\n"), drilled, board, rules)
    rows = [line for line in drilled.to_csv().splitlines() if not line.startswith("#")]
    assert len(rows) == 1 + len(drilled.groups)


@pytest.mark.parametrize("width", [math.nan, 59, 0, -5, "100", 1e9], ids=repr)
def test_the_margin_table_refuses_a_width_it_cannot_keep(nasty_ranking, width):
    with pytest.raises(StubsiError, match=r"width = .* from 60 to 10000"):
        nasty_ranking.to_text(width)


@pytest.mark.parametrize("width", [math.nan, 39], ids=repr)
def test_the_schedule_refuses_a_width_it_cannot_keep(width):
    with pytest.raises(StubsiError, match="width"):
        schedule_text(None, width)

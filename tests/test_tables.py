"""The margin table as text, CSV, Markdown and HTML: one set of rows, one set of words, within the width asked for."""

from __future__ import annotations

import csv
import html.parser
import math

import pytest

from stubsi import RULES_OF_THUMB, Criterion, Padstack, rank
from stubsi.margin.net_margin import COLUMNS
from stubsi.show.text_lines import CAUTION
from tests import margin_boards as mb

WIDTHS = [80, 90, 100, 110, 120, 140]


def ranking(*more, **changed):
    """A net of every verdict, each by its own criterion."""
    unknown = Padstack(name="bare", drill="0.3 mm")
    blind = Padstack(name="blind", drill="0.2 mm", pad="0.4 mm", antipad="0.6 mm", span=("TOP", "S2"))
    far, near = Criterion.notch_ratio(100, source="house"), Criterion.notch_ratio(2, source="house")
    nets = [
        mb.net("PASS", ("TOP", "BOT"), signal="PCIe 5.0"),
        mb.net("DRILL", ("TOP", "S1"), signal="112 Gb/s PAM4", criterion=far, place=1),
        mb.net("NEAR", ("TOP", "S2"), signal="56 GBd", criterion=near, place=2),
        mb.net("BLIND", ("TOP", "S1"), padstack=blind, criterion=far, place=3),
        mb.net("UNKNOWN", ("TOP", "S1"), padstack=unknown, criterion=Criterion.loss(0.5, source="house"), place=4),
        mb.net("WAIVED", ("TOP", "S1"), signal="112 Gb/s PAM4", waiver="test coupon", criterion=far, place=5),
        mb.pair("PAIR", ("TOP", "S1"), ("TOP", "S2"), criterion=far, place=6),
    ]
    return rank(mb.board(*nets, *more, name="made up", places=10, **changed), model="uniform")


@pytest.fixture(scope="module")
def found():
    return ranking()


def test_every_verdict_is_there(found):
    verdicts = {row.net: row.verdict for row in found}
    assert verdicts == {
        "PASS": "pass", "DRILL": "drill", "NEAR": "marginal", "BLIND": "drilling cannot help", "UNKNOWN": "undecided",
        "WAIVED": "waived", "PAIR": "drill",
    }  # fmt: skip


def squeezed(text):
    return " ".join(text.split())


# --- text -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", WIDTHS)
def test_no_line_is_wider_than_asked(found, width):
    assert max(len(line) for line in found.to_text(width).splitlines()) <= width


@pytest.mark.parametrize("width", WIDTHS)
def test_long_names_stay_within_the_width(width):
    name = "BACKPLANE_FABRIC_PORT_17_LANE_3_TRANSMIT_POSITIVE_AND_NEGATIVE_REV_B"
    far = Criterion.notch_ratio(100, source="house")
    text = ranking(mb.net(name, ("TOP", "S1"), place=8, criterion=far)).to_text(width)
    assert max(len(line) for line in text.splitlines()) <= width
    line = next(line for line in text.splitlines() if line.startswith(name[:8]))
    shown = line.split()[0]
    assert shown == name or shown.split("…") == [name[: len(shown) // 2], name[-((len(shown) - 1) // 2) :]]
    assert "drill" in line
    assert "2.87 < 100 x" in line


@pytest.mark.parametrize("width", WIDTHS)
def test_what_matters_is_shown_at_every_width(found, width):
    lines = found.to_text(width).splitlines()
    head = next(line for line in lines if line.startswith("net "))
    for title in ("net", "notch", "margin", "verdict"):
        assert title in head.split()
    for row in found:
        line = next(line for line in lines if line.startswith(f"{row.net} "))
        assert row.verdict in line
        if row.margin is not None:
            assert f"{row.margin:.2f}" in line.split()


@pytest.mark.parametrize("width", WIDTHS)
def test_the_reason_stands_below_every_net_that_does_not_simply_pass(found, width):
    text = squeezed(found.to_text(width))
    for row in found:
        if row.verdict != "pass":
            assert squeezed(row.reason) in text
    assert "no stub" not in text


def test_rows_come_in_order(found):
    lines = found.to_text(140).splitlines()
    places = [next(i for i, line in enumerate(lines) if line.startswith(f"{row.net} ")) for row in found]
    assert places == sorted(places)


def test_columns_line_up(found):
    lines = found.to_text(140).splitlines()
    head = next(line for line in lines if line.startswith("net "))
    at = head.index("verdict")
    for row in found:
        line = next(line for line in lines if line.startswith(f"{row.net} "))
        assert line[at : at + len(row.verdict)] == row.verdict


def test_no_stub_is_an_empty_cell(found):
    line = next(line for line in found.to_text(140).splitlines() if line.startswith("PASS "))
    assert line.split() == ["PASS", "PCIe", "5.0", "16.00", "0.00", "pass"]


def test_a_range_shows_both_ends():
    row = rank(mb.board(mb.net("A", ("TOP", "S1")), places=0))
    low, high = row["A"].first_notch.m_as("GHz"), row["A"].first_notch_to.m_as("GHz")
    shown = f"{low:.2f}-{high:.2f}"
    assert low < high
    assert shown in row.to_text(140)


@pytest.mark.parametrize("make", ["to_text", "to_csv", "to_markdown", "_repr_html_"])
def test_every_table_names_criteria_models_caution_and_how_loss_is_summed(found, make):
    text = squeezed(getattr(found, make)().replace("&lt;", "<").replace("# ", ""))
    for criterion in found.criteria:
        assert str(criterion) in text
    for row in found:
        assert row.model in text
        assert row.model_error in text
    assert str(RULES_OF_THUMB["DesignCon 2020"]) in text
    assert "the one published comparison read is 7.4 % off, so a net within 8 % of its limit is marginal" in text
    assert "interaction between them ignored" in text
    assert CAUTION in text
    assert "confirm with the fabricator" in text


def test_the_tally_adds_up(found):
    line = next(line for line in found.to_text(140).splitlines() if line.startswith("7 nets: "))
    parts = line.removeprefix("7 nets: ").split(", ")
    assert sum(int(part.split()[0]) for part in parts) == 7
    assert parts[0] == "2 drill"


def test_print_is_the_text_table(found):
    assert str(found) == found.to_text()


# --- frame, CSV, Markdown, HTML ---------------------------------------------------------------------------------------


def plain(row, name):
    """Figure of a row as a plain number in the unit that the title of its column states."""
    value = getattr(row, name)
    return value.m_as(COLUMNS[name].split("[")[1].rstrip("]")) if hasattr(value, "m_as") else value


def test_the_frame_holds_every_row_and_field(found):
    frame = found.to_frame()
    assert list(frame.columns) == list(COLUMNS.values())
    assert frame["net"].to_list() == [row.net for row in found]
    for name, title in COLUMNS.items():
        for shown, row in zip(frame[title], found, strict=True):
            value = plain(row, name)
            missing = shown is None or (isinstance(shown, float) and math.isnan(shown))
            assert (value is None and missing) or shown == value


def test_the_loss_column_says_how_it_is_summed():
    assert "without interaction" in COLUMNS["loss"]


def test_csv_reads_back(found):
    lines = found.to_csv().splitlines()
    comments = [line for line in lines if line.startswith("#")]
    head, *rows = csv.reader(lines[len(comments) :])
    assert head == list(COLUMNS.values())
    for cells, row in zip(rows, found, strict=True):
        for name, cell in zip(COLUMNS, cells, strict=True):
            value = plain(row, name)
            assert cell == ("" if value is None else str(value))


def table_of(markdown):
    lines = [line for line in markdown.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.replace("\\|", "\0").strip("|").split("|")] for line in lines]


def test_markdown_holds_every_cell(found):
    head, rule, *rows = table_of(found.to_markdown())
    assert head == list(COLUMNS.values())
    assert set(rule) == {"---"}
    assert [row[0] for row in rows] == [row.net for row in found]
    for cells, row in zip(rows, found, strict=True):
        for name, cell in zip(COLUMNS, cells, strict=True):
            value = plain(row, name)
            shown = "" if value is None else value if isinstance(value, str) else f"{value:.4g}"
            assert cell.replace("\0", "|") == shown


def test_a_bar_in_a_name_does_not_break_a_markdown_table():
    found = ranking(mb.net("A|B", ("TOP", "S1"), place=8))
    assert {len(row) for row in table_of(found.to_markdown())} == {len(COLUMNS)}


class Cells(html.parser.HTMLParser):
    """Text of the cells of a table, row by row."""

    def __init__(self):
        super().__init__()
        self.rows, self.open = [], False

    def handle_starttag(self, tag, attrs):
        if tag == "tr":
            self.rows.append([])
        self.open = tag in ("td", "th")
        if self.open:
            self.rows[-1].append("")

    def handle_data(self, data):
        if self.open and self.rows:
            self.rows[-1][-1] += data

    def handle_endtag(self, tag):
        self.open = self.open and tag not in ("td", "th")


def test_html_holds_every_cell(found):
    parser = Cells()
    parser.feed(found._repr_html_())
    head, *rows = parser.rows
    assert head == list(COLUMNS.values())
    for cells, row in zip(rows, found, strict=True):
        for name, cell in zip(COLUMNS, cells, strict=True):
            value = plain(row, name)
            shown = "" if value is None else value if isinstance(value, str) else f"{value:.4g}"
            assert cell == shown


def test_markup_in_a_name_is_text():
    found = ranking(mb.net("<b>A</b>", ("TOP", "S1"), place=8, waiver="<i>why</i>"))
    text = found._repr_html_()
    assert "<b>" not in text
    assert "<i>" not in text
    assert "&lt;b&gt;A&lt;/b&gt;" in text


def test_all_formats_agree_on_verdict_and_reason(found):
    _, _, *markdown = table_of(found.to_markdown())
    parser = Cells()
    parser.feed(found._repr_html_())
    frame = found.to_frame()
    place = list(COLUMNS).index("verdict")
    for n, row in enumerate(found):
        said = (row.verdict, row.reason)
        assert tuple(markdown[n][place : place + 2]) == said
        assert tuple(parser.rows[n + 1][place : place + 2]) == said
        assert tuple(frame.iloc[n, place : place + 2]) == said

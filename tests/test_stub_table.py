"""A table of stubs: the same as a check of each row by itself, the user's table untouched, and clear errors."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stubsi import (
    Criterion,
    FileError,
    ReturnVias,
    StubsiError,
    check_stub,
    check_stubs,
    rank,
    stub_budget,
    stub_budgets,
)
from tests import margin_boards as mb
from tests.benchmarks import large_board
from tests.strategies import physical
from tests.test_speed import timed

NETS = [
    {"net": "CLK", "signal": "DDR4-3200", "stub length [mil]": 60, "owner": "Ann"},
    {"net": "TX", "signal": "25.78125 Gb/s", "stub length [mil]": 24.5, "owner": None},
    {"net": "=RX", "signal": "112 Gb/s PAM4", "stub length [mil]": 0, "owner": "Ben"},
]
LINE = {"dk_eff": 4.0, "z_stub": "30 ohm", "z0": "50 ohm"}
GEOMETRY = {"stackup": mb.stackup(df=0.01, at="1 GHz"), "padstack": mb.VIA, "z0": "50 ohm",
            "return_vias": ReturnVias(positions=[("1 mm", "0 mm"), ("-1 mm", "0 mm")], drill="0.25 mm")}  # fmt: skip


def same(row, check):
    """A row of the table has the figures, verdict and reason of a check of that stub."""
    figures = {
        "first notch [GHz]": check.first_notch_si and check.first_notch_si / 1e9,
        "1 dB frequency [GHz]": check.one_db_si and check.one_db_si / 1e9,
        "loss at Nyquist [dB]": check.loss, "greatest loss up to Nyquist [dB]": check.greatest_loss,
    }  # fmt: skip
    for title, wanted in figures.items():
        if wanted is None or check.figures is None:
            assert math.isnan(row[title])
        else:
            assert row[title] == pytest.approx(wanted, rel=1e-9)
    assert (row["verdict"], row["reason"]) == (check.verdict, check.reason)
    assert (row["model"], row["model error"]) == (check.provenance.tier, check.provenance.model_error)


# --- the same as one by one -------------------------------------------------------------------------------------------

criteria = st.sampled_from(["DesignCon 2020", "TI 15 mil", "Bogatin 2015"]) | st.sampled_from(
    [Criterion.loss(0.5), Criterion.return_loss(10), Criterion.one_db_ratio(1.2)]
)
cells = st.fixed_dictionaries(
    {
        "signal": st.sampled_from(["10 Gb/s", "56 GBd", "112 Gb/s PAM4", "PCIe 4.0"]),
        "stub length": st.one_of(st.just("0 mm"), physical(1e-3, 8.0).map("{:.6g} mm".format)),
        "Dk_eff": physical(2.0, 6.0),
        "z0": st.sampled_from(["50 ohm", "42.5 ohm"]),
        "criterion": criteria,
    }
)


@settings(max_examples=15)
@given(st.lists(cells, min_size=1, max_size=8))
def test_every_row_is_what_a_check_of_it_is(rows):
    found = check_stubs(rows, z_stub="35 ohm", df=0.01)
    for (_, row), cell in zip(found.iterrows(), rows, strict=True):
        more = {"dk_eff": cell["Dk_eff"], "z0": cell["z0"], "criterion": cell["criterion"]}
        same(row, check_stub(cell["stub length"], cell["signal"], z_stub="35 ohm", df=0.01, **more))


def test_solved_stubs_too():
    rows = [
        {"signal": signal, "stub length [um]": length, "layer": layer, "feed": feed}
        for signal, length, layer, feed in (("56 GBd", 400, "S1", "through"), ("10 GBd", 400, "S1", "through"),
                                            ("56 GBd", 200, "S2", ""), ("56 GBd", 0, "S2", "tee"))
    ]  # fmt: skip
    found = check_stubs(rows, **GEOMETRY)
    for (_, row), cell in zip(found.iterrows(), rows, strict=True):
        same(row, check_stub(f"{cell['stub length [um]']} um", cell["signal"], layer=cell["layer"], feed=cell["feed"],
                             **GEOMETRY))  # fmt: skip


def test_budgets_are_those_of_one_by_one():
    rows = [{"signal": s, "dk_eff": dk, "criterion": rule} for s in ("DDR4-3200", "56 GBd") for dk in (3.6, 4.2)
            for rule in ("DesignCon 2020", "TI 15 mil")]  # fmt: skip
    found = stub_budgets(rows)
    for (_, row), cell in zip(found.iterrows(), rows, strict=True):
        budget = stub_budget(cell["signal"], dk_eff=cell["dk_eff"], criterion=cell["criterion"])
        assert row["longest stub [mm]"] == pytest.approx(budget.stub_length_si * 1e3, rel=1e-12)
        assert row["proven longest stub [mm]"] == pytest.approx(budget.proven_length_si * 1e3, rel=1e-12)
    solved = stub_budgets([{"signal": "10 GBd", "layer": "S1"}, {"signal": "1 GBd", "layer": "S1"}], **GEOMETRY)
    budget = stub_budget("10 GBd", layer="S1", **GEOMETRY)
    assert solved["longest stub [mm]"][0] == pytest.approx(budget.stub_length_si * 1e3)
    assert solved["reason"][1] == "every stub that fits"
    (limited,) = stub_budgets([{"signal": "56 GBd", "layer": "S1"}], **GEOMETRY)["reason"]
    assert limited.startswith("limit of 56 GBd NRZ, at the worst of what is unknown; feed unknown: give feed")


def test_entry_and_exit_layers_stand_for_the_lengths():
    """All stubs of a net count, above and below, as in the ranking of a board with such a net."""
    layers = (("TOP", "S1"), ("S1", "S2"), ("TOP", "BOT"), ("", "BOT"))
    rows = [{"signal": "28 GBd", "entry": entry, "exit": exit_layer} for entry, exit_layer in layers]
    found = check_stubs(rows, **GEOMETRY)
    for (_, row), cell in list(zip(found.iterrows(), rows, strict=True))[:3]:
        net = mb.net("A", tuple(dict.fromkeys((cell["entry"], cell["exit"]))), signal="28 GBd")
        wanted = rank(mb.board(net, mb.ground(1, ((1.0, 0.0), (-1.0, 0.0))), layers=GEOMETRY["stackup"], places=0))["A"]
        assert row["verdict"] == wanted.verdict
        assert row["reason"].split(";")[0] == wanted.reason.split(";")[0]
        if wanted.first_notch_si is not None:
            assert row["first notch [GHz]"] == pytest.approx(wanted.first_notch_si / 1e9, rel=1e-6)
            assert row["1 dB frequency [GHz]"] == pytest.approx(wanted.one_db_si / 1e9, rel=1e-6)
    assert list(found["verdict"][2:]) == ["pass", "undecided"]
    assert found["reason"][3] == "entry is empty"
    assert not any("trial" in reason for reason in found["reason"])  # the hole has no name that the user knows
    assert any(reason.endswith("must not cut S1") for reason in found["reason"])
    with pytest.raises(StubsiError, match="row 2: exit 'G1': is a plane"):
        check_stubs([{"signal": "1 GBd", "entry": "TOP", "exit": layer} for layer in ("S1", "G1")], **GEOMETRY)
    with pytest.raises(StubsiError, match="dk_eff: does not belong to a table of layers"):
        check_stubs(rows, dk_eff=4, **GEOMETRY)


# --- the user's table -------------------------------------------------------------------------------------------------


def test_the_table_comes_back_as_it_was_with_columns_beside_it():
    frame = pd.DataFrame(NETS, index=[7, 3, 7])
    before = frame.copy(deep=True)
    found = check_stubs(frame, **LINE)
    pd.testing.assert_frame_equal(frame, before)
    pd.testing.assert_frame_equal(found[list(before.columns)], before)
    assert list(found["verdict"]) == ["pass", "marginal", "pass"]
    assert found["reason"].iloc[2] == "no stub"
    assert found["first notch [GHz]"].dtype == float


@pytest.mark.parametrize(("separator", "bom", "given"), [(",", "", None), (";", "\ufeff", None), ("\t", "", "\t")])
def test_a_csv_file_is_read_with_every_cell_as_text(tmp_path, separator, bom, given):
    lines = ["# a comment", separator.join(NETS[0]), "",
             *(separator.join("" if cell is None else str(cell) for cell in net.values()) for net in NETS)]  # fmt: skip
    file = tmp_path / "nets.csv"
    file.write_text(bom + "\n".join(lines), encoding="utf-8")
    found = check_stubs(file, separator=given, **LINE)
    assert list(found["net"]) == ["CLK", "TX", "=RX"]
    assert list(found["stub length [mil]"]) == ["60", "24.5", "0"]
    wanted = check_stubs(NETS, **LINE)
    pd.testing.assert_frame_equal(found.iloc[:, 4:], wanted.iloc[:, 4:])
    assert check_stubs(str(file), separator=given, **LINE).equals(found)


@pytest.mark.parametrize(
    ("title", "cell"),
    [("stub length", "1.2 mm"), ("Stub_Length", "1200 um"), (" stub-length [mm] ", 1.2), ("stub length [um]", 1200),
     ("stub length[mm]", "1.2"), ("stub length", pint.Quantity(1.2, "mm")), ("stub length [mm]", np.float64(1.2))],
)  # fmt: skip
def test_a_unit_stands_in_the_title_or_in_the_cell(title, cell):
    (found,) = check_stubs([{"signal": "10 Gb/s", title: cell}], dk_eff=4)["first notch [GHz]"]
    assert found == pytest.approx(299.792458 / (4 * 1.2 * 2), rel=1e-9)


def test_cells_of_mappings_stay_as_they_were_and_layers_beside_a_length_are_the_users_own():
    rows = [{"signal": "10 Gb/s", "stub length [um]": 500, "entry": "L1", "exit": "L3"}, {"signal": "10 Gb/s"}]
    found = check_stubs(rows, dk_eff=4)
    assert (found["stub length [um]"][0], type(found["stub length [um]"][0])) == (500, int)
    assert list(found["verdict"]) == ["pass", "undecided"]
    assert len(stub_budgets(rows, dk_eff=4)["longest stub [mm]"].dropna()) == 2


def test_a_keyword_holds_where_a_cell_is_empty():
    rows = [{"signal": "10 Gb/s", "stub length": "1 mm", "dk_eff": dk} for dk in (3.0, None, math.nan, pd.NA)]
    found = check_stubs(rows, dk_eff=4)["first notch [GHz]"]
    assert list(found) == pytest.approx([299.792458 / (4 * dk**0.5) for dk in (3, 4, 4, 4)])


def test_a_zero_in_a_cell_is_no_empty_cell():
    """No keyword takes its place: no loss stays no loss, and a permittivity of 0 is refused."""
    line = {"dk_eff": 4.0, "z_stub": "30 ohm", "z0": "50 ohm"}
    rows = [{"signal": "10 Gb/s", "stub length": "10 mm", "df": df} for df in (0, 0.02, None)]
    lossless, lossy, by_keyword = check_stubs(rows, **line, df=0.02)["greatest loss up to Nyquist [dB]"]
    assert lossless == pytest.approx(check_stub("10 mm", "10 Gb/s", **line).greatest_loss, rel=1e-9)
    assert lossy == by_keyword != lossless
    with pytest.raises(StubsiError, match="dk_eff = 0"):
        check_stubs([{"signal": "10 Gb/s", "stub length": "1 mm", "dk_eff": 0}], dk_eff=4)


# --- unknown is undecided ---------------------------------------------------------------------------------------------


def test_a_row_that_lacks_a_value_is_undecided_and_says_which():
    rows = [{"signal": "10 Gb/s", "stub length": "1 mm", "dk_eff": 4.0},
            {"signal": "", "stub length": "1 mm", "dk_eff": 4.0},
            {"signal": "10 Gb/s", "stub length": None, "dk_eff": ""}]  # fmt: skip
    found = check_stubs(rows)
    assert list(found["verdict"]) == ["pass", "undecided", "undecided"]
    assert list(found["reason"][1:]) == ["signal is empty", "stub length is empty; dk_eff is empty"]
    assert found["first notch [GHz]"][1:].isna().all()
    loss = check_stubs(rows[:1], criterion=Criterion.loss(1))
    assert (loss["verdict"][0], loss["reason"][0]) == ("undecided", "z0 is missing")
    budget = stub_budgets(rows[:1], criterion=Criterion.loss(1))
    assert math.isnan(budget["longest stub [mm]"][0])
    assert "z0 is missing" in budget["reason"][0]


# --- refused ----------------------------------------------------------------------------------------------------------


def test_errors_of_many_cells_are_told_at_once_with_row_and_column():
    rows = [{"signal": "10 Gb/s", "stub length": "1 mm"}, {"signal": "10 GHz", "stub length": "1,6 mm"},
            {"signal": "10 Gb/s", "stub length": -2}]  # fmt: skip
    with pytest.raises(StubsiError) as caught:
        check_stubs(rows, dk_eff=4)
    lines = str(caught.value).splitlines()
    assert len(lines) == 3
    assert lines[0].startswith("row 2, column 'stub length': stub_length = '1,6 mm'")
    assert lines[1].startswith("row 3, column 'stub length': stub_length = -2")
    assert lines[2].startswith("row 2, column 'signal':")
    many = [{"signal": "10 Gb/s", "stub length": f"-{n} mm"} for n in range(1, 30)]
    with pytest.raises(StubsiError, match=r"and 19 more$"):
        check_stubs(many, dk_eff=4)


@pytest.mark.parametrize(
    ("rows", "more", "says"),
    [
        ([{"signal": "1 Gb/s"}], {}, "has no column 'stub length'; its columns are 'signal'"),
        ([{"rest (mil)": "12"}], {}, "Rename the column that holds it; the unit may stand in the title"),
        ([{"signal (Gb/s)": 10, "stub length (mil)": 12}], {}, "signal has no unit in its title"),
        ([{"signal": "1 Gb/s", "stub lenght": "1 mm"}], {}, "column 'stub lenght': did you mean stub_length"),
        ([{"stub length": "1 mm"}], {}, "signal is missing: give a column or a keyword"),
        ([{"signal [Gb/s]": 1, "stub length": "1 mm"}], {}, "signal has no unit in its title"),
        ([{"signal": "1 Gb/s", "stub length": "1 mm", "verdict": "?"}], {}, "column 'verdict': is one of those"),
        ([{"signal": "1 Gb/s", "stub length": "1 mm", "Stub Length [mm]": 2}], {}, "both are stub_length"),
        ([{"signal": "1 Gb/s", "stub length": 1}], {}, "row 1, column 'stub length'"),
        ([{"signal": "1 Gb/s", "stub length [mm]": math.inf}], {}, "row 1, column"),
        ([{"signal": "1 Gb/s", "stub length [mm]": True}], {}, "row 1, column"),
        ([{"signal": "1 Gb/s", "stub length": "1 mm"}], {"dk_ef": 4}, "dk_ef: a stub has no argument of that name"),
        ([{"signal": "1 Gb/s", "stub length": "1 mm"}], {"separator": "|"}, "separator = '|'"),
        ([{"signal": "1 Gb/s", "stub length": "1 mm"}], {"separator": ","}, "belongs to a CSV file"),
        ([1, 2], {}, "table = "), (None, {}, "table = None"), ({"a": 1}, {}, "table = "),
    ],
)  # fmt: skip
def test_what_is_no_such_table_is_refused(rows, more, says):
    with pytest.raises(StubsiError, match=says):
        check_stubs(rows, **({"dk_eff": 4} if "dk_ef" not in more else {}) | more)


def test_a_unit_stands_in_square_or_in_round_brackets():
    square, rounded = (
        check_stubs([{"signal": "10 Gb/s", f"Stub length {unit}": 40}], dk_eff=4) for unit in ("[mil]", "(mil)")
    )
    assert rounded["first notch [GHz]"].tolist() == square["first notch [GHz]"].tolist()


def test_a_stub_longer_than_its_hole_names_its_row():
    rows = [{"signal": "1 GBd", "stub length": length, "layer": "S2"} for length in ("0.3 mm", "3 mm")]
    with pytest.raises(StubsiError, match="row 2: stub_length = 3 mm: longer than the hole goes on"):
        check_stubs(rows, **GEOMETRY)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"net,signal,stub length [mm]\nA,1 Gb/s,1,6\n", "line 2: has 4 cells, and the titles are 3; a comma decimal"),
        (b"net;signal;stub length [mm]\nA;1 Gb/s;1,6\n", "nets.csv, line 2, column 'stub length .mm.':.*1,6"),
        (b"net;signal,stub length\n", "its titles hold comma and semicolon; give separator"),
        (b"signal,signal\n", "has two columns 'signal'"),
        (b"signal,stub length\n\xff,1\n", "line 2: is not UTF-8"),
        (b"", "is empty"),
        (b'signal,stub length\n"1 Gb/s,1 mm\n', "line"),
    ],
)
def test_a_file_that_cannot_be_read_names_its_line(tmp_path, content, says):
    file = tmp_path / "nets.csv"
    file.write_bytes(content)
    with pytest.raises(StubsiError, match=says):
        check_stubs(file, dk_eff=4)
    with pytest.raises(FileError, match=r"none\.csv: no such file"):
        check_stubs(tmp_path / "none.csv", dk_eff=4)


def test_an_empty_table_gives_an_empty_answer():
    assert len(check_stubs(pd.DataFrame({"signal": [], "stub length": []}), dk_eff=4)) == 0


# --- speed ------------------------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("count", [10_000, 100_000])
def test_a_table_takes_about_the_time_of_a_ranking(count, capsys):
    """As many different stubs as nets within 3 x the ranking, every row in words, all uniform lines; with layers in
    place of lengths within 2 x. Measured for 100,000 of each: 1.4 x and 0.5 x.

    The nets of the board have three different stubs, which are solved once; no two rows of the table are alike.
    """
    board = large_board(count, per_net=1)
    rng = np.random.default_rng(3)
    signals = rng.choice(["10 Gb/s", "25 Gb/s", "56 GBd"], count)
    table = pd.DataFrame({"signal": signals, "stub length [mm]": rng.uniform(0.1, 2.0, count).round(7)})
    layers = pd.DataFrame({"signal": signals, "entry": "TOP", "exit": rng.choice(["S1", "S2"], count)})
    ranked = timed(lambda: list(rank(board, model="uniform")))[0]
    took = timed(lambda: check_stubs(table, dk_eff=4.0, z_stub="30 ohm", z0="50 ohm"), repeat=2)[0]
    given = {"stackup": board.stackup, "padstack": mb.VIA, "z0": "50 ohm"}
    by_layer = timed(lambda: check_stubs(layers, **given), repeat=2)[0]
    with capsys.disabled():
        print(f"\n{count} rows: {took / ranked:.2f} x the ranking; with layers {by_layer / ranked:.2f} x")
    assert took <= 3 * ranked
    assert by_layer <= (2 if count == 100_000 else 10) * ranked  # the two holes are solved once, whatever the count


STRAY = [
    {"a": 1}, ["60 mil"], b"60", 60, True, "10**400 mil", np.array([1, 2]), np.array([3]), np.array(["60 mil"]),
    object(), 1j, float("inf"), "=1+1", "60 mil;", "6O mil", "1,6 mm", "1 600 um", "nan mil", (), {1},
    pd.DataFrame({"a": [1]}),
]  # fmt: skip


@pytest.mark.parametrize("title", ["stub length", "stub length [mil]"])
def test_stray_values_are_all_told_with_row_and_column(title):
    """Ten at a time; a number and its unit are the only way to say a length."""
    for start in range(0, len(STRAY), 10):
        rows = [{"signal": "10 Gb/s", title: "60 mil" if title == "stub length" else 60}]
        wrong = [each for each in STRAY[start : start + 10] if title == "stub length" or type(each) is not int]
        rows += [{"signal": "10 Gb/s", title: each} for each in wrong]
        with pytest.raises(StubsiError) as refused:
            check_stubs(rows, dk_eff=4.0)
        lines = str(refused.value).split("\n")
        assert len(lines) == len(wrong)
        for number, line in enumerate(sorted(lines, key=lambda text: int(text.split(",")[0].split()[1])), 2):
            assert line.startswith(f"row {number}, column {title!r}: stub_length = ")


def test_rows_may_come_from_a_generator():
    rows = [{"signal": "10 Gb/s", "stub length [mil]": length} for length in (30, 60)]
    pd.testing.assert_frame_equal(check_stubs(iter(rows), dk_eff=4.0), check_stubs(rows, dk_eff=4.0))


def test_a_table_that_is_refused_elsewhere_does_not_fill_the_error():
    table = pd.DataFrame({"net": ["A", "B"], "signal": ["1 GBd", "1 GBd"]})
    with pytest.raises(StubsiError, match=r"^board = <DataFrame>: must be a Board"):
        rank(table)

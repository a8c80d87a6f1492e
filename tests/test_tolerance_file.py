"""Tolerances in files: written and read back, in rules files and board files, each refusal with its place."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stubsi import (
    BoardError,
    FileError,
    ThicknessClass,
    Tolerance,
    Tolerances,
    read_board,
    read_rules,
    read_tolerances,
    write_board,
    write_rules,
)
from stubsi.__main__ import main
from stubsi.files.board_file import read_any_board
from tests.board_text import changed
from tests.random_boards import lengths, names, texts
from tests.strategies import physical
from tests.test_tolerance_corners import TEST, board, plus_minus

__all__ = ["board"]

SHARED = Path(__file__).parents[1] / "shared"
COUNT = itertools.count()

distributions = st.just({}) | st.builds(
    lambda name, sigma: {"distribution": name, "sigma": sigma},
    st.sampled_from(["normal", "censored normal"]), physical(0.1, 8),
)  # fmt: skip
percents = physical(0.001, 99).map(lambda number: f"{number!r} %")
positive_lengths = lengths(0.001, 0.5)
dk_numbers = physical(0.001, 1)


def tolerances_in(amounts):
    """Tolerances with both limits stated alike; one of them may be zero."""
    return st.one_of(
        st.builds(
            lambda plus, minus, source, how: Tolerance(plus=plus, minus=minus, source=source, **how),
            each, each, texts, distributions,
        )
        for each in amounts
    )  # fmt: skip


lengths_or_percents = tolerances_in([positive_lengths, percents])
classes = st.builds(
    lambda name, how: ThicknessClass(name=name, **how), st.sampled_from(["IPC-4101 B", "IPC-4101 L"]), distributions
)


def by_material(each):
    return each | st.dictionaries(st.just("") | names, each, min_size=1, max_size=3)


any_tolerances = st.builds(
    Tolerances,
    dielectric_thickness=st.none() | by_material(lengths_or_percents | classes),
    board_thickness=st.none() | lengths_or_percents,
    copper_thickness=st.none() | lengths_or_percents,
    dk=st.none() | by_material(tolerances_in([percents, dk_numbers])),
    drill=st.none() | lengths_or_percents,
    antipad=st.none() | lengths_or_percents,
    registration=st.none()
    | st.builds(lambda plus, source: Tolerance(plus=plus, minus="0 mm", source=source), positive_lengths, texts),
).filter(lambda tolerances: tolerances != Tolerances())


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("tolerances")


@given(tolerances=any_tolerances)
def test_what_is_written_reads_back_equal(tolerances, folder):
    assert read_tolerances(write_rules(folder / f"{next(COUNT)}.toml", tolerances=tolerances)) == tolerances


EVERY = Tolerances(
    dielectric_thickness={"low-loss core": ThicknessClass(name="IPC-4101 B"), "": plus_minus("10 %")},
    board_thickness=plus_minus("7 %"),
    copper_thickness=plus_minus("3 um"),
    dk=Tolerance(plus=0.05, minus=0.1, distribution="censored normal", sigma=3, source=TEST),
    drill=plus_minus("50 um"),
    antipad=plus_minus("50 um"),
    registration=Tolerance(plus="0.1 mm", minus="0 mm", source=TEST),
)


def test_a_board_file_holds_them_beside_the_board(tmp_path):
    """The class B of the demo board's cores: 100 um counts as the listed 4 mil, at +-0.7 mil."""
    demo = read_board(SHARED / "demo_board.toml")
    path = write_board(demo, tmp_path / "board.toml", tolerances=EVERY)
    assert read_board(path) == demo
    assert read_any_board(path) == demo
    assert read_tolerances(path) == EVERY
    core = next(factor for factor in EVERY.factors(demo) if factor.name == "dielectric thickness of low-loss core")
    assert core.tolerance.plus.size == pytest.approx(0.7 * 25.4e-6)
    assert "IPC-4101, 3.8.4.2, class B" in str(read_tolerances(path).dielectric_thickness[1][1])


def test_beside_an_exchange_file_they_stand_in_its_toml_file(tmp_path):
    (tmp_path / "gate.xml").write_bytes((SHARED / "sluice_gate.xml").read_bytes())
    path = tmp_path / "gate.toml"
    path.write_text(
        'exchange = "gate.xml"\nz0 = "85 ohm"\nplating = "20 um"\nsignals = {"FLOW_*" = "16 GT/s"}\n'
        '[[tolerance]]\nquantity = "drill"\nplus = "50 um"\nminus = "50 um"\nsource = "test"\n',
        encoding="utf-8",
    )
    assert read_tolerances(path) == Tolerances(drill=Tolerance.plus_minus("50 um", source="test"))
    assert read_any_board(path).signal_nets


def test_what_counts_as_exact_is_listed_in_the_file_and_when_it_is_read(tmp_path):
    path = write_rules(tmp_path / "t.toml", tolerances=Tolerances(dk={"core": plus_minus("5 %")}))
    said = (
        "dielectric thickness, board thickness, copper thickness, drill, antipad, registration, dk of other materials"
    )
    assert f"# Exact, for want of a tolerance: {said}." in path.read_text(encoding="utf-8")
    assert f"exact, for want of a tolerance: {said}" in str(read_tolerances(path))


def test_no_class_is_taken_that_the_file_does_not_name(tmp_path):
    path = write_rules(tmp_path / "t.toml", tolerances=Tolerances(dielectric_thickness=plus_minus("10 %")))
    assert "class" not in path.read_text(encoding="utf-8")
    assert "dielectric_thickness" not in [
        f.quantity for f in Tolerances(drill=plus_minus("1 um")).factors(read_board(SHARED / "demo_board.toml"))
    ]


GOOD = """
[[tolerance]]
quantity = "dielectric_thickness"
material = "core"
class = "IPC-4101 L"

[[tolerance]]
quantity = "dk"
plus = "5 %"
minus = "5 %"
distribution = "normal"
sigma = 3
source = "test"

[[tolerance]]
quantity = "registration"
plus = "0.1 mm"
minus = "0 mm"
source = "test"
"""
WRONG = {
    "unknown key": ('class = "IPC', 'clas = "IPC', "number 1: unknown key 'clas'"),
    "unknown class": ("IPC-4101 L", "IPC-4101 M", "number 1: .*IPC-4101 M.*'IPC-4101 B'"),
    "class and limits": ('class = "IPC-4101 L"', 'class = "IPC-4101 L"\nplus = "1 %"', "number 1: unknown key 'plus'"),
    "class of another quantity": ('"dielectric_thickness"\nmaterial = "core"', '"drill"', "number 1 class = .*is for"),
    "quantity": ('"dk"', '"dkk"', "number 2 quantity = 'dkk': .*did you mean 'dk'"),
    "words for the quantity": ('"dielectric_thickness"', '"dielectric thickness"', "did you mean 'dielectric_thick"),
    "no source": ('sigma = 3\nsource = "test"', "sigma = 3", "number 2: source is missing"),
    "one side only": ('minus = "5 %"\n', "", "number 2: minus is missing; it must be a length or a percentage"),
    "comma": ('plus = "5 %"', 'plus = "5,0 %"', "number 2: tolerance plus = .*comma"),
    "unit that does not apply": (
        'plus = "5 %"\nminus = "5 %"', 'plus = "5 um"\nminus = "5 um"', "number 2: tolerances dk = .*must be stated as",
    ),
    "both zero": ('plus = "0.1 mm"', 'plus = "0 mm"', "number 3: .*are zero"),
    "no sigma": ("sigma = 3\n", "", "number 2: tolerance sigma is missing"),
    "unknown distribution": ('"normal"', '"gauss"', "number 2: .*gauss"),
    "sigma in quotes": ("sigma = 3", 'sigma = "3"', "number 2 sigma = '3': must be a plain number"),
    "distance below zero": ('minus = "0 mm"', 'minus = "0.1 mm"', "number 3: registration minus: must be zero"),
    "not of a material": ('"registration"', '"registration"\nmaterial = "core"', "number 3 material = 'core'"),
    "given twice": (
        'quantity = "registration"\nplus = "0.1 mm"\nminus = "0 mm"', 'quantity = "dk"\nplus = 0.1\nminus = 0.1',
        "number 3: dk has a tolerance already",
    ),
    "one table": ('[[tolerance]]\nquantity = "reg', '[tolerance_of]\nquantity = "reg', "unknown key"),
}  # fmt: skip


@pytest.mark.parametrize(("old", "new", "says"), WRONG.values(), ids=WRONG)
def test_a_wrong_table_is_refused_with_its_place(old, new, says, tmp_path):
    path = tmp_path / "rules.toml"
    path.write_text(changed(GOOD, old, new), encoding="utf-8")
    with pytest.raises(FileError, match=rf"rules\.toml: .*{says}"):
        read_tolerances(path)


def test_one_table_with_single_brackets_is_refused_with_the_fix(tmp_path):
    path = tmp_path / "rules.toml"
    path.write_text("[tolerance]\nquantity = 'dk'\n", encoding="utf-8")
    with pytest.raises(FileError, match=r"must be tables with two brackets, \[\[tolerance\]\]"):
        read_tolerances(path)
    path.write_text((SHARED / "demo_rules.toml").read_text(encoding="utf-8"), encoding="utf-8")
    with pytest.raises(FileError, match=r"\[\[tolerance\]\] is missing"):
        read_tolerances(path)


def test_a_wrong_table_refuses_the_rules_and_the_board_beside_it(tmp_path):
    wrong = changed(GOOD, "sigma = 3\n", "")
    for name, read in (("demo_rules.toml", read_rules), ("demo_board.toml", read_board)):
        path = tmp_path / name
        path.write_text((SHARED / name).read_text(encoding="utf-8") + wrong, encoding="utf-8")
        with pytest.raises(FileError, match=r"\[\[tolerance\]\] number 2: tolerance sigma is missing"):
            read(path)


@pytest.mark.parametrize(("tolerances", "says"), [
    ("material = 'no such'\nclass = 'IPC-4101 B'", r"\[\[tolerance\]\]: .*no such.*"),
    ("material = 'low-loss prepreg'\nclass = 'IPC-4101 B'", r"\[\[tolerance\]\]: thickness class IPC-4101 B: lists no"),
])  # fmt: skip
def test_a_board_file_checks_them_against_its_stackup(tolerances, says, tmp_path):
    path = tmp_path / "board.toml"
    text = (SHARED / "demo_board.toml").read_text(encoding="utf-8")
    path.write_text(f"{text}\n[[tolerance]]\nquantity = 'dielectric_thickness'\n{tolerances}\n", encoding="utf-8")
    with pytest.raises(FileError, match=rf"board\.toml: {says}"):
        read_board(path)


def test_the_command_says_that_it_does_not_use_them(board, tmp_path, capsys):
    path = write_board(board, tmp_path / "board.toml", tolerances=Tolerances(dk={"core": plus_minus("5 %")}))
    main([str(path)])
    assert "board.toml: the tolerances are not used by this command" in capsys.readouterr().out
    main([str(write_board(board, tmp_path / "plain.toml"))])
    assert "tolerances are not used" not in capsys.readouterr().out


def test_nothing_is_written_of_tolerances_that_are_none_or_do_not_fit(board, tmp_path):
    for write in (lambda given: write_rules(tmp_path / "t.toml", tolerances=given),
                  lambda given: write_board(board, tmp_path / "b.toml", tolerances=given)):  # fmt: skip
        with pytest.raises(BoardError, match="nothing to write"):
            write(Tolerances())
    with pytest.raises(BoardError, match="no such"):
        write_board(board, tmp_path / "b.toml", tolerances=Tolerances(dk={"no such": plus_minus("5 %")}))
    assert not list(tmp_path.iterdir())

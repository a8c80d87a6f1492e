"""What a table says beside its verdicts: rules outside their scope, rules that meet no net, rows of a weaker model."""

import pytest

from stubsi import RULES_OF_THUMB, Criterion, Hole, Net, Padstack, check_stub, rank
from stubsi.stubs.solved_model import SOLVED
from tests import margin_boards as mb

SLOW_AND_FAST = [mb.net("SLOW", ("TOP", "S2"), signal="50 Mb/s"), mb.net("FAST", ("TOP", "S2"), place=1)]


def test_a_rule_used_outside_the_scope_that_its_source_states_says_so():
    """TI states its 15 mil for links above 5 Gb/s (SPRACP4A)."""
    ranking = rank(mb.board(*SLOW_AND_FAST, criterion=RULES_OF_THUMB["TI 15 mil"]))
    assert "its source states this limit for signals above 5 Gb/s only" in ranking["SLOW"].reason
    assert "source states" not in ranking["FAST"].reason
    above = str(ranking).split("\n\n")[0].replace("\n", " ")
    assert "Outside its scope" in above
    assert "SLOW" in above


@pytest.mark.parametrize(
    ("rule", "signal", "outside"),
    [
        ("TI 15 mil", "5 Gb/s", True),
        ("TI 15 mil", "5.1 Gb/s", False),
        ("TI 15 mil", "4 GBd PAM4", False),
        ("Bogatin 2015", "56 Gb/s PAM4", True),
        ("Bogatin 2015", "56 Gb/s", False),
        ("DesignCon 2020", "50 Mb/s", False),
    ],
)
def test_the_scope_of_a_rule_in_a_check(rule, signal, outside):
    check = check_stub("0.1 mm", signal, dk_eff=4, criterion=RULES_OF_THUMB[rule])
    assert ("its source states" in check.reason) is outside


def test_a_criterion_of_the_board_that_meets_no_net_is_named():
    own, idle = Criterion.notch_ratio(3, source="own"), Criterion.notch_ratio(4, source="nobody's")
    nets = [mb.net("A", ("TOP", "S2"), criterion=own)]
    for board in (mb.board(*nets, criterion=idle), mb.board(*nets, signal_criteria={"10 Gb/s": idle})):
        ranking = rank(board)
        assert ranking.idle_criteria == (idle,)
        assert "No net is judged by: first notch / Nyquist at least 4 (nobody's)" in str(ranking)
    assert not rank(mb.board(*nets)).idle_criteria
    assert not rank(mb.board(mb.net("A", ("TOP", "S2")), criterion=idle)).idle_criteria


def test_a_row_on_a_weaker_model_is_marked_and_its_provenance_says_why():
    pair = mb.pair("PAIR", ("TOP", "S2"), ("TOP", "S2"), place=1)
    nowhere = [Hole(name=h.name, padstack=h.padstack, connects=h.connects, leg=h.leg) for h in pair.holes]
    unplaced = Net(name="PAIR", holes=nowhere, signal=pair.signal, z0=pair.z0)
    ranking = rank(mb.board(mb.net("A", ("TOP", "S2")), unplaced, places=1))
    assert ranking["A"].provenance.tier == ranking["A"].model == SOLVED
    assert "pitch" in ranking["PAIR"].provenance.not_solved
    rows = {line.split()[0]: line for line in str(ranking).splitlines() if line.startswith(("A ", "PAIR "))}
    assert "~" in rows["PAIR"]
    assert "~" not in rows["A"]
    assert "~ behind a notch" in str(ranking)
    assert "~" not in str(rank(mb.board(mb.net("A", ("TOP", "S2")))))


def test_what_the_model_of_every_row_assumes_stands_in_the_frame():
    ranking = rank(mb.board(mb.net("A", ("TOP", "S2"))))
    (assumed,) = ranking.to_frame()["assumptions of the model"]
    assert assumed == "; ".join(ranking["A"].provenance.assumptions)
    assert assumed


@pytest.mark.parametrize("criterion", [Criterion.loss(5), Criterion.one_db_ratio(0.5), Criterion.return_loss(1)])
def test_a_figure_that_two_stubs_of_one_hole_make_together_is_marked_in_a_passing_row_too(criterion):
    two, one = mb.net("TWO", ("S1", "S2"), signal="10 Gb/s"), mb.net("ONE", ("TOP", "S2"), signal="10 Gb/s", place=1)
    ranking = rank(mb.board(two, one, criterion=criterion))
    assert ranking["TWO"].verdict == "pass"
    assert ranking["TWO"].why.two_stubs == "TWO.0"
    rows = {line.split()[0]: line for line in str(ranking).splitlines() if line.startswith(("TWO ", "ONE "))}
    assert " *  " in rows["TWO"]
    assert "*" not in rows["ONE"]
    assert "* behind a judged figure: of both stubs of one hole" in str(ranking)
    assert "*" not in str(ranking.under(Criterion.notch_ratio(2)))


def test_every_range_of_a_notch_says_why_it_is_one_whatever_the_verdict():
    bare = Padstack(name="bare", drill="0.3 mm", pad="0.5 mm")
    nets = [mb.net("SLOW", ("TOP", "S2"), signal="50 Mb/s", padstack=bare), mb.net("KNOWN", ("TOP", "S2"), place=1)]
    ranking = rank(mb.board(*nets))
    assert ranking["SLOW"].verdict == "pass"
    assert ranking["SLOW"].first_notch < ranking["SLOW"].first_notch_to
    assert "Range of the notch: antipad of padstack bare is unknown: give antipad (1 net, SLOW first)" in str(ranking)
    assert "Range of the notch" not in str(rank(mb.board(nets[1], places=2)))


def test_a_marginal_net_that_is_not_solved_names_what_is_missing():
    legs = mb.pair("PAIR", ("TOP", "S2"), ("TOP", "S2")).holes
    nowhere = [Hole(name=h.name, padstack=h.padstack, connects=h.connects, leg=h.leg) for h in legs]
    row = rank(mb.board(Net(name="PAIR", signal="10 Gb/s", z0="100 ohm", holes=nowhere), places=0))["PAIR"]
    assert row.verdict == "marginal"
    assert "not solved, because pitch of the pair at padstack via is unknown: give x and y" in row.reason


def test_a_hole_without_pads_says_so():
    bare, padded = (Padstack(name="v", drill="0.3 mm", antipad="0.8 mm", pad=pad) for pad in (None, "0.5 mm"))
    said = [rank(mb.board(mb.net("A", ("TOP", "S2"), padstack=each)))["A"].assumptions for each in (bare, padded)]
    assert "no pads: the padstack states none" in said[0]
    assert "no pads" not in said[1]

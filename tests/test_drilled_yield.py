"""The yield after drilling: exact answers for the depth alone, a layer in use that may be cut, dependent nets."""

from __future__ import annotations

import numpy as np
import pytest

from stubsi import (
    Basis,
    Board,
    BoardError,
    Criterion,
    GuaranteedResidual,
    Standing,
    ThicknessClass,
    Tolerance,
    Tolerances,
    Verdict,
    drilled_yield,
    plan,
    production_yield,
    read_board,
    read_rules,
)
from stubsi.tolerance.drilled_board import DrilledBoards
from stubsi.tolerance.tasks import MOST_TASKS
from tests import drilling_boards as db
from tests import margin_boards as mb
from tests.test_executors import Here

C0 = 299792458.0
NYQUIST = 25e9
LAYERS = db.stackup((0.25,) * 5)


def notch_limit(length):
    """Criterion that a stub of Dk 4 meets if it is no longer than this [mm]."""
    return Criterion.notch_ratio(C0 / (8e-3 * length) / NYQUIST, source=db.SAYS)


def net(name, length, connects=("L1", "L3")):
    return db.net(name, connects, 0.3).replaced(signal="50 Gb/s", criterion=notch_limit(length))


def rules(tolerance=None):
    """A flat drill: what is left is left all round. Without a depth tolerance: 0.1 to 0.3 mm are guaranteed."""
    flat = db.rules(tip_angle=180, tip_distance="0 mm", sides={"bottom": "any"})
    return flat if tolerance is None else flat.replaced(tolerance=tolerance)


def plus_minus(amount, **how):
    return Tolerance.plus_minus(amount, source=db.SAYS, **how)


@pytest.fixture(scope="module")
def planned():
    """B needs the drill and keeps its limit of 0.3 mm; A and A2 miss theirs at worst and are drilled with it.

    The residual stub is 0.1 to 0.3 mm, uniform.
    """
    board = Board(stackup=LAYERS, nets=(net("A", 0.22), net("A2", 0.22), net("B", 0.3)))
    return plan(board, rules(), model="uniform", dk_eff=4)


@pytest.fixture(scope="module")
def depth_alone(planned):
    return drilled_yield(planned, Tolerances())


def test_the_depth_alone_gives_the_known_distribution_of_one_over_length(depth_alone):
    """L uniform from 0.1 to 0.3 mm meets 0.22 mm in 0.6 of the holes, and 0.3 mm in all of them."""
    for name in ("A", "A2"):
        found = depth_alone[name]
        assert found.probability == pytest.approx(0.6, abs=4 * found.sampling_error + 1e-3)
        assert found.least <= found.probability <= found.most
        assert found.standing is Standing.SOMETIMES
    assert depth_alone["B"].probability == 1
    assert depth_alone["B"].standing is Standing.ALWAYS


def test_the_verdict_allows_for_the_error_of_the_model(depth_alone, planned):
    """B keeps 0.3 mm at the worst corner exactly, so a line whose error is not known leaves it open; 0.35 mm do not."""
    assert depth_alone["B"].standing is Standing.ALWAYS
    assert depth_alone["B"].verdict is Verdict.MARGINAL
    assert depth_alone["A"].verdict is Verdict.MARGINAL
    wider = planned.board.replaced(nets=(net("B", 0.35), net("C", 0.32).replaced(waiver="for the test")))
    found = drilled_yield(plan(wider, rules(), model="uniform", dk_eff=4), Tolerances())
    assert [each.verdict for each in found] == [Verdict.PASS, Verdict.WAIVED]
    assert "pass" in str(found)


def test_each_hole_has_a_depth_of_its_own(depth_alone):
    """Independent holes: 0.6 squared for the board, not 0.6."""
    assert depth_alone.probability == pytest.approx(0.36, abs=4 * depth_alone.sampling_error + 2e-3)
    assert depth_alone.mendable == (1, 1, 1)  # A and A2 miss their limits whatever is drilled; B is left


def test_the_worst_case_is_the_longest_residual_stub(depth_alone):
    """c / (8 L) over Nyquist at 0.3, 0.2 and 0.1 mm, to 1e-9."""
    found = depth_alone["A"]
    assert found.residual_si == pytest.approx((1e-4, 2e-4, 3e-4))
    assert found.judged == pytest.approx([C0 / (8 * each) / NYQUIST for each in (3e-4, 2e-4, 1e-4)], rel=1e-9)
    assert depth_alone.basis is Basis.ALL_CORNERS
    assert not depth_alone.may_cut


def limits(made, tolerances):
    """Least and most residual stub [m] of the first hole that is drilled."""
    return next(iter(DrilledBoards(made, tolerances).residual_of.values())).limits


def test_a_thicker_board_leaves_more_where_depth_is_counted_from_the_face(planned):
    """Dielectrics +-4 %: three of 0.25 mm lie before the layer in use as the drill sees it, +-0.03 mm of residual."""
    board = planned.board
    stated = rules(db.depth_tolerance(plus=0.05, minus=0.05))
    made = plan(board, stated, model="uniform", dk_eff=4)
    thick = Tolerances(dielectric_thickness=plus_minus("4 %"))
    assert np.subtract(limits(made, thick), limits(made, Tolerances())) == pytest.approx([-3e-5, 3e-5], abs=1e-12)
    assert limits(planned, thick) == pytest.approx((1e-4, 3e-4))  # guaranteed


@pytest.mark.parametrize(("reference", "sensed", "reach"), [
    ("face", {}, 0.030), ("sensed layer", {"bottom": "L5"}, 0.020),
    ("measured thickness", {}, None),
])  # fmt: skip
def test_the_residual_follows_the_reference_of_the_depth(planned, reference, sensed, reach):
    """Sensing L5 leaves two dielectrics to vary; a scaled depth leaves what the residual itself varies by."""
    stated = rules(db.depth_tolerance(reference=reference, sensed=sensed))
    made = plan(planned.board, stated, model="uniform", dk_eff=4)
    boards = DrilledBoards(made, Tolerances(dielectric_thickness=plus_minus("4 %")))
    residual = next(iter(boards.residual_of.values()))
    if reach is None:  # far less than from the face: the board grows as a whole, copper excepted
        assert abs(residual.slopes[0]) < 0.01e-3
    else:
        assert residual.slopes[0] == pytest.approx(reach * 1e-3, abs=1e-12)


def test_the_thickness_of_the_rules_counts_where_the_tolerances_give_none(planned):
    stated = rules(db.depth_tolerance(thicker=0.04, thinner=0.04))
    made = plan(planned.board, stated, model="uniform", dk_eff=4)
    hit = next(hit for hit in made.hits if hit.net == "B")
    assert limits(made, Tolerances()) == pytest.approx((hit.left.least_si, hit.left.most_si))
    boards = DrilledBoards(made, Tolerances(board_thickness=plus_minus("4 %")))
    assert boards.names == ("board thickness",)
    assert DrilledBoards(made, Tolerances()).names == ("thickness drilled through",)


def test_a_thickness_that_the_rules_do_not_know_of_may_cut_the_layer_in_use(planned):
    """Aimed 0.05 mm before L3 from the face, depth +-0.05 mm; 0.75 mm of dielectric at +-25 % reach far past it.

    The probability is that of a sum of two uniform deviations, by brute force over a grid.
    """
    stated = rules(db.depth_tolerance())
    made = plan(planned.board, stated, model="uniform", dk_eff=4)
    found = drilled_yield(made, Tolerances(dielectric_thickness=plus_minus("25 %")))
    assert "B" in found.may_cut
    assert found["B"].residual_si[0] < 0
    residual = next(iter(DrilledBoards(made, Tolerances(dielectric_thickness=plus_minus("25 %"))).residual_of.values()))
    t, d = np.meshgrid(*2 * [(np.arange(2000) + 0.5) / 1000 - 1])
    exact = np.mean(residual.constant + t * residual.slopes[0] + 0.05e-3 * d < residual.cone)
    assert found["B"].cut_probability == pytest.approx(exact, abs=3e-3)
    assert found["B"].probability <= 1 - found["B"].cut_probability + 1e-12
    assert "may be cut" in str(found)
    assert "A drill may cut a layer in use of" in str(found)


def test_the_same_seed_gives_the_same_result(planned, depth_alone):
    told = []
    again = drilled_yield(planned, Tolerances(), progress=lambda *counts: told.append(counts))
    assert again.nets == depth_alone.nets
    assert again == depth_alone
    assert told[-1] == (again.solved, again.solved)


def test_text_frame_csv_and_html_show_every_net(depth_alone):
    frame = depth_alone.to_frame()
    assert list(frame["net"]) == [row.net for row in depth_alone] == ["A", "A2", "B"]
    assert frame["residual stub, most [mm]"].tolist() == pytest.approx([0.3] * 3)
    for text in (str(depth_alone), depth_alone.to_csv(), depth_alone._repr_html_()):
        assert "0.100 to 0.300" in text
        assert "depends on the tolerances" in text
        assert "how far off the model may be comes on top" in text
    assert depth_alone["A"] in depth_alone
    assert "A2" in depth_alone
    assert len(depth_alone) == 3


def test_depth_and_dk_together_give_what_brute_force_gives(planned):
    """L uniform from 0.1 to 0.3 mm and Dk uniform from 3.6 to 4.4: L sqrt(Dk) at most 0.44 mm, over a grid."""
    made = plan(planned.board, rules(), model="uniform")
    found = drilled_yield(made, Tolerances(dk=plus_minus("10 %")))["A"]
    t, d = np.meshgrid(*2 * [(np.arange(1000) + 0.5) / 500 - 1])
    exact = np.mean((0.2 + 0.1 * d) * np.sqrt(4 + 0.4 * t) <= 0.44)
    assert found.probability == pytest.approx(exact, abs=4 * found.sampling_error + 1e-3)
    assert found.surface_error < 1e-4
    assert found.judged[0] == pytest.approx(C0 / (4 * 0.3e-3 * np.sqrt(4.4)) / NYQUIST, rel=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("criterion", [
    Criterion.loss(1.0, source=db.SAYS), Criterion.one_db_ratio(1.5, source=db.SAYS),
    Criterion.stub_length("0.25 mm", source=db.SAYS),
])  # fmt: skip
def test_every_kind_of_criterion_is_judged(planned, criterion):
    """As computed one by one: the figure at the longest and the shortest residual stub, and all between."""
    judged = planned.board.replaced(nets=[each.replaced(criterion=criterion) for each in planned.board.nets])
    made = plan(judged.replaced(nets=(*judged.nets, net("C", 0.3))), rules(), model="uniform", dk_eff=4)
    found = drilled_yield(made, Tolerances())["A"]
    assert found.least <= found.probability <= found.most
    if found.standing is Standing.ALWAYS:
        assert found.probability == 1
    assert min(found.judged[::2]) <= found.judged[1] <= max(found.judged[::2])


@pytest.mark.slow
def test_solved_stubs_lie_within_their_worst_case():
    """Solved model: what meets its limit at every corner has the yield 1, and the error of the surface is stated."""
    board = mb.board(mb.net("A", ("TOP", "S1")), mb.net("B", ("TOP", "S2"), place=2), places=4)
    tight = GuaranteedResidual(least="0.05 mm", most="0.15 mm", source=db.SAYS)
    made = plan(board, rules(tight))
    assert len(made.hits) == 2
    for found in drilled_yield(made, Tolerances(dk=plus_minus("5 %"))):
        assert found.standing is Standing.ALWAYS
        assert found.probability == found.least == 1
        assert 0 < found.surface_error < 0.2
        assert found.judged[0] < found.judged[1] < found.judged[2]


def test_every_hole_has_a_drill_of_its_own(planned, depth_alone, monkeypatch):
    """A notch that falls by 30 % from the least to the greatest drill, in proportion: L (1 + 0.3 u) at most 0.22 mm.

    L is uniform from 0.1 to 0.3 mm and u from -0.5 to 0.5, both for each hole: over a grid, and squared for two nets.
    """
    plain = DrilledBoards.at

    def at(boards, t, d):
        notch, judged = plain(boards, t, d)
        return notch / (1 + 0.15 * t[-1]), judged / (1 + 0.15 * t[-1])

    monkeypatch.setattr(DrilledBoards, "at", at)
    found = drilled_yield(planned, Tolerances(drill=plus_minus("20 um")))
    u, d = np.meshgrid(*2 * [(np.arange(1000) + 0.5) / 500 - 1])
    exact = np.mean((0.2 + 0.1 * d) * (1 + 0.15 * u) <= 0.22)
    limit_of_b = np.mean((0.2 + 0.1 * d) * (1 + 0.15 * u) <= 0.3)
    assert found["A"].probability == pytest.approx(exact, abs=4 * found["A"].sampling_error + 1e-3)
    assert found["A"].surface_error < 1e-3
    assert found.probability == pytest.approx(exact**2 * limit_of_b, abs=4 * found.sampling_error + 3e-3)
    assert found["A"].judged[0] == pytest.approx(depth_alone["A"].judged[0] / 1.15, rel=1e-9)


def test_an_executor_gives_the_same_bits(planned, depth_alone):
    executor, told = Here(), []
    again = drilled_yield(planned, Tolerances(), executor=executor, progress=lambda *counts: told.append(counts))
    assert again.nets == depth_alone.nets
    assert executor.tasks <= 2 * MOST_TASKS
    assert told[-1] == (again.solved, again.solved)


def test_what_is_not_covered_is_refused(planned):
    with pytest.raises(BoardError, match="executor = 2"):
        drilled_yield(planned, Tolerances(), executor=2)
    with pytest.raises(BoardError, match="seed = -1"):
        drilled_yield(planned, Tolerances(), seed=-1)


@pytest.mark.slow
def test_the_demo_board_with_a_published_thickness_class():
    """Some nets of the demo board, its low-loss cores of class IPC-4101 B: what drilling does to their yield.

    BP_RX1 and USB_TX meet their criterion on no board before drilling, and on every one after it.
    """
    demo = read_board("shared/demo_board.toml")
    names = ("BP_RX1", "PCIE5_RX1", "USB_TX", "DQ0")
    board = demo.replaced(nets=[each for each in demo.nets if each.reference or each.name in names])
    cores = Tolerances(dielectric_thickness={"low-loss core": ThicknessClass(name="IPC-4101 B")})
    before = production_yield(board, cores)
    after = drilled_yield(plan(board, read_rules("shared/demo_rules.toml")), cores)
    for name in ("BP_RX1", "USB_TX"):
        assert before[name].probability == before[name].most == 0
        assert after[name].probability == after[name].least == 1
        assert after[name].standing is Standing.ALWAYS
    assert before["DQ0"].probability == after["DQ0"].probability == 1
    assert after["PCIE5_RX1"].probability >= before["PCIE5_RX1"].probability
    assert before.probability < after.probability


def test_normal_thickness_and_depth_give_what_plain_draws_give():
    """Thickness normal with +-15 % at three sigma, depth uniform: cut and met, against a million plain numpy draws."""
    board = Board(stackup=LAYERS, nets=(net("B", 0.45),))
    made = plan(board, rules(db.depth_tolerance()), model="uniform", dk_eff=4)
    thick = Tolerances(dielectric_thickness=plus_minus("15 %", distribution="normal", sigma=3))
    found = drilled_yield(made, thick)["B"]
    draw = np.random.default_rng(1)
    deviation = 3 * 0.25e-3 * 0.15 * draw.normal(0, 1 / 3, 10**6)  # three dielectrics lie before the layer in use
    left = made.hits[0].window.face_si + deviation - made.groups[0].end_si - draw.uniform(-5e-5, 5e-5, 10**6)
    assert found.cut_probability == pytest.approx(np.mean(left < 0), abs=4 * found.sampling_error)
    assert found.probability == pytest.approx(np.mean((left >= 0) & (left <= 0.45e-3)), abs=4 * found.sampling_error)

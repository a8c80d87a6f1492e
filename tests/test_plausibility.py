"""What is most likely a slip is warned about wherever it enters, and used as it is; what is usual gives no warning."""

import warnings
from pathlib import Path

import pytest

import stubsi
from stubsi import (
    Antipad,
    CopperLayer,
    Criterion,
    DepthDrill,
    DielectricLayer,
    GuaranteedResidual,
    Hole,
    Net,
    Padstack,
    PlausibilityWarning,
    ReturnVias,
    Signal,
    Stackup,
    Stub,
    check_stub,
    check_stubs,
    plausibility,
    read_board,
    stub_budget,
)
from stubsi.board.line_rates import LINE_RATES
from stubsi.plausibility import Usual
from tests.drilling_boards import rules

HOLE = Hole(name="A.1", padstack=Padstack(name="via", drill="0.3 mm"), connects=["L1"])
DEMO = Path(__file__).parents[1] / "shared/demo_board.toml"
BOUNDS = {name: value for name, value in vars(plausibility).items() if isinstance(value, Usual)}

RULES = rules()
FOIL, THICK = CopperLayer(name="A", thickness="35 um"), DielectricLayer(thickness="9 mm", dk=4)
ZONE = {"side": "top", "contact_from": "0.1 mm", "contact_to": "0.8 mm"}

SLIPS = {
    "Gb/s forgotten": (lambda: Signal("25 b/s"), "rate 25 b/s.*lines on boards"),
    "rate as text of a net": (lambda: Net(name="A", holes=[HOLE], signal="25 b/s", z0="50 ohm"), "25 b/s"),
    "tera for giga": (lambda: Signal("25 Tb/s"), "rate 25 Tb/s"),
    "Dk of a layer": (lambda: DielectricLayer(thickness="0.1 mm", dk=40), "dielectric layer dk = 40.*1 to 13"),
    "Dk in plane": (lambda: DielectricLayer(thickness="0.1 mm", dk_in_plane=40), "dielectric layer dk_in_plane = 40"),
    "Df in percent": (lambda: DielectricLayer(thickness="0.1 mm", dk=4, df=0.9), "dielectric layer df = 0.9"),
    "dielectric in m": (lambda: DielectricLayer(thickness="0.1 m", dk=4), "DielectricLayer thickness = 100 mm"),
    "copper in mm for oz": (lambda: CopperLayer(name="L1", thickness="2 mm"), "CopperLayer thickness = 2 mm"),
    "drill": (lambda: Padstack(name="via", drill="8 mm"), "Padstack drill = 8 mm.*drills for boards"),
    "pad": (lambda: Padstack(name="via", drill="0.3 mm", pad="20 mm"), "Padstack pad = 20 mm"),
    "pad of a layer": (lambda: Padstack(name="via", drill="0.3 mm", pads={"L1": "20 mm"}), "pad on L1 = 20 mm"),
    "antipad": (lambda: Padstack(name="via", drill="0.3 mm", antipad="20 mm"), "Antipad width = 20 mm"),
    "slot": (lambda: Antipad(width="20 mm", shared=True), "Antipad width = 20 mm"),
    "return via": (lambda: ReturnVias(positions=[("9 mm", "0 mm")], drill="8 mm"), "ReturnVias drill = 8 mm"),
    "depth drill": (lambda: DepthDrill(side="top", residual_stub="0.1 mm", drill="8 mm"), "DepthDrill drill = 8 mm"),
    "z0 of a net": (lambda: Net(name="A", holes=[HOLE], signal="1 Gb/s", z0="5 kohm"), "Net z0 = 5000 ohm"),
    "z0 of a check": (lambda: check_stub("1 mm", "1 Gb/s", dk_eff=4, z0="5 kohm"), "z0 = 5000 ohm"),
    "length of a check": (lambda: check_stub("62 cm", "1 Gb/s", dk_eff=4), "stub_length = 620 mm.*stubs lie"),
    "Dk_eff of a budget": (lambda: stub_budget("1 Gb/s", dk_eff=40), "stub dk_eff = 40"),
    "Df of a check": (lambda: check_stub("1 mm", "1 Gb/s", dk_eff=4, df=0.9), "df = 0.9"),
    "delay of a check": (lambda: check_stub("1 mm", "1 Gb/s", delay="175 ps/mm"), "Stub delay = 175 ps/mm"),
    "length of a stub": (lambda: Stub(stub_length="62 cm", dk_eff=4), "Stub stub_length = 620 mm"),
    "drill of a stub": (lambda: Stub(stub_length="1 mm", dk_eff=4, drill="12 mm"), "Stub drill = 12 mm"),
    "length in a table": (
        lambda: check_stubs([{"stub_length": "62 cm"}], signal="1 Gb/s", dk_eff=4), "stub_length = 620 mm"
    ),
    "tip of a pin": (lambda: stubsi.PressFit(**ZONE, pin_length="26 mm"), "PressFit pin_length = 26 mm.*pins lie"),
    "filling of a bore": (
        lambda: DepthDrill(side="top", residual_stub="0.1 mm", drill="0.5 mm", fill_dk=30), "depth drill fill_dk = 30",
    ),
    "filling by the rules": (lambda: RULES.replaced(fill_dk=30), "rules fill_dk = 30"),
    "oversize": (lambda: RULES.replaced(oversize="2 mm"), "FabricatorRules oversize = 2 mm.*depth drills over"),
    "least depth": (lambda: RULES.replaced(least_depth="20 mm"), "FabricatorRules least_depth = 20 mm"),
    "clearance": (lambda: RULES.replaced(copper_clearance="15 mm"), "FabricatorRules copper_clearance = 15 mm"),
    "residual in mm for mil": (
        lambda: GuaranteedResidual(least="5 mil", most="11 mm", source="test"), "GuaranteedResidual most = 11 mm",
    ),
    "depth tolerance": (
        lambda: stubsi.DepthTolerance(plus="2 mm", minus="50 um", thickness_plus=0, thickness_minus=0,
                                      reference="face", source="test"),
        "DepthTolerance plus = 2 mm",
    ),
    "thickness of a board": (
        lambda: Stackup(layers=[FOIL, THICK, FOIL.replaced(name="B"), THICK, FOIL.replaced(name="C")]),
        "stackup thickness = 18.11 mm.*the thickness of every layer",
    ),
    "notch ratio": (lambda: Criterion.notch_ratio(1000), "notch ratio = 1000"),
    "1 dB ratio": (lambda: Criterion.one_db_ratio(1000), "1 dB ratio = 1000"),
    "loss": (lambda: Criterion.loss(900), "loss = 900"),
    "return loss": (lambda: Criterion.return_loss(0.01), "return loss = 0.01"),
    "stub length": (lambda: Criterion.stub_length("15 cm"), "stub length = 150 mm"),
    "stub length at 1 GBd": (lambda: Criterion.stub_length_at_1_gbaud("300 in"), "stub length at 1 GBd = 7620 mm"),
}  # fmt: skip


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_is_warned_about_at_the_callers_own_line_every_time(slip):
    call, text = SLIPS[slip]
    for _ in range(2):
        with pytest.warns(PlausibilityWarning, match=text) as caught:
            call()
        assert {warning.filename for warning in caught} == {__file__}
        assert len({str(warning.message) for warning in caught}) == len(caught)


def test_what_is_warned_about_is_used_as_it_is():
    with pytest.warns(PlausibilityWarning):
        assert Signal("25 b/s").nyquist_si == 12.5
    with pytest.warns(PlausibilityWarning):
        assert DielectricLayer(thickness="0.1 mm", dk=40).dk == 40


def test_a_slip_in_a_board_file_is_warned_about(tmp_path):
    text = DEMO.read_text(encoding="utf-8")
    file = tmp_path / "board.toml"
    file.write_text(text.replace("dk = 3.", "dk = 33."), encoding="utf-8")
    with pytest.warns(PlausibilityWarning, match="dielectric layer dk = 33"):
        read_board(file)


def test_a_criterion_of_a_board_file_that_nothing_names_is_warned_about(tmp_path):
    file = tmp_path / "board.toml"
    text = DEMO.read_text(encoding="utf-8")
    file.write_text(text.replace("[criteria.", '[criteria.idle]\nloss = 1\nsource = "test"\n\n[criteria.', 1), "utf-8")
    with pytest.warns(PlausibilityWarning, match=r"\[criteria\] 'idle': no net is judged by it; name it") as caught:
        read_board(file)
    assert len(caught) == 1
    assert caught[0].filename == __file__


def test_a_usual_board_and_the_published_rules_give_no_warning():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        stubsi.rank(read_board(DEMO), model="uniform")
        for rule in stubsi.RULES_OF_THUMB.values():
            rule.replaced()


def test_every_line_rate_of_a_standard_is_usual():
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert all(Signal(name) for rate in LINE_RATES for name in rate.names)


@pytest.mark.parametrize("name", BOUNDS)
def test_every_pair_of_bounds_is_a_range_and_says_where_it_is_from(name):
    bounds = BOUNDS[name]
    assert 0 < bounds.lowest < bounds.highest
    assert bounds.holds(bounds.lowest)
    assert bounds.holds(bounds.highest)
    assert bounds.holds(None)
    assert not bounds.holds(bounds.highest * 1.01)
    assert not bounds.holds(bounds.lowest / 1.01)
    assert bounds.source

"""Return vias, or a Dk, that nobody gave: no worst figure is better than that of a hole of which it is known."""

import pytest

from stubsi import Board, CopperLayer, Criterion, DielectricLayer, Net, Padstack, Stackup, rank
from tests import margin_boards as mb


@pytest.mark.parametrize("measure", ["notch ratio", "1 dB ratio", "loss"])
@pytest.mark.parametrize(("gap", "antipad"), [(0.1, "1.2 mm"), (0.2, "0.8 mm")])
def test_the_worst_over_unknown_return_vias_is_no_better_than_that_of_open_planes(gap, antipad, measure):
    """Open planes have the larger error of the model, and it counts for them where they are one of several values."""
    padstack = Padstack(name="v", drill="0.2 mm", pad="0.4 mm", antipad=antipad)
    net, layers = mb.net("A", ("S1",), padstack=padstack, feed="through"), mb.stackup(gap=gap, df=0.0)
    far = Net(name="GND", holes=[mb.hole("G", (), (15.0, 0.0), mb.POST)], reference=True)
    criterion = Criterion(measure=measure, limit=1.0, source="test")
    unknown, none = (
        rank(Board(stackup=layers, nets=nets, criterion=criterion)).measured.worst[0] for nets in ([net], [net, far])
    )
    assert unknown >= none if measure == "loss" else unknown <= none


def test_the_worst_over_an_unknown_dk_below_the_last_plane_is_no_better_than_that_of_a_known_one():
    """The error that is declared grows with the height of the laminate there in wavelengths, and so with its Dk."""

    def worst(dk):
        top, plane, bottom = (
            CopperLayer(name=name, thickness="30 um", role=role)
            for name, role in (("TOP", "signal"), ("G1", "plane"), ("BOT", "signal"))
        )
        above, below = DielectricLayer(thickness="0.1 mm", dk=3.8), DielectricLayer(thickness="1.2 mm", dk=dk)
        layers = (top, above, plane, below, bottom)
        net = mb.net("A", ("TOP",), feed="through", signal="21 Gb/s")
        return rank(mb.board(net, layers=Stackup(layers=layers))).measured.worst[0]

    unknown = worst(None)
    assert all(unknown <= worst(dk) for dk in (4.0, 8.0))

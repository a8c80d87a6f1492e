"""Return vias that nobody gave: no worst figure is better than that of a hole that is known to have none near it."""

import pytest

from stubsi import Board, Criterion, Net, Padstack, rank
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

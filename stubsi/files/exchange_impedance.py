"""Owns the impedance of a line as an exchange file specifies it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from stubsi.files.exchange_specs import COUPLED, SINGLE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from stubsi.files.exchange_records import FileRecord, StepRecord


def impedance_of(record: FileRecord, step: StepRecord, legs: Sequence[str]) -> float | None:
    """Impedance of a line that the specifications of its nets agree on.

    Parameters
    ----------
    record : FileRecord
    step : StepRecord
        The board.
    legs : sequence of str
        A net, or the two halves of a pair.

    Returns
    -------
    float or None
        [ohm]; of a pair, the differential one. None: none is specified, or several are.
    """
    how = COUPLED if len(legs) == 2 else SINGLE
    found = {
        ohm
        for net in legs
        for name in step.net_specs.get(net, ())
        if name in record.specs
        for led, ohm in record.specs[name].impedances
        if led == how
    }
    if len(found) > 1:
        record.assume("nets refer to several impedances, and none of them counts; give z0")
    return found.pop() if len(found) == 1 else None

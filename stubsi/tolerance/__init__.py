"""What tolerances do to a board: boards as built, worst case, yield, what dominates it, and what to ask for.

**State the tolerances**, each with its source: as ``Tolerances`` in Python, or in a file for ``read_tolerances``. What
has none counts as exact, and every result lists it. A distribution is uniform between its limits unless another
one is stated. No tolerance is preset: even a published class of laminate thickness holds only where you name it.

**Then ask**, of a board::

    rank(board, tolerances=...)       every net judged at the worst of them, in place of a flat 8 %
    corners(board, tolerances)        the worst and the best case of every net
    production_yield(...)             on what share of the boards every net meets its criterion, and how sure that is
    dominance(...)                    which tolerance causes the spread; what each would bring if it were halved, or
                                      exact; and at which limits the yield that is wanted is reached

and of a plan::

    residual_stub(...)                length and notch of a drilled stub as a range; whether the layer in use may be cut
    drilled_yield(plan, tolerances)   yield after drilling, and how probable it is that a layer in use is cut
    narrowed_rules(...)               rules for a plan whose windows hold for all boards within the tolerances
    yield_trade(...)                  what each number of drill groups is worth in yield
    largest_yield(...)                the plan with the largest yield at a number of groups
    drilled_dominance(...)            as dominance, after drilling, with the depth of the drill among the tolerances

>>> import stubsi
>>> found = stubsi.read_ipc2581("shared/sluice_gate.xml", signals={"FLOW_*": "16 GT/s"}, z0="85 ohm", plating="20 um")
>>> said = "a fabricator's capability page"
>>> thick = stubsi.Tolerances(board_thickness=stubsi.Tolerance.plus_minus("10 %", source=said))
>>> stubsi.corners(found.board, thick, model="uniform")["FLOW_P/FLOW_N"]
<NetCorners FLOW_P/FLOW_N: 3.87 / 4.24 / 4.66 x Nyquist, misses at best>

All of this is fabrication only. How far off the model may be comes on top, but for ``rank`` and the verdicts of
``drilled_yield``, which add it.
``notebooks/tolerance_and_yield.ipynb`` walks through it. Thousands of boards are not solved: the figures of some dozens
are fitted by quadratics, whose error is measured and counts. Where a notch jumps, some more are solved near the limit;
``help(stubsi.production_yield)`` says how.
"""

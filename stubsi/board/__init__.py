"""The board as data: signals, stackup, padstacks, holes, nets and the board itself, as frozen values; no physics.

**What if, and what changed.** Each of ``with_antipad``, ``with_drill``, ``with_dk``, ``with_layer``,
``with_criterion``, ``with_waiver`` and ``with_return_via`` of a board returns another board with that one thing
changed; a change without a meaning is refused. ``difference`` says what differs between two boards, two rankings or two
plans: print it, iterate it, or take ``to_frame()``.

>>> import stubsi
>>> export = stubsi.read_ipc2581("shared/sluice_gate.xml", signals={"FLOW_*": "16 GT/s"}, z0="85 ohm", plating="20 um")
>>> other = export.board.with_layer(net="FLOW_P/FLOW_N", from_layer="SIG_3", to_layer="SIG_4")
>>> print(stubsi.difference(export.board, other).summary())
Boards: 4 differences in 4 parts.
>>> print(stubsi.difference(stubsi.rank(export.board), stubsi.rank(other)).summary())
Rankings: 1 net of 1 differ, 0 nets in verdict.

**Presets and their sources.** Line rates stand in ``stubsi.board.line_rates``, rules of thumb in
``stubsi.board.criterion``, classes of laminate thickness in ``stubsi.tolerance.thickness_class``, and the bounds beyond
which a value is most likely a slip in ``stubsi.plausibility``. ``stubsi.presets()`` lists them all with their sources.
Nothing else is preset: stackup, padstacks, nets, rules and tolerances are the user's, with the sources that the user
gives.
"""

"""What a stub means: the criterion applied, nets ranked, stub-length budgets.

**Reading the margin table.** ``print(stubsi.rank(board))``, or ``python -m stubsi BOARD``, shows these columns::

    Nyquist          half the symbol rate of the net's signal
    hole, side, leg  the governing stub: the one with the lowest first notch, above (top) or below (bottom) the
                     layers in use
    stub             its length as drawn, from the layer in use (its copper excluded, IPC-6012) to the end of the barrel
    notch            its first notch: the lowest minimum of S21 that is 3 dB deep and after which S21 rises by 1 dB
                     again; a range where something is unknown, as the lines above the table say; "~" behind it where
                     the stub is a uniform line because it cannot be solved; ">253" where there is none below 253 GHz,
                     up to where the model holds
    margin           first notch / Nyquist
    judged           the figure that the net's criterion looks at, and its limit; "notch > 1.5 dB": a notch lies in the
                     band of the signal, which counts as more than any loss; "*" behind it where both stubs of one
                     hole make it together
    1 dB             1 dB frequency: the lowest at which the shunt loss of one of the net's stubs reaches 1 dB; it moves
                     smoothly where the notch jumps
    loss             losses of the net's stubs at Nyquist, each as a shunt, added up without interaction; of a pair,
                     those of the worse leg
    return           return loss of the governing stub at Nyquist
    model            how the notch was found: "solved geometry", or a uniform line with "laminate Dk", "Dk_eff given" or
                     "delay given"

**Verdicts.** The reason beside each of them says why::

    pass                  the net meets its criterion even if the model is as far off as it may be
    marginal              the net is nearer to its limit than the model is exact
    drill                 the net falls short, and depth drilling can mend it; the reason names the side and the
                          must-not-cut layer
    drilling cannot help  the net falls short, and part of the stub must or will stay; the reason says why
    undecided             a value that nobody has given decides; the reason names it
    waived                the user has excused the net; the reason holds his words and the verdict it would have

A check of a single stub knows no side to drill from, and says "falls short" in place of the two in the middle.

Two errors are told apart. The *model error* is that against full wave of the same drawn geometry. The error *against
hardware* is not known until tolerances are given or a coupon is measured. A net within 8 % of its limit is marginal all
the same, because the one published comparison that was read is 7.4 % off. With ``rank(board, tolerances=...)`` the
range over the tolerances takes the place of these 8 %: a net passes if it does at the worst corner, with the model
error on top. Where that makes another verdict, the reason says which one it is without them. What falls short as drawn
still does: no tolerance mends it.
``check_stub`` and ``stub_budget`` take tolerances of a uniform line. ``drilled_yield`` judges a plan over them.

**Order.** Nets that do not pass come before those that do. In both, nets with a notch at or below Nyquist come first,
the nearest to Nyquist first; the others follow, the lowest notch over Nyquist first.

**The criterion** is printed above every table and in every check. The module ``stubsi.board.criterion`` tells which
there are. ``Ranking.under`` judges the same figures by another one.
"""

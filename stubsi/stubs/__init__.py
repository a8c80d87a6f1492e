"""What a stub of a board answers: its shape as drawn, what stands around it, its models, its figures over frequency.

**The model.** A stub is an open-ended line in shunt on its net. It is solved from its geometry: the capacitance of the
barrel to planes and pads by an electrostatic solution, the inductance from where its current returns, cavity by cavity
between the planes. Where the geometry is not known the stub is a uniform line, and labelled so.

The usual quarter-wave estimate is that uniform line with the Dk of the laminate. Planes and pads load the barrel, so
most stubs have their notch lower than it says. Its notch reads 26 % to 130 % too high, 39 % at the median, over the 40
full-wave geometries of ``cases.csv``. Only the shortest stubs can have it higher: a disk in laminate is too large a
load for an end pad in air. Over boards drawn at random it reads from 2.4 times too low to 4.2 times too high. So a net
on that model passes only if it would with a notch 5 times lower, and falls short only if it would with one 4 times
higher.

**How far off it may be.** The solved stub is compared with all tables in ``shared/fullwave/``; anyone can print this::

    python -m tests.fullwave shared/fullwave/cases.csv   # one barrel      median 0.12 %, max 1.1 %, 40 cases
    python -m tests.fullwave shared/fullwave/mixed.csv   # real stackups   median 0.09 %, max 0.4 %, 13 cases
    python -m tests.fullwave shared/fullwave/edges.csv   # few cavities    median 0.37 %, max 1.7 %, 18 cases
    python -m tests.fullwave shared/fullwave/drilled.csv # drilled stubs   median 0.25 %, max 2.5 %, 5 cases
    python -m tests.fullwave shared/fullwave/feed.csv    # fed by strips   median 0.43 %, max 1.4 %, 5 cases
    python -m tests.fullwave shared/fullwave/pairs.csv   # pairs, odd mode median 0.15 %, max 0.2 %, 6 cases

The error is declared for each stub by its regime: the cavities below its start, a ring of return vias or open planes,
the widest clearance in wavelengths, a drilled end, its feed, a pair. It is at least 1.3 times the largest error seen in
such a regime, and no row of any table exceeds it. Declared error [%] of a stub that begins in the middle of a plane,
where the clearance is small against the wave::

    cavities below its start     1      2      3      4      5   6 and more
    ring of return vias       1.17   2.86   1.69   0.65   0.65   0.78
    open planes               4.55   2.34   1.30   1.43   1.43   0.78

A through feed adds 0.5, a tee or an unknown feed 1.5. A drilled end has at least 4.42, a filled bore 5.72, a leg of a
pair 5, and a stub that no rule covers exactly 5. All of them grow as the square of the clearance in wavelengths. For
stubs that no table has, more is declared, as finite elements of our own show it (``tests/axisymmetric_field.py``):
return vias nearer to a clearance than the planes are apart, much laminate below the last plane, a single cavity between
thick planes, clearances of different width, a notch near the resonance of the cavities. Far up, where a clearance is no
longer small against the wave, little is known. Then the least notch that counts is the highest frequency below which
the model would have found one. The module ``stubsi.stubs.model_error`` has the figures.

How far a model is from a board as built is not known until tolerances are given, as to ``corners``, or a coupon is
measured; the one published comparison that was read is 7.4 % off.

**The feed.** Where a stub starts electrically depends on its *feed*, that is from where the signal comes. The usual via
is *through*: the signal comes along the barrel and leaves on the layer where the stub starts, and all of the barrel
from there on counts. A *tee* has both traces of its net on that layer; their own fields take away part of the
inductance down to the next plane, sometimes all of it. On a board the feed follows from the layers that the net uses in
the hole: two make it through, a single one a tee. ``Hole(feed="tee")``, or ``feed = "tee"`` in the file, states it
where you know better; ``check_stub`` and ``stub_budget`` take ``feed=`` as well. The provenance says which feed was
taken and why. Unknown is a range from tee to through: a feed that is not given, three layers in use, two stubs that
start from one layer, a tee of a pair. Where only one plane lies between the two traces of a through via, their fields
meet in its clearance. The notch is then a range of a few percent, unless ``traces = "same"`` or ``"opposite"`` states
to which sides of the barrel they leave.

**Short stubs among return vias** need care. They may have their first notch together with the return vias, as a
resonance between the planes. A minimum of S21 counts as a notch if it is 3 dB deep and S21 rises by 1 dB after it;
smaller ripples do not count. The provenance says where a notch is such a resonance, or is blurred. Near these limits a
little more length can halve the notch. So a dip that is nearly a notch (2 dB deep, however small the rise after it, or
within 1 dB of the notch) makes a net marginal that would pass without it, and so does a face of copper just beyond the
end of a stub. A shorter stub that the model judges worse counts as well, since plating makes no stub better. Have such
nets measured. The 1 dB frequency moves smoothly there.

**What is unknown stays unknown**: no Dk, thickness, layer or antipad is guessed. An unknown Dk (1 to 13) or antipad
makes the figures a range. Where return vias are not known, the stub is solved with one to eight of them at several
distances, and with none. A verdict that depends on them is undecided. An antipad that is not stated is scanned from 0.2
to 1.2 mm wider than the drill. A verdict that holds over the whole range is given; one that does not is undecided, and
names the antipad. An unknown loss tangent counts as zero, which does not move the notch; the worst losses and the worst
1 dB frequency, which a verdict rests on, allow for 0.03.

**Not covered**: roughness of the plating, glass weave inside a cell, finite planes and their resonances, splits in
planes, several nets that couple through one cavity, and the even mode of pairs. A network is refused at frequencies
where the gap between barrel and antipad is half a wave or more. A stub that no rule covers exactly takes the nearest
case that is covered. The provenance names that case, and the expected error is larger.
"""

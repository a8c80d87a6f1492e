"""Physical ranges every property test draws from: a stub of a board, its laminate, its load and its ports."""

from __future__ import annotations

import numpy as np
from hypothesis import strategies as st

from stubsi import CopperLayer, DielectricLayer, Stackup, Stub
from stubsi.physics.return_path import Posts
from stubsi.physics.uniform_line import UniformLine
from tests.stacks import MM, material, stack


def physical(low, high):
    """Floats of a physical range, ends included."""
    return st.floats(low, high, allow_nan=False, allow_subnormal=False)


stub_lengths = physical(0.05e-3, 12e-3)
"""Stub length [m]: a residual stub of 50 um to a whole backplane."""
dks = physical(2.0, 10.0)
dfs = physical(0.0005, 0.03)
stub_impedances = physical(10.0, 120.0)
port_impedances = physical(25.0, 100.0)
frequencies = physical(1e6, 110e9)
end_capacitances = physical(1e-15, 200e-15)
barrel_diameters = physical(0.1e-3, 1.0e-3)
orders = st.integers(0, 5).map(lambda k: 2 * k + 1)

lossless_lines = st.builds(UniformLine, stub_length=stub_lengths, dk=dks, z_stub=stub_impedances)
loaded_lines = st.builds(
    UniformLine,
    stub_length=stub_lengths,
    dk=dks,
    z_stub=stub_impedances,
    end_capacitance=st.just(0.0) | end_capacitances,
)
"""Lossless, with or without a capacitance at the end."""
lines = st.builds(
    UniformLine,
    stub_length=stub_lengths,
    dk=dks,
    z_stub=stub_impedances,
    df=st.just(0.0) | dfs,
    at=st.just(float("nan")) | physical(1e8, 2e10),
    end_capacitance=st.just(0.0) | end_capacitances,
    barrel_diameter=barrel_diameters,
    conductivity=st.just(float("inf")) | physical(1e6, 6e7),
)
"""Of every kind: lossless, lossy, dispersive, skin effect, end load."""

stubs = st.builds(
    Stub,
    stub_length=stub_lengths.map(lambda m: f"{m * 1e3:.12f} mm"),
    dk_eff=dks,
    z_stub=stub_impedances.map(lambda z: f"{z:.12f} ohm"),
    df=st.just(0.0) | dfs,
    at=st.none() | st.just("1 GHz"),
    end_capacitance=st.none() | end_capacitances.map(lambda f: f"{f * 1e15:.9f} fF"),
)


@st.composite
def stackups(draw):
    """Stackups of 2 to 20 copper layers, every Dk known."""
    copper = draw(st.integers(2, 20))
    um = physical(10.0, 500.0).map(lambda x: f"{x:.3f} um")
    layers = [CopperLayer(name="L1", thickness=draw(um))]
    for number in range(2, copper + 1):
        layers.append(DielectricLayer(thickness=draw(um), dk=draw(dks), df=draw(dfs)))
        layers.append(
            CopperLayer(name=f"L{number}", thickness=draw(um), role=draw(st.sampled_from(["signal", "plane"])))
        )
    return Stackup(layers=tuple(layers), source="drawn at random")


@st.composite
def short_solved_stubs(draw, cavities=(1, 4), farthest=3.0, pairs=True):
    """(barrel, return path, pitch [m]) of a short stub among return vias, NaN for the pitch of a single one.

    Short stubs and vias up to ``farthest`` [mm] away: it is they that meet the resonances of the cavities.
    """
    a = draw(physical(0.08, 0.2))
    b = a + draw(physical(0.12, 0.35))
    df = draw(st.sampled_from([0.002, 0.005, 0.01, 0.02]))
    barrel = stack(
        draw(st.integers(*cavities)), a, b, h=draw(physical(0.08, 0.3)), outer=draw(physical(0.05, 0.2)),
        of=material(draw(physical(2.9, 4.5)), df, frequency=10e9), end_pad=draw(st.none() | st.just(a + 0.08)),
    )  # fmt: skip
    pitch = draw(st.none() | physical(2 * b + 0.1, 2 * b + 0.5)) if pairs else None
    nearest = b + 0.3 + (pitch or 0) / 2
    count = draw(st.integers(0, 6))
    turned = draw(physical(0, np.pi / 4))
    places = [
        draw(physical(nearest, nearest + farthest)) * np.exp(1j * (turned + 2 * np.pi * k / max(count, 1)))
        for k in range(count)
    ]
    if pitch is not None:
        places = [p for p in places if p.real > 0.2]
        places += [-p.conjugate() for p in places]
    places = [p for i, p in enumerate(places) if all(abs(p - other) > 0.3 for other in places[:i])]
    if pitch is not None:
        places = [p for p in places if any(abs(p + other.conjugate()) < 1e-9 for other in places)]
    path = Posts(positions=tuple((p.real * MM, p.imag * MM) for p in places), radius=0.1 * MM)
    return barrel, path, np.nan if pitch is None else pitch * MM

"""Physical ranges every property test draws from: a stub of a board, its laminate, its load and its ports."""

from __future__ import annotations

from hypothesis import strategies as st

from stubsi import CopperLayer, DielectricLayer, Stackup, Stub
from stubsi.physics.uniform_line import UniformLine


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

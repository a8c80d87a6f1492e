"""Which plated holes need depth drilling: stub notch, margin to Nyquist, stub-length budget.

All results are estimates, to be confirmed by the fabricator, by measurement or by field solution, under local codes and
licensed practice.

**The map.** What you have, what you want to know, and what to call. ``help(stubsi.rank)`` tells more of each.

A table of nets (a DataFrame, a list of mappings or a CSV file)::

    check_stubs          which stubs pass: verdict and reason beside every row
    stub_budgets         the longest stub that every row may keep

One stub in a script::

    check_stub           does this stub pass? true only if that is proven
    stub_budget          how long may a stub be?
    notch_frequency      the simple formula: from length and Dk_eff to the notch
    dk_eff_from_notch    the way back: from a measured notch to the Dk_eff to calculate with
    presets              what is known by name, each with its source: line rates, rules of thumb, thickness classes

A stackup, before anything is routed::

    layer_matrix         for every exit layer: the stub left, its side, and whether it passes undrilled

A board::

    read_board           a board file in TOML; help(stubsi.files) shows the smallest one
    read_ipc2581         an IPC-2581 file: stackup, holes and layers in use are found in it
    read_ipc356          an IPC-D-356A netlist, with a stackup beside it
    write_board          any board, as a board file
    rank                 the margin table: every net with margin, verdict and reason, the worst first
    hole_model           one hole with its stubs as a two-port, S-parameters included
    undrilled_changes    the smallest change with which a net passes without drilling
    Board.with_layer     what if: another layer; also with_antipad, with_drill, with_dk, with_return_via and others
    difference           what differs between two boards, two rankings or two plans

The drilling::

    read_rules           the fabricator's rules from a file; FabricatorRules makes them in Python
    read_costs           what a side, a set-up, a group and a hole cost
    read_criteria        criteria by name
    write_rules          rules, costs, criteria and tolerances as a file
    plan                 the fewest drill groups, with depths, must-not-cut layers, residual stubs, and the proof
    Plan.consequences    every net before and after drilling; help(stubsi.drilling) lists what else a plan can tell
    Plan.shallower_changes   the smallest change with which a net is drilled less deep
    Plan.reroutes        the nets that hold a drill group open, and where they could move
    copper_near_drills   copper of an IPC-2581 file that is too near to a depth drill

What goes to the fabricator, and what comes back::

    write_hand_off       schedule, list of holes, drill files, IPC-2581 specifications, acceptance plan
    hand_off_check       what a fabricator would ask back for
    read_hand_off        what the files, as they are now, say other than the plan
    read_backdrill_specs the depth-drill specifications of an IPC-2581 file
    coupons              what to measure on the panel, and the limits it passes between
    still_valid          whether an exported text is unchanged and still fits the board

How sure it is when boards are built::

    read_tolerances      the tolerances of a board from a file
    residual_stub        what a depth tolerance does to a residual stub, and whether a layer may be cut
    corners              worst and best case of every net over all tolerances
    production_yield     how probable it is that the boards built meet their criteria
    dominance            which tolerance causes the spread, and which to ask the fabricator to narrow
    drilled_yield        how probable it is after drilling by a plan, and that a layer in use is cut
    yield_trade          what each number of drill groups is worth in yield
    largest_yield        the plan with the largest yield at a given number of drill groups
    drilled_dominance    which tolerance to narrow after drilling, the depth of the drill among them
    narrowed_rules       the rules with windows that hold for all boards within the tolerances

Pictures (they need matplotlib, the extra ``plot``)::

    plot_margins         the nets of a ranking on a margin axis
    plot_margin_changes  the same before and after drilling
    plot_loss            insertion loss of stubs and holes over frequency
    plot_net_loss        that of one net before and after drilling
    plot_section         the board in section with its drilled holes
    plot_board_map       the holes at their places, by verdict or by drill group
    plot_group_trade     what one drill group more or fewer is worth
    plot_budgets         stub budgets over the data rate, with the rules of thumb
    plot_tolerance_bands the margins of all nets over their tolerances
    plot_net_tolerance   which tolerance dominates the band of a net
    plot_return_distance the notch of a hole over the distance of its return vias
    write_report         everything about a board in one HTML file: decision, nets, pictures, plan, sources

**Pages to read**::

    help(stubsi.margin)                 columns and verdicts of the margin table
    help("stubsi.board.criterion")      criteria, published rules of thumb and their sources
    help(stubsi.stubs)                  the model of a stub, what it covers, and how far off it may be
    help(stubsi.files)                  board files, tables of stubs, IPC-2581 files and netlists
    help(stubsi.board)                  what if: a board with one thing changed
    help(stubsi.drilling)               rules and plan
    help(stubsi.handoff)                the files of a plan
    help(stubsi.tolerance)              tolerances, worst case and yield
    help(stubsi.show)                   forms of output

**Units.** Lengths, rates, frequencies and impedances are text with a unit, "24 mil" or "25.78125 Gb/s", or pint
quantities. A bare number is refused, and so is a decimal comma. Give the text itself: ``Quantity("1,6", "mm")`` reaches
this library as 16 mm, because pint reads the comma first. Results are pint quantities in mm, GHz and ohm:
``budget.stub_length.to("thou")`` is the length in mil. The name of a field with ``_si`` behind it is the plain number
in SI units.

**Words**

depth drilling, back-drilling
    Taking away the unused part of a plated hole by a second, wider drill from one side of the board.
stub
    The part of the barrel beyond the outermost layer that the net uses in the hole. It is open at its end.
residual stub
    What a depth drill leaves of it.
notch, first notch
    The frequency where a stub shorts its net: its length is a quarter of a wave there. The first is the lowest.
Nyquist
    Half the symbol rate of a signal. 112 Gb/s PAM4 has 56 GBd, and its Nyquist frequency is 28 GHz.
margin
    First notch over Nyquist. Below 1 the notch lies in the band of the signal.
1 dB frequency
    The lowest frequency at which a stub takes 1 dB from its net.
criterion
    The limit that a net must meet: 5 x Nyquist for the first notch, unless you name another one.
budget
    The longest stub that still meets the criterion.
must-not-cut layer
    The layer in use that the depth drill stops short of (IPC-6012 calls it the target layer).
drill group
    Holes drilled from one side with one drill to one depth. A set-up is a side with a drill diameter; a hit is one
    hole.
antipad
    The clearance of a plane around a barrel.
return via
    A hole of a reference net, such as ground, through which the current of a signal hole returns.
feed
    From where the signal comes to a stub: along the barrel (through), or on the layer where the stub starts (tee).
Dk, Dk_eff
    Relative permittivity of a laminate; and that of a plain line with the same notch as the real stub. Pads and planes
    load the barrel, so Dk_eff is usually the larger one. Take it from a measured notch, or have the stub solved.
coupon
    A test piece on the production panel. A stub of known length on it is measured, and its Dk_eff is found so.
worst case, corner
    The boards with every tolerance at one end of its limits are its corners; the worst of them is the worst case.
yield
    The share of the boards built on which a net, or the whole board, meets its criterion.
provenance
    Which model made a figure, on which assumptions, and how far off it may be.

This module owns the public names. Each is loaded when it is first used, so ``import stubsi`` costs almost nothing.
``__init__.pyi`` beside it has one line for each of them. There is no ``__all__``: with it, ``help(stubsi)`` would print
the help of every class after the map, 23,000 lines.
"""

from __future__ import annotations


def _public_names() -> dict[str, str]:
    """Every public name with the module that it is loaded from, as ``__init__.pyi`` lists them."""
    from pkgutil import get_data

    listed = get_data(__name__, "__init__.pyi") or b""
    lines = [line.split() for line in listed.decode().splitlines() if line.startswith("from stubsi.")]
    return {line[3]: line[1] for line in lines}  # from stubsi.margin.ranking import rank as rank


_MODULE_OF = _public_names()


def __getattr__(name: str) -> object:
    """Load a public name, a module or the version when it is first asked for."""
    from importlib import import_module
    from importlib.util import find_spec

    if name in _MODULE_OF:
        value: object = getattr(import_module(_MODULE_OF[name]), name)
    elif not name.startswith("_") and find_spec(f"stubsi.{name}"):
        value = import_module(f"stubsi.{name}")
    elif name == "__version__":
        value = _version()
    else:
        raise AttributeError(f"module 'stubsi' has no attribute '{name}'")
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """Public names, modules and the version: what an editor offers."""
    from pkgutil import iter_modules

    modules = (module.name for module in iter_modules(__path__))
    return sorted({*_MODULE_OF, *(name for name in modules if not name.startswith("_")), "__version__"})


def _version() -> str:
    """Version of the installed distribution; "unknown" where the package runs without having been installed."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("stubsi")
    except PackageNotFoundError:
        return "unknown"

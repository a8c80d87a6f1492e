"""Reading of board files: from TOML text, or from IPC-2581, to a Board. Errors name the file and the place in it.

**Board file.** A board file is TOML, written by hand. Every length, rate and impedance is text with its unit.
``shared/demo_board.toml`` holds one of everything, and its header says how to read it. The smallest board file::

    [stackup]
    source = "drawing 12, rev B"
    layer = [
        {copper = "TOP", thickness = "35 um", role = "signal"},
        {dielectric = "core", thickness = "0.2 mm", dk = 4.2, df = 0.02, at = "1 GHz"},
        {copper = "GND", thickness = "35 um", role = "plane"},
        {dielectric = "core", thickness = "1.2 mm", dk = 4.2, df = 0.02, at = "1 GHz"},
        {copper = "BOT", thickness = "35 um", role = "signal"},
    ]

    [[padstack]]
    name = "via"
    drill = "0.3 mm"
    pad = "0.5 mm"
    antipad = "0.8 mm"

    [[padstack]]
    name = "ground via"             # without antipad: it meets every plane
    drill = "0.3 mm"
    pad = "0.5 mm"

    [[net]]
    name = "CLK"
    signal = "3200 MT/s"
    z0 = "50 ohm"
    holes = [{name = "U1.1", padstack = "via", connects = ["TOP"], at = ["5 mm", "5 mm"]}]

    [[reference]]
    name = "GND"
    padstack = "ground via"
    at = [["5.9 mm", "5 mm"]]

``write_board(board, "board.toml")`` writes any board, also one that was read from an exchange file or built in Python,
so that it reads back bit for bit. A file that exists is replaced only with ``replace=True``, and in one step. Two forms
are for boards that a short file cannot say: a ``[[net]]`` with ``reference = true`` is a reference net whose holes are
listed one by one, and ``source = ""`` or ``dielectric = ""`` says that it is not stated.

Tolerances of the board may stand in the same file, or in a rules file: ``help(stubsi.read_tolerances)`` shows them.

Values of a size that nothing built can have are refused: a pad of more than 1 m, for example. A padstack name stands
for one padstack. A name that is not found is answered with the names near it. A name is one line of text without
control characters. A source or a waiver may be of several lines.

**Table of stubs.** ``check_stubs`` and ``stub_budgets`` take a DataFrame, a list of mappings or a CSV file, one stub in
each row. A column is read if its title is an argument of ``check_stub``: stub length, signal, and where given z0,
Dk_eff, criterion, layer, feed. A unit stands in the title or in each cell. An empty cell takes the keyword of that
name. Without one the row is undecided, and the reason names the column. All other columns come back as they were. In
place of the length a row may name the layers ``entry`` and ``exit``, with ``stackup=`` and ``padstack=`` in the call:
then its stubs are solved.

**IPC-2581.** ``read_ipc2581`` reads the stackup, the plated holes, and the layers where copper of a hole's own net
meets it. A pad alone is no connection. Roles of layers and clearances in planes that no attribute states are read from
the copper, impedances of lines from their specifications. What the file cannot say is given beside it; what is then
missing is listed in one error. ``read_ipc356`` makes a board of an IPC-D-356A netlist, a stackup and a table of the
layers in use. Pairs that the file does not state, feeds and criteria are given by name or pattern:
``pairs={"PCIE_TX*_P": "PCIE_TX*_N"}``, ``criterion={"PCIE*": "Simonovich 2017"}``.

>>> import stubsi
>>> export = stubsi.read_ipc2581("shared/sluice_gate.xml", signals={"FLOW_*": "16 GT/s"}, z0="85 ohm", plating="20 um")
>>> print(export.board.net("FLOW_P/FLOW_N").holes[0].connects)
('TOP', 'SIG_3')
>>> print(export.nets_without_signal, dict(export.ignored))     # print(export) says all that was found and assumed
('ALARM', 'LEVEL') {'non-plated holes': 1}

For the command ``python -m stubsi``, what an exchange file lacks stands in a TOML file that names it. Its other keys
are the arguments of the reader; for a netlist it holds ``[stackup]``, too, as in a board file::

    exchange = "sluice_gate.xml"
    z0       = "85 ohm"
    signals  = {"FLOW_*" = "16 GT/s"}
"""

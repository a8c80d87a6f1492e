"""Board files as text for the tests of the reader: the least a file can hold, and one of everything."""

from __future__ import annotations

MINIMAL = """
[stackup]
layer = [
    {copper = "TOP", thickness = "35 um", role = "signal"},
    {dielectric = "core", thickness = "1.5 mm"},
    {copper = "BOT", thickness = "35 um", role = "signal"},
]

[[padstack]]
name  = "via"
drill = "0.3 mm"
pad   = "none"

[[net]]
name   = "CLK"
signal = "10 Gb/s"
z0     = "50 ohm"
holes  = [{name = "V1", padstack = "via", connects = ["TOP"]}]
"""

FULL = """
name = "probe card"
criterion = "house"

[signal_criteria]
"PCIe 5.0" = "Bogatin 2015"

[criteria.house]
notch_ratio = 3
source = "house rule"

[stackup]
source = "drawing 7"
layer = [
    {copper = "L1", thickness = "40 um", role = "signal"},
    {dielectric = "preg", thickness = "5 mil", dk = 3.6, df = 0.004, dk_in_plane = 3.9, at = "9 GHz", source = "test"},
    {copper = "L2", thickness = "15 um", role = "plane"},
    {dielectric = "core", thickness = "0.5 mm", dk = 4},
    {copper = "L3", thickness = "15 um", role = "mixed"},
    {dielectric = "prepreg", thickness = "5 mil"},
    {copper = "L4", thickness = "40 um", role = "signal"},
]

[[padstack]]
name = "pair"
drill = "0.25 mm"
finished = "0.15 mm"
pad = "0.5 mm"
pads = {L1 = "0.6 mm", L3 = "none"}
antipad = {slot = "0.9 mm"}
antipads = {L3 = "0.85 mm"}
non_functional_pads = "removed"

[[padstack]]
name = "blind"
drill = "8 mil"
pad = "16 mil"
antipad = "28 mil"
span = ["L1", "L3"]

[[padstack]]
name = "post"
drill = "0.25 mm"
pad = "0.5 mm"

[[press_fit]]
name = "eye"
side = "top"
contact_from = "0.2 mm"
contact_to = "0.6 mm"
pin_length = "1.4 mm"

[[net]]
name = "LANE"
signal = "PCIe 5.0"
z0 = "85 ohm"
layers = ["L3", "L4"]
holes = [
    {name = "A1", leg = "P", padstack = "pair", connects = ["L3"], at = ["1 mm", "40 mil"], press_fit = "eye"},
    {name = "A2", leg = "N", padstack = "pair", connects = ["L1", "L3"], at = ["2 mm", "40 mil"]},
]

[[net]]
name = "REF"
signal = "2.5 GBd"
z0 = "50 ohm"
criterion = "Simonovich 2017"
waiver = "not fitted"
holes = [{name = "B1", padstack = "blind", connects = ["L3", "L1"]}]

[[reference]]
name = "GND"
padstack = "post"
at = [["0 mm", "0 mm"], ["-1.0 mm", "0 mm"]]
"""


def changed(text, old, new):
    """The text with the first ``old`` replaced; the test is at fault if there is none."""
    assert text.count(old) >= 1, f"{old} is not in the text"
    return text.replace(old, new, 1)

"""Board files that are wrong: each refused with file, table and key, and nothing guessed."""

from __future__ import annotations

import re

import pytest

from stubsi import FileError
from stubsi.files.toml import read_board
from tests.board_text import FULL, MINIMAL, changed


@pytest.fixture
def written(tmp_path):
    def write(text):
        path = tmp_path / "card.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


DRILL = r"card\.toml: \[\[padstack\]\] 'via'.*drill = "

BAD_LENGTHS = {
    "blank": ('" "', "must be a length"),
    "no unit": ('"0.3"', "has no unit"),
    "bare number": ("0.3", r'0\.3: must be a length with its unit, in quotes: drill = "0\.25 mm"'),
    "true": ("true", "true: must be a length"),
    "list": ('["0.3 mm"]', "must be a length"),
    "toml nan": ("nan", "must be a length"),
    "nan": ('"nan mm"', "one number and one unit"),
    "infinite": ('"inf mm"', "one number and one unit"),
    "overflow": ('"1e999 mm"', "finite"),
    "negative": ('"-0.3 mm"', "positive"),
    "unicode minus": ('"\u22120.3 mm"', "positive"),
    "zero": ('"0 mm"', "positive"),
    "comma decimal": ('"0,3 mm"', "comma"),
    "thousands": ('"1,000 um"', "comma"),
    "quote mark": ("'0.012\"'", "quote marks are no unit"),
    "tolerance": ('"0.3 mm ± 0.1 mm"', "unknown unit"),
    "arithmetic": ('"12 mil + 3"', "unknown unit"),
    "unknown unit": ('"0.3 furlong"', "unknown unit 'furlong'"),
    "capitals": ('"12 MIL"', "did you mean 'mil'"),
    "copper weight": ('"1 oz"', "unknown unit 'oz'"),
    "frequency": ('"0.3 GHz"', "is a frequency"),
    "rate": ('"28 Gb/s"', "a line rate where a length is wanted"),
    "impedance": ('"50 ohm"', "impedance"),
    "Arabic digits": ('"\u0663 mm"', "only the digits 0 to 9 are read"),
    "a digit of another script": ('"0.\u09e9 mm"', "only the digits 0 to 9 are read"),
    "atom": ('"1e-300 mm"', "its size must be at most"),
    "planet": ('"1e200 mm"', "its size must be at most"),
    "endless": ('"' + "3" * 20_000 + '"', "has no unit"),
    "fraction": ('"1/3 mm"', "unknown unit|one number and one unit"),
}


@pytest.mark.parametrize(("value", "why"), BAD_LENGTHS.values(), ids=BAD_LENGTHS)
def test_bad_length_is_refused_with_its_place(written, value, why):
    path = written(changed(MINIMAL, 'drill = "0.3 mm"', f"drill = {value}"))
    with pytest.raises(FileError, match=f"{DRILL}.*(?:{why})"):
        read_board(path)


LAYER = r"card\.toml: \[\[stackup\.layer\]\] number"
LANE = r"card\.toml: \[\[net\]\] 'LANE'"
PAIR = r"card\.toml: \[\[padstack\]\] 'pair'"
EYE = r"card\.toml: \[\[press_fit\]\] 'eye'"

BAD_VALUES = {
    # stackup
    "zero thickness": ('thickness = "0.5 mm"', 'thickness = "0 mm"', f"{LAYER} 4.*thickness.*positive"),
    "zero dk": ("dk = 3.6", "dk = 0", f"{LAYER} 2.*dk = 0: must be"),
    "negative dk": ("dk = 3.6", "dk = -3.6", f"{LAYER} 2.*dk = -3.6: must be"),
    "dk below vacuum": ("dk = 3.6", "dk = 0.9", f"{LAYER} 2.*dk = 0.9.*at least 1"),
    "dk nan": ("dk = 3.6", "dk = nan", f"{LAYER} 2.*dk = nan.*finite"),
    "dk infinite": ("dk = 3.6", "dk = inf", f"{LAYER} 2.*dk = inf.*finite"),
    "dk in quotes": ("dk = 3.6", 'dk = "3.6"', f"{LAYER} 2 dk = '3.6': must be a plain number, without quotes"),
    "dk true": ("dk = 3.6", "dk = true", f"{LAYER} 2 dk = true: must be a plain number"),
    "df negative": ("df = 0.004", "df = -0.004", f"{LAYER} 2.*df = -0.004.*not negative"),
    "df in percent": ("df = 0.004", "df = 4.0", f"{LAYER} 2.*df = 4.0.*not a percentage"),
    "in-plane dk": ("dk_in_plane = 3.9", "dk_in_plane = 0.39", f"{LAYER} 2.*dk_in_plane.*at least 1"),
    "dk at a rate": ('at = "9 GHz"', 'at = "10 Gb/s"', f"{LAYER} 2.*at.*line rate where a frequency"),
    "dk at a number": ('at = "9 GHz"', "at = 10", f'{LAYER} 2 at = 10: must be a frequency.*at = "10 GHz"'),
    "unknown role": ('role = "mixed"', 'role = "power"', f"{LAYER} 5.*role = 'power'.*signal, plane, mixed"),
    "role missing": (', role = "mixed"', "", f"{LAYER} 5: role is missing"),
    "layer of no kind": ('dielectric = "core", ', "", f"{LAYER} 4: must be either copper"),
    "layer of both kinds": ('dielectric = "core"', 'dielectric = "core", copper = "L9"', f"{LAYER} 4: must be either"),
    "layer name twice": ('copper = "L3"', 'copper = "L2"', r"card\.toml: \[stackup\].*'L2' is used twice"),
    "layer in one bracket": ("[stackup]", "[[stackup]]", r"card\.toml: top level stackup.*one table, \[stackup\]"),
    # padstacks
    "drill above antipad": ('drill = "8 mil"', 'drill = "30 mil"', r"\[\[padstack\]\] 'blind'.*smaller than"),
    "drill equals antipad": ('antipad = "28 mil"', 'antipad = "16 mil"', r"'blind'.*smaller than antipad"),
    "drill above pad": ('pad = "16 mil"', 'pad = "6 mil"', r"'blind'.*pad.*must not be smaller than drill"),
    "finished above drill": ('finished = "0.15 mm"', 'finished = "0.25 mm"', f"{PAIR}.*finished.*smaller than drill"),
    "antipad number": ('antipad = "28 mil"', "antipad = 28", r"'blind' antipad = 28: must be a length with its unit"),
    "antipad key": ('{slot = "0.9 mm"}', '{oval = "0.9 mm"}', f"{PAIR} antipad: unknown key 'oval'; known are slot"),
    "slot number": ('{slot = "0.9 mm"}', "{slot = 0.9}", f"{PAIR} antipad slot = 0.9: must be a length"),
    "slot zero": ('{slot = "0.9 mm"}', '{slot = "0 mm"}', f"{PAIR} antipad.*positive"),
    "antipads number": ('L3 = "0.85 mm"', "L3 = 0.85", f"{PAIR} antipads L3 = 0.85: must be a length"),
    "antipads unit": ('L3 = "0.85 mm"', 'L3 = "0.85 GHz"', f"{PAIR} antipads L3.*is a frequency"),
    "antipads layer": ('L3 = "0.85 mm"', 'L9 = "0.85 mm"', f"{PAIR}.*layer 'L9': no such copper layer; known are L1"),
    "pads number": ('L1 = "0.6 mm"', "L1 = 0.6", f"{PAIR} pads L1 = 0.6: must be a length"),
    "pads unit": ('L1 = "0.6 mm"', 'L1 = "0.6 mn"', f"{PAIR}.*pad on L1.*unknown unit 'mn'"),
    "pads layer": ('L1 = "0.6 mm"', 'L7 = "0.6 mm"', f"{PAIR}.*layer 'L7': no such copper layer"),
    "pad missing": ('pad = "16 mil"\n', "", r"'blind': pad is missing"),
    "span upside down": ('span = ["L1", "L3"]', 'span = ["L3", "L1"]', r"'blind'.*span.*upper to a lower"),
    "span of one": ('span = ["L1", "L3"]', 'span = ["L1"]', r"'blind'.*span.*two layer names"),
    "span unknown": ('span = ["L1", "L3"]', 'span = ["L1", "L8"]', r"'blind'.*span.*'L8': no such copper layer"),
    "span text": ('span = ["L1", "L3"]', 'span = "L1-L3"', r"'blind' span = 'L1-L3': must be a list of names"),
    "pads kept how": ('"removed"', '"gone"', f"{PAIR}.*non_functional_pads = 'gone'"),
    "padstack twice": ('name = "blind"', 'name = "pair"', f"{PAIR}: name appears twice"),
    "padstack unnamed": ('name = "blind"\n', "", r"\[\[padstack\]\] number 2: name is missing"),
    # press fits
    "press fit side": ('side = "top"', 'side = "left"', f"{EYE}.*side = 'left'.*'top' or 'bottom'"),
    "contact upside down": ('contact_to = "0.6 mm"', 'contact_to = "0.1 mm"', f"{EYE}.*contact_to.*deeper"),
    "contact beyond board": ('"0.6 mm"\npin_length = "1.4 mm"', '"6 mm"\npin_length = "7 mm"',
                             f"{LANE}.*contact_to.*beyond the board"),
    "contact missing": ('contact_to = "0.6 mm"\n', "", f"{EYE}: contact_to is missing"),
    "pin length zero": ('pin_length = "1.4 mm"', 'pin_length = "0 mm"', f"{EYE}.*pin_length.*positive"),
    # nets and holes
    "rate is a frequency": ('signal = "2.5 GBd"', 'signal = "28 GHz"', r"'REF'.*28 GHz.*frequency.*56 GBd"),
    "rate zero": ('signal = "2.5 GBd"', 'signal = "0 Gb/s"', r"'REF'.*positive"),
    "rate bare": ('signal = "2.5 GBd"', "signal = 2.5", r"'REF' signal = 2.5: must be a line rate in quotes"),
    "rate unknown name": ('signal = "2.5 GBd"', 'signal = "PCIe 50"', r"'REF'.*no line rate of that name.*PCIe 5"),
    "rate in bytes": ('signal = "2.5 GBd"', 'signal = "2.5 GB/s"', r"'REF'.*counts bytes"),
    "modulation": ('signal = "2.5 GBd"', 'signal = "2.5 GBd PAM5"', r"'REF'.*PAM5.*NRZ, PAM3 or PAM4"),
    "signal missing": ('signal = "2.5 GBd"\n', "", r"'REF': signal is missing"),
    "z0 missing": ('z0 = "85 ohm"\n', "", f'{LANE}: z0 is missing; .*z0 = "50 ohm"'),
    "z0 zero": ('z0 = "85 ohm"', 'z0 = "0 ohm"', f"{LANE}.*z0.*positive"),
    "z0 negative": ('z0 = "85 ohm"', 'z0 = "-85 ohm"', f"{LANE}.*z0.*positive"),
    "z0 bare": ('z0 = "85 ohm"', "z0 = 85", f'{LANE} z0 = 85: must be an impedance with its unit.*"50 ohm"'),
    "z0 a length": ('z0 = "85 ohm"', 'z0 = "85 mm"', f"{LANE}.*z0.*is a length"),
    "net name blank": ('name = "LANE"', 'name = ""', r"\[\[net\]\] number 1 name = '': must be text"),
    "net twice": ('name = "REF"', 'name = "LANE"', r"\[\[net\]\].*net 'LANE' appears 2 times"),
    "reference named as a net": ('name = "GND"', 'name = "LANE"', r"\[\[reference\]\].*net 'LANE' appears 2 times"),
    "hole twice": ('name = "B1"', 'name = "A1"', r"hole 'A1' appears 2 times"),
    "no holes": ('holes = [{name = "B1", padstack = "blind", connects = ["L3", "L1"]}]', "holes = []", "'REF'.*holes"),
    "hole key": ("leg = ", "legs = ", f"{LANE} hole 'A1': unknown key 'legs'; did you mean 'leg'"),
    "leg unknown": ('leg = "P"', 'leg = "+"', f"{LANE} hole 'A1'.*leg = '\\+'.*'P' or 'N'"),
    "leg alone": ('leg = "P"', 'leg = "N"', f"{LANE}.*all name their leg"),
    "connects unknown": ('connects = ["L3"]', 'connects = ["L99"]', f"{LANE}.*hole A1 connects.*'L99': no such copper"),
    "connects outside": ('["L3", "L1"]', '["L1", "L4"]', r"'REF'.*hole B1 connects 'L4': lies outside.*L1 to L3"),
    "connects text": ('connects = ["L3"]', 'connects = "L3"', f"{LANE} hole 'A1' connects = 'L3': must be a list"),
    "connects nothing": ('connects = ["L3"]', "connects = []", f"{LANE}.*A1 connects no layer"),
    "connects twice": ('connects = ["L3"]', 'connects = ["L3", "L3"]', f"{LANE} hole 'A1'.*names a layer twice"),
    "layers unknown": ('["L3", "L4"]', '["L3", "L44"]', f"{LANE}.*layers.*'L44': no such copper layer"),
    "place of one": ('at = ["1 mm", "40 mil"]', 'at = ["1 mm"]', f"{LANE} hole 'A1' at = .*must be x and y"),
    "place bare": ('at = ["1 mm", "40 mil"]', "at = [1, 40]", f"{LANE} hole 'A1' at = .*must be x and y"),
    "place far away": ('at = ["1 mm", "40 mil"]', 'at = ["1e200 mm", "40 mil"]',
                       f"{LANE} hole 'A1'.*Hole x = '1e200 mm': its size must be at most"),
    "place beyond floats": ('at = ["1 mm", "40 mil"]', 'at = ["1 mm", "-1e999 mil"]', f"{LANE} hole 'A1'.*finite"),
    "place in other digits": ('at = ["1 mm", "40 mil"]', 'at = ["\u0967 mm", "40 mil"]', "'A1'.*only the digits 0"),
    "dk of 400 digits": ("dk = 3.6", "dk = " + "9" * 400, f"{LAYER} 2.*dk = 9999.*must be finite"),
    "rate in other digits": ('signal = "2.5 GBd"', 'signal = "\u0662.5 GBd"', r"'REF'.*only the digits 0 to 9 are"),
    "place unit": ('at = ["1 mm", "40 mil"]', 'at = ["1 mm", "40 ohm"]', f"{LANE} hole 'A1'.*Hole y = '40 ohm'"),
    "legs at one place": ('at = ["2 mm", "40 mil"]', 'at = ["1 mm", "40 mil"]', f"{LANE}.*A1 and A2 are 0 mm apart"),
    "drills that meet": ('at = ["2 mm", "40 mil"]', 'at = ["1.2 mm", "40 mil"]', f"{LANE}.*A1 and A2 are 0.2 mm"),
    "return via in a hole": ('["-1.0 mm", "0 mm"]', '["1.1 mm", "1 mm"]', r"holes A1 and GND\.2 are .* run into each"),
    "padstack unknown": ('padstack = "pair", connects = ["L3"]', 'padstack = "pear", connects = ["L3"]',
                         f"{LANE} hole 'A1' padstack = 'pear': no such .*did you mean 'pair'"),
    "press fit unknown": ('press_fit = "eye"', 'press_fit = "ear"', f"{LANE} hole 'A1' press_fit = 'ear': no such"),
    "net key": ('z0 = "85 ohm"', 'zo = "85 ohm"', f"{LANE}: unknown key 'zo'; did you mean 'z0'"),
    "waiver without reason": ('waiver = "not fitted"', 'waiver = ""', "'REF' waiver = '': must be text"),
    # reference nets
    "reference place": ('["0 mm", "0 mm"]', '["0 mm"]', r"\[\[reference\]\] 'GND' at = .*list of x and y"),
    "reference unit": ('["0 mm", "0 mm"]', '["0 mm", "0 GHz"]', r"\[\[reference\]\] 'GND' at.*is a frequency"),
    "reference signal": ('name = "GND"', 'name = "GND"\nsignal = "1 Gb/s"', r"'GND': unknown key 'signal'"),
    # criteria
    "criterion unknown": ('criterion = "house"', 'criterion = "hause"', r"top level criterion = 'hause'.*'house'"),
    "criterion of net": ('"Simonovich 2017"', '"Simonovic 2017"', "'REF' criterion = .*did you mean 'Simonovich 2017'"),
    "criterion of signal": ('"Bogatin 2015"', '"Bogatin"', r"\[signal_criteria\] 'PCIe 5.0' = 'Bogatin': no such"),
    "criteria for no signal": ('"PCIe 5.0" =', '"28 GHz" =', r"\[signal_criteria\] '28 GHz'.*that is a frequency"),
    "criteria for one signal twice": ('"PCIe 5.0" =', '"32 Gb/s" = "house"\n"PCIe 5.0" =', "under another spelling"),
    "criterion of signal bare": ('= "Bogatin 2015"', "= 5", r"\[signal_criteria\] 'PCIe 5.0' = 5: must be the name"),
    "two limits": ("notch_ratio = 3", "notch_ratio = 3\nloss = 1", r"\[criteria\] 'house'.*notch_ratio and loss"),
    "no limit": ("notch_ratio = 3\n", "", r"\[criteria\] 'house'.*exactly one.*it holds none"),
    "limit zero": ("notch_ratio = 3", "notch_ratio = 0", r"\[criteria\] 'house'.*notch ratio = 0.*positive"),
    "limit in quotes": ("notch_ratio = 3", 'notch_ratio = "3"', r"\[criteria\] 'house' notch_ratio = '3': must be"),
    "limit bare length": ("notch_ratio = 3", "stub_length = 0.4", r"\[criteria\] 'house' stub_length = 0.4: .*length"),
    "no source": ('source = "house rule"\n', "", r"\[criteria\] 'house': source is missing"),
    "name of a published rule": ("[criteria.house]", '[criteria."TI 15 mil"]', "'TI 15 mil': is the name"),
    "criteria not a table": ("[criteria.house]\nnotch_ratio = 3\nsource = \"house rule\"", "[criteria]\nhouse = 5",
                             r"\[criteria\] 'house' = 5: must be a table"),
    # top level
    "unknown key": ('name = "probe card"', 'title = "probe card"', "top level: unknown key 'title'; known are"),
    "near key": ("[[padstack]]", "[[padstacks]]", "top level: unknown key 'padstacks'; did you mean 'padstack'"),
    "name not text": ('name = "probe card"', "name = 7", "top level name = 7: must be text"),
}  # fmt: skip


@pytest.mark.parametrize(("old", "new", "message"), BAD_VALUES.values(), ids=BAD_VALUES)
def test_bad_value_is_refused_with_its_place(written, old, new, message):
    with pytest.raises(FileError, match=message) as caught:
        read_board(written(changed(FULL, old, new)))
    assert str(caught.value).startswith("card.toml: ")


def test_board_without_stackup_is_refused(written):
    with pytest.raises(FileError, match=r"top level: stackup is missing"):
        read_board(written(MINIMAL[MINIMAL.index("[[padstack]]") :]))


@pytest.mark.parametrize("key", ["net", "padstack"])
def test_one_bracket_where_two_belong_is_refused(written, key):
    with pytest.raises(FileError, match=rf"top level {key} = .*two brackets, \[\[{key}\]\]"):
        read_board(written(changed(MINIMAL, f"[[{key}]]", f"[{key}]")))


def test_stackup_without_layers_is_refused(written):
    with pytest.raises(FileError, match=r"\[stackup\]: layer is missing"):
        read_board(written('[stackup]\nsource = "none"'))


BAD_TEXTS = {
    "syntax": ('name = "a"\nthickness = 3 mm\n', "card.toml: not valid TOML: .*line 2"),
    "key twice": ('name = "a"\nname = "b"\n', "card.toml: not valid TOML: .*line 2"),
    "unclosed quote": ('name = "a\n', "card.toml: not valid TOML: .*line 1"),
    "empty": ("", "card.toml: top level: stackup is missing"),
    "lists in lists": ("a = " + "[" * 1000 + "]" * 1000, "card.toml: lists or tables are nested too deeply"),
    "tables in tables": (
        "a = " + "{a = " * 1000 + "1" + "}" * 1000,
        "card.toml: lists or tables are nested too deeply",
    ),
    "lists in a list that is a board's": (
        f"stackup = {'[' * 90}{']' * 90}",
        r"stackup = \[\[.*\.\.\.: must be one table",
    ),
    "integer of 5,000 digits": ("a = " + "9" * 5000, "card.toml: holds a value that cannot be read: .*digits"),
    "integer of 50,000 hexadecimal digits": ("name = 0x" + "f" * 50_000, "top level name = <int>: must be text"),
    "key of 20,000 parts": ("a" + ".b" * 20_000 + " = 1", "card.toml: line 1 holds a key of more than 20 parts"),
    "key of many quoted parts": ("\na" + ' . "b"' * 20_000 + " = 1", "line 2 holds a key of more than 20 parts"),
    "table of 20,000 parts": ("[a" + ".b" * 20_000 + "]", "line 1 holds a key of more than 20 parts"),
    "key of many parts in a table": ("x = {a" + ".b" * 20_000 + " = 1}", "line 1 holds a key of more than 20 parts"),
    "key that is very long": ("x" * 100_000 + " = 1", r"top level: unknown key 'xxx.*\.\.\."),
    "date that is none": ("a = 1979-13-41", "card.toml: not valid TOML"),
    "date for a name": ("name = 1979-05-27", "top level name = .*must be text"),
}


@pytest.mark.parametrize(("text", "message"), BAD_TEXTS.values(), ids=BAD_TEXTS)
def test_text_that_is_not_a_board_names_file_and_line(written, text, message):
    with pytest.raises(FileError, match=message) as caught:
        read_board(written(text))
    assert len(str(caught.value)) < 400


def test_dots_that_are_no_key_are_read(written):
    dots = "." * 100
    text = changed(MINIMAL, 'name   = "CLK"', f'name   = "CLK{dots}"  # {dots}') + f"# {dots}\n"
    places = ", ".join(f'["{i}.5 mm", "20.5 mm"]' for i in range(100))
    text += f'[[reference]]\nname = "GND"\npadstack = "via"\nat = [{places}]\n'
    assert len(read_board(written(text)).return_vias) == 100


@pytest.mark.parametrize(
    "path", [None, 5, b"card.toml", ["card.toml"], {}, object(), 1.5], ids=lambda v: type(v).__name__
)
def test_what_is_no_path_is_refused(path):
    with pytest.raises(FileError, match=r"path = .*: must be the path of a board file"):
        read_board(path)


@pytest.mark.parametrize("path", ["card\0.toml", "x" * 5000], ids=["NUL", "too long"])
def test_a_path_that_cannot_be_is_refused(path):
    with pytest.raises(FileError, match=r"is no path of a file|cannot be read"):
        read_board(path)


def test_a_file_beyond_the_largest_is_refused(written, monkeypatch):
    monkeypatch.setattr("stubsi.files.toml_text.LARGEST_FILE", 100)
    with pytest.raises(FileError, match="too large for a board file"):
        read_board(written(MINIMAL))


def test_a_padstack_no_hole_has_is_checked(written):
    unused = '[[padstack]]\nname = "spare"\ndrill = "0.3 mm"\npad = "none"\nspan = ["BOT", "TOP"]\n'
    with pytest.raises(FileError, match=r"\[\[padstack\]\] 'spare'.*upper to a lower layer"):
        read_board(written(MINIMAL + unused))


BAD_FILES = {
    "utf-16": (MINIMAL.encode("utf-16"), "card.toml: is UTF-16 text; save it as UTF-8"),
    "utf-16 without mark": (MINIMAL.encode("utf-16-le"), "card.toml: is a binary file"),
    "latin-1": ("# 50 \u00b5m\n".encode("latin-1") + MINIMAL.encode(), "card.toml: line 1 is not UTF-8"),
    "image": (b"\x89PNG\r\n\x1a\n\x00\x00", "card.toml: line 1 is not UTF-8"),
    "zeros": (bytes(64), "card.toml: is a binary file"),
}


@pytest.mark.parametrize(("raw", "message"), BAD_FILES.values(), ids=BAD_FILES)
def test_file_that_is_not_utf8_text_is_refused(tmp_path, raw, message):
    path = tmp_path / "card.toml"
    path.write_bytes(raw)
    with pytest.raises(FileError, match=message):
        read_board(path)


def test_missing_file_and_directory_are_refused(tmp_path):
    with pytest.raises(FileError, match=r"nowhere\.toml: no such file"):
        read_board(tmp_path / "nowhere.toml")
    with pytest.raises(FileError, match=re.escape(f"{tmp_path}: is a directory")):
        read_board(tmp_path)

"""Text layouts: tables of many shapes, patterns that cannot hang, compiled reading that gives the same numbers."""

from __future__ import annotations

import re
import time

import numpy as np
import pytest
from hypothesis import assume, example, given
from hypothesis import strategies as st

from strongmotion.formats import layout as layout_room
from strongmotion.formats import lines as lines_room
from strongmotion.formats import read, write_text
from strongmotion.formats.header import Reading
from strongmotion.formats.layout import load_layout
from strongmotion.formats.lines import Lines
from strongmotion.formats.patterns import Pattern, PatternError
from strongmotion.formats.text import read_text
from strongmotion.foundation.errors import RecordError, SettingsError
from strongmotion.record import Component, Record


def save(folder, text, name):
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


@pytest.fixture
def no_compiled(monkeypatch):
    monkeypatch.setattr(lines_room, "COMPILED_FROM", 10**12)


@pytest.fixture
def always_compiled(monkeypatch):
    monkeypatch.setattr(lines_room, "COMPILED_FROM", 0)


# --- five layouts of invented agencies ---------------------------------------------------------------------------

X = np.round(400 * np.sin(np.arange(40) / 3) * np.exp(-((np.arange(40) - 20) ** 2) / 90), 3)
Y, Z = np.round(X[::-1] * 0.7, 3), np.round(X * -0.4, 3)

# 1. One table, blanks between, decimal points, a header of "key: value" lines, time first.
MEADOW = (
    "Meadow network, station card\nStation: MEAD\nStart: 2031-04-17T03:26:27Z\nUnits: gal\nSampling rate (Hz): 100\n\n"
    "   time        N-S        E-W         UD\n"
    + "".join(f"{i / 100:7.2f}{a:11.3f}{b:11.3f}{c:11.3f}\n" for i, (a, b, c) in enumerate(zip(X, Y, Z, strict=True)))
)
MEADOW_LAYOUT = """
name = "meadow"
recognise = '^Meadow network'
[header]
last = '^ +time'
station.pattern = '^Station: (.*)$'
start.pattern = '^Start: (.*)$'
unit.pattern = '^Units: (.*)$'
sampling_rate.pattern = '^Sampling rate \\(Hz\\): (.*)$'
[block]
columns = ["time", "N-S", "E-W", "UD"]
"""

# 2. Three blocks, one after another, below a header that stands once; packed columns without blanks between.
CLIFF = "CLIFF ARRAY   4 BYTES   STATION CLIF\nBEGIN 2031-04-17 03:26:27\n" + "".join(
    f"CHANNEL {name}   COUNTS/(M/S2) {400000.0 + k}   SAMPLES {len(x)}   STEP 0.005\n"
    + "".join("".join(f"{round(v * 1000):7d}" for v in x[i : i + 11]) + f"  {i // 11:03d}\n" for i in range(0, 33, 11))
    + "".join(f"{round(v * 1000):7d}" for v in x[33:])
    + "\n"
    for k, (name, x) in enumerate((("NS", X), ("EW", Y), ("UD", Z)))
)
CLIFF_LAYOUT = """
name = "cliff"
recognise = '^CLIFF ARRAY'
[file]
station.pattern = 'STATION (\\S+)'
start.pattern = '^BEGIN (.*)$'
[header]
first = '^CHANNEL '
lines = 1
component.pattern = '^CHANNEL (\\S+)'
sensitivity.pattern = 'COUNTS/\\(M/S2\\) (\\S+)'
samples.pattern = 'SAMPLES (\\d+)'
dt.pattern = 'STEP (\\S+)'
unit.value = "counts"
[block]
values_per_line = 11
width = 7
"""

# 3. Semicolons, decimal comma, remarks among the numbers, a trailer, text in a column, Latin-1.
DUNE = (
    "Düne;Messung 7\nIntervall;0,01;s\nEinheit;m/s²\n\nNr;x;y;Güte\n"
    + "".join(
        f"{i};{a:.3f};{b:.4e};gut\n".replace(".", ",") + ("* Pause\n" if i == 20 else "")
        for i, (a, b) in enumerate(zip(X, Y, strict=True))
    )
    + "Ende der Messung\nPrüfsumme;4711\n"
)
DUNE_LAYOUT = """
name = "dune"
recognise = '^Düne;'
encoding = "latin-1"
[header]
lines = 5
dt.value = 0.01
unit.pattern = '^Einheit;(.*)$'
station.value = "DUNE"
[component.x]
component.value = "H1"
azimuth.value = 30
[component.y]
component.value = "H2"
azimuth.value = 120
[block]
columns = ["-", "x", "y", "-"]
delimiter = ";"
decimal = ","
comment = "*"
until = '^Ende'
"""

# 4. Columns of unequal width with a margin, header by line and column, D for the exponent, a scale.
FORGE = (
    "FORGE  DATA SHEET 9\nSITE FORG  DT(S)   0.00500 N     40\nFACTOR 0.500 TO CM/S2\n"
    + "".join(f"{i:5d}> {a:12.5E}{b:14.6E}\n".replace("E", "D") for i, (a, b) in enumerate(zip(X, Y, strict=True)))
)  # fmt: skip
FORGE_LAYOUT = """
name = "forge"
recognise = '^FORGE  DATA'
[header]
lines = 3
[header.station]
line = 2
columns = [6, 9]
[header.dt]
line = 2
columns = [18, 26]
[header.samples]
line = 2
columns = [29, 36]
[header.scale]
line = 3
columns = [8, 12]
[header.unit]
line = 3
pattern = 'TO (\\S+)'
[block]
columns = ["H1", "H2"]
margin = 7
width = [12, 14]
exponent = "D"
"""

# 5. No header at all but a title: one column of numbers, blank lines between, two lines after the end.
LOFT = "Roof sensor, loft of the old mill\n" + "".join(f"{v:+.6e}\n" for v in X) + "\nchecked by hand\nend\n"
LOFT_LAYOUT = """
name = "loft"
[header]
lines = 1
dt.value = 0.02
unit.value = "g"
component.value = "roof"
[block]
values_per_line = 1
trailer = 2
"""

AGENCIES = {
    "meadow": (MEADOW, MEADOW_LAYOUT, {"H1": X, "H2": Y, "V": Z}, 0.01),
    "cliff": (CLIFF.replace("  000", "").replace("  001", "").replace("  002", ""), CLIFF_LAYOUT,
              {"H1": X * 1000, "H2": Y * 1000, "V": Z * 1000}, 0.005),
    "dune": (DUNE, DUNE_LAYOUT, {"H1": X, "H2": np.array([float(f"{v:.4e}") for v in Y])}, 0.01),
    "forge": (FORGE, FORGE_LAYOUT, {"H1": X, "H2": Y}, 0.005),
    "loft": (LOFT, LOFT_LAYOUT, {"roof": X}, 0.02),
}  # fmt: skip


@pytest.mark.parametrize("agency", AGENCIES)
@pytest.mark.parametrize("way", ["no_compiled", "always_compiled"])
def test_tables_of_many_shapes_are_read_exactly(tmp_path, agency, way, request):
    request.getfixturevalue(way)
    text, toml, expected, dt = AGENCIES[agency]
    encoded = text.encode("latin-1" if agency == "dune" else "utf-8")
    record = read(save(tmp_path, encoded, "a.txt"), layout=save(tmp_path, toml, f"{agency}.toml"))
    assert record.dt == dt
    assert record.names == tuple(expected)
    for name, values in expected.items():
        # What is printed is what is read: the text of each number is converted once, correctly rounded.
        assert np.array_equal(record[name].samples, np.round(values, 6) if agency != "dune" else values)
    if agency == "cliff":
        assert record["V"].samples.dtype == np.int64
        assert [c.sensitivity for c in record] == [400000, 400001, 400002]
        assert (record.station.code, record.start) == ("CLIF", np.datetime64("2031-04-17T03:26:27"))
    if agency == "dune":
        assert [c.azimuth for c in record] == [30, 120]
        assert record["H1"].unit == "m/s2"
    if agency == "forge":
        assert record["H1"].scale == pytest.approx(0.005, rel=1e-15)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('delimiter = ";"', 'delimiter = ","', "a delimiter cannot be combined with the decimal ','"),
        ('delimiter = ";"', 'delimiter = "x"', "delimiter must be one of"),
        ('delimiter = ";"', 'delimiter = ";"\nwidth = 4', "a delimiter cannot be combined with width"),
        ('columns = ["-", "x", "y", "-"]', 'columns = ["-"]', "perhaps|no component|unknown key 'x'"),
        ('columns = ["-", "x", "y", "-"]', 'columns = [1, "x", "y"]', "columns must be labels"),
        ('comment = "*"', "values_per_line = 5", "are not a multiple of 4 columns"),
        ("[component.x]", "[component.z]", "unknown key 'z'"),
        ('encoding = "latin-1"', 'encoding = "utf-16"', "does not encode digits as ASCII does"),
        ("until = '^Ende'", "until = '(^Ende)\\1'", r"invalid escape sequence: \\1"),
        ("until = '^Ende'", "until = '((a{99}){99}){99}'", "invalid repetition size"),
        ("until = '^Ende'", "until = '(.{900})'", "repeats too much"),
        ("until = '^Ende'", f"until = '{'x' * 501}'", "longer than 500 characters"),
        ("lines = 5", "lines = 5\n[file]\nname.value = 'a'", r"\[file\] needs a `first`"),
        ("until = '^Ende'", "until = '^Ende'\n[write]\nheader = 'x'", "can only be read, not written"),
    ],
)
def test_unsound_blocks_are_refused(tmp_path, old, new, words):
    assert old in DUNE_LAYOUT
    with pytest.raises(SettingsError, match=words):
        load_layout(save(tmp_path, DUNE_LAYOUT.replace(old, new), "dune.toml"))


def test_bad_tables_name_the_line(tmp_path):
    layout = save(tmp_path, DUNE_LAYOUT, "dune.toml")

    def refused(text, words):
        with pytest.raises(RecordError, match=words):
            read(save(tmp_path, text.encode("latin-1"), "a.txt"), layout=layout)

    refused(DUNE.replace("\n7;", "\n7;x"), r"a\.txt, line 13: number 2 of the line: expected a number, found 'x")
    refused(DUNE.replace(";gut\n* Pause", "\n* Pause"), r"a\.txt, line 26: expected 4 numbers, found 3")
    refused(DUNE[: DUNE.index("0;")], "no numbers follow the header")


def test_a_table_cut_short_is_read_to_the_cut_when_asked(tmp_path):
    layout = save(tmp_path, FORGE_LAYOUT, "forge.toml")
    path = save(tmp_path, FORGE[:-50], "a.txt")
    with pytest.raises(RecordError, match=r"line 42: .*may be cut off: \d+ of 40 declared samples.*--missing truncate"):
        read(path, layout=layout)
    record = read(path, layout=layout, missing="truncate")
    assert record["H1"].samples.tolist() == X[:38].tolist()
    assert record.findings[0].name == "cut off"
    more = FORGE.replace("N     40", "N     45")
    with pytest.raises(RecordError, match="45 samples are declared, 40 were found"):
        read(save(tmp_path, more, "a.txt"), layout=layout)


# --- compiled reading --------------------------------------------------------------------------------------------

digits = st.text("0123456789", min_size=1, max_size=25)
printed = st.builds(
    lambda sign, whole, fraction, exponent: sign + whole + fraction + exponent,
    st.sampled_from(["", "-", "+"]),
    digits,
    st.just("") | digits.map(lambda text: "." + text) | st.just("."),
    st.just("") | st.integers(-330, 310).map(lambda e: f"e{e}") | st.integers(0, 30).map(lambda e: f"E+{e:02d}"),
)
junk = st.text("0123456789+-.eE nax_\t", max_size=8)


@given(cells=st.lists(printed | st.floats(allow_nan=False, allow_infinity=False).map(repr), min_size=2, max_size=30))
@example(["9007199254740993", "1"])
@example(["9007199254740993.0", "1e23"])
@example(["-0", "-0.0"])
@example(["2.2250738585072011e-308", "5e-324"])
def test_compiled_numbers_are_pythons(cells):
    assume(all(np.isfinite(float(cell)) for cell in cells))
    expected = [int(c) if re.fullmatch(r"[+-]?\d+", c) else float(c) for c in cells]
    got = _read_cells(cells)
    if all(isinstance(value, int) for value in expected) and all(abs(value) < 2**63 for value in expected):
        assert got.dtype == np.int64
        assert got.tolist() == expected
    else:
        assert got.tobytes() == np.array([float(cell) for cell in cells]).tobytes()


def _read_cells(cells, compiled=True):
    text = "x\n" + "\n".join(cells) + "\n"
    plan = layout_room._layout_from(
        {"header": {"lines": 1, "dt": {"value": 1}, "unit": {"value": "counts"}}, "block": {"values_per_line": 1}},
        "x.toml",
    )
    before = lines_room.COMPILED_FROM
    lines_room.COMPILED_FROM = 0 if compiled else 10**12
    try:
        return read_text(Reading("x", text.encode()), plan).components[0].samples
    finally:
        lines_room.COMPILED_FROM = before


@given(cells=st.lists(printed | junk, min_size=2, max_size=6))
def test_both_ways_of_reading_agree_on_what_is_no_number(cells):
    def outcome(compiled):
        try:
            return _read_cells(cells, compiled).tobytes()
        except RecordError as error:
            return str(error)

    assert outcome(True) == outcome(False)


def test_a_large_file_is_the_same_both_ways(tmp_path, monkeypatch):
    samples = np.random.default_rng(5).integers(-(10**6), 10**6, 5000)
    record = Record(tuple(Component(name, samples + k, 0.01, "counts") for k, name in enumerate(("H1", "V"))))
    write_text(record, tmp_path / "a.txt", layout="harbour")
    quick = read(tmp_path / "a.txt")
    monkeypatch.setattr(lines_room, "COMPILED_FROM", 10**12)
    assert quick == read(tmp_path / "a.txt")
    assert quick.components == record.components


# --- patterns ----------------------------------------------------------------------------------------------------

atoms = st.sampled_from(
    ["a", "b", ".", "[ab]", "[^a]", r"\d", r"\s", r"\w", r"\S", "^", "$", r"\b", "1", " ", "[a-c1]", r"\D", "é"]
)
patterns = st.recursive(
    atoms,
    lambda inner: st.one_of(
        st.tuples(inner, inner).map("".join),
        st.tuples(inner, st.sampled_from(["*", "+", "?", "*?", "+?", "??", "{2}", "{1,3}", "{0,2}?", "{2,}"])).map(
            lambda both: f"(?:{both[0]}){both[1]}"
        ),
        st.tuples(inner, inner).map(lambda both: f"(?:{both[0]}|{both[1]})"),
        inner.map(lambda one: f"({one})"),
    ),
    max_leaves=6,
)


@given(
    text=st.one_of(patterns, patterns.map("^{}".format), patterns.map("^ab{}".format)),
    lines=st.lists(st.text("ab1 cé", max_size=6), min_size=1, max_size=6),
    encoding=st.sampled_from(["utf-8", "latin-1"]),
    ends=st.tuples(st.integers(0, 3), st.integers(0, 3)),
)
def test_lines_are_found_that_python_finds(text, lines, encoding, ends):
    # Python's own `re`, asked line by line, is the reference. It alone counts é as a letter.
    assume("é" not in "".join(lines) or not re.search(r"\\[wb]", text))
    found = Lines(Reading("a.txt", "\n".join(lines).encode(encoding)), encoding)
    begin, end = ends[0], max(found.count - ends[1], 0)
    expected = [at for at in range(begin, end) if re.search(text, lines[at])]
    assert list(found.found(Pattern(text), begin, end)) == expected


HANGING = [
    r"(a+)+$",
    r"(a|a)*$",
    r"(a|aa)+$",
    r"(.*a){12}",
    r"^(([a-z])+.)+[A-Z]",
    r"(\s*\S*)*=(.*)$",
    "a?" * 30 + "a" * 30,
]


@pytest.mark.parametrize("text", HANGING)
def test_patterns_that_hang_elsewhere_are_quick(text):
    begun = time.process_time()
    Pattern(text).search("a" * 999 + "!")
    assert time.process_time() - begun < 5


@pytest.mark.parametrize(
    "text", ["(", r"(a)\1", "(?=a)", "(?<!a)b", r"\Ab", "a++", "(a{50}){50}", "x{9999}", "é{600}{600}"]
)
def test_patterns_that_cannot_be_used_are_refused(text):
    with pytest.raises(PatternError):
        Pattern(text)


@pytest.mark.parametrize("text", HANGING)
@pytest.mark.parametrize("where", ["first", "station", "until", "recognise"])
def test_a_layout_cannot_hang(tmp_path, text, where):
    toml = f"recognise = '{text}'\n" if where == "recognise" else ""
    toml += "[header]\nlines = 2\ndt.value = 1\nunit.value = 'g'\n"
    toml += f"first = '{text}'\n" if where == "first" else ""
    toml += f"station.pattern = '({text.replace('(', '(?:')})'\n" if where == "station" else ""
    toml += f"[block]\nuntil = '{text}'\n" if where == "until" else ""
    layout = save(tmp_path, toml, "slow.toml")
    path = save(tmp_path, "".join("a" * 900 + "!\n" for _ in range(3000)), "a.txt")
    begun = time.process_time()
    with pytest.raises(RecordError, match=r"a\.txt"):
        read(path, layout=layout)
    assert time.process_time() - begun < 5

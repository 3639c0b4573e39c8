"""Files that lie, break off, or are no record at all: each is an error that says what, where, and what to do."""

from __future__ import annotations

import os
import pickle
import time
import tracemalloc
from pathlib import Path

import numpy as np
import pytest

from strongmotion.formats import read, write_csv, write_text
from strongmotion.foundation.errors import RecordError
from strongmotion.record import Component, Record, Station


def save(folder, text, name="quay.csv"):
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def refusal(path, **how):
    """The message with which a file is refused."""
    with pytest.raises(RecordError) as caught:
        read(path, **how)
    message = str(caught.value)
    assert path.name in message
    assert caught.value.remedy, message
    assert "\n" not in message
    assert len(message) < 600
    assert str(pickle.loads(pickle.dumps(caught.value))) == message
    return message


HEAD = "# dt_s: 0.01\nH1 [g],H2 [g],V [g]\n"
ROWS = "".join(f"{i},{i + 1},{i + 2}.5\n" for i in range(10))

CSV_CASES = {
    "comma for the point": (
        "# dt_s: 0.01\ntime [s];H1 [g]\n0,00;1,5\n0,01;2,5\n",
        "decimals need a point. Write decimals with a point, or read it by a layout with decimal = ','",
    ),
    "minus of a typesetter": (HEAD + "1,\u22122,3\n4,5,6\n", "found '\\u22122'. Write the minus sign as - (hyphen)"),
    "dates": (
        "time,H1 [g]\n2031-04-17T03:26:27.00,1\n2031-04-17T03:26:27.01,2\n",
        "found '2031-04-17T03:26:27.00'. Give times in s from the first sample, and the date as # start: 2031-",
    ),
    "clock times": (
        "time,H1 [g]\n03:26:27.00,1\n03:26:27.01,2\n",
        "'03:26:27.00'. Give times in s from the first sample",
    ),
    "interval under another key": (
        "# dt: 0.01\nH1 [g]\n1\n2\n",
        "line 2: no sampling interval is given; header lines that were not understood: dt (line 1). "
        "Give it in s in a line above, such as # dt_s: 0.01, or in a column time [s]",
    ),
    "delimiters at the ends": (
        "# dt_s: 0.01\nH1 [g],H2 [g],\n1,2,\n",
        "line 2: column 3 has a name that is not understood",
    ),
    "UTF-16": (("\ufeff" + HEAD + ROWS).encode("utf-16-le"), "the file is UTF-16 text. Save it as UTF-8"),
    "UTF-16, big end first": (
        ("\ufeff" + HEAD + ROWS).encode("utf-16-be"),
        "the file is UTF-16 text. Save it as UTF-8",
    ),
    "interval no instrument has": (
        "# dt_s: 9.9e-7\nH1 [g]\n1\n2\n",  # what pads to some seconds would fill all memory
        "line 2: component H1: the sampling interval is 9.9e-07 s, outside the range of any instrument",
    ),
    "times no instrument has": (
        "time [s],H1 [g]\n" + "".join(f"{i}e-8,{i}\n" for i in range(30)),
        "line 1: component H1: the sampling interval is 1e-08 s, outside the range of any instrument",
    ),
    "azimuth": ("# azimuth_H2: 400\n" + HEAD + ROWS, "line 1: component H2: the azimuth is 400, outside ±360 degrees"),
    "dip": ("# dip_H2: -91\n" + HEAD + ROWS, "line 1: component H2: the dip is -91, outside ±90 degrees"),
    "text in numbers": (HEAD + ROWS + "1,x2,3\n", "line 13: column H2: expected a number, found 'x2'. Correct it"),
    "NaN": (HEAD + ROWS + "1,2,NaN\n", "line 13: column V: expected a number, found 'NaN'. Correct it"),
    "infinity": (HEAD + ROWS + "1,-inf,2\n", "line 13: column H2: expected a number, found '-inf'"),
    "overflow": (HEAD + ROWS + "1,2,1e999\n", "line 13: column V: expected a number, found '1e999'"),
    "blank": (HEAD + ROWS + "1,,3\n", "line 13: column H2: a number is missing. Correct it at its source"),
    "blank line": (HEAD + "1,2,3\n\n4,5,6\n", "line 4: expected 3 numbers (H1, H2, V), found 0"),
    "true": (HEAD + "1,2,True\n1,2,False\n", "line 3: column V: expected a number, found 'True'"),
    "hexadecimal": (HEAD + "1,2,0x10\n1,2,3\n", "line 3: column V: expected a number, found '0x10'"),
    "underscore": (HEAD + "1,2,1_0\n1,2,3\n", "line 3: column V: expected a number, found '1_0'"),
    "digits of another script": (HEAD + "1,2,٣\n1,2,3\n", "line 3: column V: expected a number"),
    "decimal comma": (
        "# dt_s: 0.01\nH1 [g];H2 [g]\n0,5;1\n1;2\n",
        "line 3: column H1: expected a number, found '0,5': decimals need a point",
    ),
    "too few": (HEAD + "1,2,3\n4,5\n7,8,9\n", "line 4: expected 3 numbers (H1, H2, V), found 2. Correct the line"),
    "too many": (HEAD + "1,2,3\n4,5,6,7\n", "line 4: expected 3 numbers (H1, H2, V), found 4. Correct the line"),
    "too many in all": (HEAD + "1,2,3,4\n4,5,6,7\n", "line 3: expected 3 numbers (H1, H2, V), found 4"),
    "one too many, one too few": (HEAD + "1,2,3,4\n4,5\n", "line 3: expected 3 numbers (H1, H2, V), found 4"),
    "remark below": (HEAD + ROWS + "# end\n", "line 13: expected 3 numbers (H1, H2, V), found 1"),
    "header only": (HEAD, "line 2: no numbers follow the header. The file may be incomplete"),
    "remarks only": ("# dt_s: 0.01\n", "no block of 3 or more lines of numbers was found"),
    "one sample": (
        HEAD + "1,2,3\n",
        "component H1 has 1 sample, at least 2 are needed. Check that the file is complete",
    ),
    "one time": ("time [s],H1 [g]\n0,1\n", "line 2: a record needs at least 2 samples, found 1"),
    "no interval": ("H1 [g]\n1\n2\n", "line 1: component H1: no sampling interval is given. Give dt"),
    "interval 0": ("# dt_s: 0\nH1 [g]\n1\n2\n", "line 1: dt must be positive, found 0. Give the true sampling"),
    "interval below 0": ("# dt_s: -0.01\nH1 [g]\n1\n2\n", "line 1: dt must be positive, found -0.01"),
    "interval in words": ("# dt_s: fast\nH1 [g]\n1\n2\n", "line 1: dt must be a number, found 'fast'. Correct dt"),
    "interval NaN": ("# dt_s: nan\nH1 [g]\n1\n2\n", "line 1: dt must be a number, found 'nan'"),
    "interval of no instrument": ("# dt_s: 1e-300\nH1 [g]\n1\n2\n", "sampling interval is 1e-300 s, outside"),
    "rate 0": ("# sampling_rate: 0\nH1 [g]\n1\n2\n", "line 1: sampling_rate must be positive, found 0"),
    "rate against interval": (
        "# dt_s: 0.01\n# sampling_rate: 200\nH1 [g]\n1\n2\n",
        "line 2: dt is 0.01 s and sampling_rate 200 Hz, which contradict each other. Correct the wrong one",
    ),
    "times stand still": ("time [s],H1 [g]\n0,1\n0,2\n0,3\n", "line 3: time does not increase: 0 s is followed by 0 s"),
    "times go back": (
        "time [s],H1 [g]\n0,1\n0.1,2\n0,3\n0.3,1\n",
        "line 4: time does not increase: 0.1 s is followed by",
    ),
    "uneven times": (
        "time [s],H1 [g]\n0.00,1\n0.01,2\n0.02,3\n0.04,4\n0.05,5\n",
        "line 5: time steps are uneven: 0.01 s is usual, from 0.02 s to 0.04 s it is 0.02 s. Samples may be missing",
    ),
    "time of many digits": ("time [s],H1 [g]\n0,1\n0." + "9" * 400 + ",2\n3,1\n", "line 3: time steps are uneven"),
    "time of no reason": ("time [s],H1 [g]\n0,1\n1e-99999999999999999999,2\n1,3\n", "line 3: time does not increase"),
    "times far apart": ("time [s],H1 [g]\n-1e308,1\n1e308,2\n", "line 3: time does not increase"),
    "times close together": ("time [s],H1 [g]\n0,1\n1e-320,2\n", "sampling interval is 9.99989e-321 s, outside"),
    "times in another unit": (
        "# station: QUAY\ntime [ms],H1 [g]\n0,1\n5,2\n",
        "line 2: time must be in seconds, found the unit 'ms'",
    ),
    "unknown unit": (
        "# dt_s: 0.01\nH1 [furlong]\n1\n2\n",
        "line 2: component H1: unknown unit 'furlong'. Use m/s2, cm/s2 (gal), mm/s2, in/s2, g, %g, mg or counts, or "
        "read it with unit=",
    ),
    "no unit": (
        "# dt_s: 0.01\nH1,H2\n1,2\n2,3\n",
        "line 2: component H1: no unit is given. Give the unit in the header",
    ),
    "two of one name": (
        "# dt_s: 0.01\nH1 [g],H1 [g]\n1,2\n2,3\n",
        "line 2: two columns are named H1. Name every column once",
    ),
    "two names for one": (
        "# dt_s: 0.01\nN [g],NS [g]\n1,2\n2,3\n",
        "line 2: two columns are named H1 (columns N and NS). Name every column once",
    ),
    "nameless column": ("# dt_s: 0.01\nH1 [g],\n1,2\n2,3\n", "line 2: column 2 has a name that is not understood"),
    "unusable name": ("# dt_s: 0.01\nroof/3 [g]\n1\n2\n", "line 2: component name 'roof/3' is not usable. Use 1 to 32"),
    "only times": ("time [s]\n0\n1\n", "line 1: no column holds a component of motion. Name every column"),
    "key twice": ("# dt_s: 0.01\n# dt_s: 0.02\nH1 [g]\n1\n2\n", "line 2: dt_s is given twice, first in line 1. Remove"),
    "sensitivity 0": (
        "# dt_s: 0.01\n# sensitivity: 0\nH1 [counts]\n1\n2\n",
        "component H1: the sensitivity is 0.0, it must be a number other than 0. Give the sensitivity",
    ),
    "scale 0": ("# dt_s: 0.01\n# scale: 0\nH1 [g]\n1\n2\n", "line 2: scale is 0, which is not valid. Correct scale"),
    "scale and sensitivity": (
        "# dt_s: 0.01\n# scale: 2\n# sensitivity: 2\nH1 [g]\n1\n2\n",
        "line 2: a scale cannot be combined with a sensitivity. Give",
    ),
    "start in words": (
        "# dt_s: 0.01\n# start: dawn\nH1 [g]\n1\n2\n",
        "line 2: start must be a date and time, found 'dawn'",
    ),
    "start on no day": ("# dt_s: 0.01\n# start: 2031-02-30\nH1 [g]\n1\n2\n", "line 2: start must be a date and time"),
    "start out of range": (
        "# dt_s: 0.01\n# start: 9031-02-03\nH1 [g]\n1\n2\n",
        "line 2: start must be a date and time",
    ),
    "latitude out of range": (
        "# dt_s: 0.01\n# latitude: 95\nH1 [g]\n1\n2\n",
        "line 2: latitude of station '' is 95.0, outside ±90 degrees. Correct the station's coordinates",
    ),
    "fewer than declared": (
        "# dt_s: 0.01\n# samples: 12\nH1 [g]\n1\n2\n",
        "line 5: 12 samples are declared, 2 were found. The file may be cut off: copy it again, or read it with "
        'missing="truncate" (--missing truncate)',
    ),
    "cut inside a line": (
        "# dt_s: 0.01\n# samples: 12\nH1 [g],H2 [g]\n1,2\n2,3\n4",
        "line 6: expected 2 numbers (H1, H2), found 1. The file may be cut off: 2 of 12 declared samples were read. "
        'Fix the file, or read it with missing="truncate" (--missing truncate)',
    ),
    "more than declared": (
        "# dt_s: 0.01\n# samples: 2\nH1 [g]\n1\n2\n3\n",
        "line 6: 2 samples are declared, 3 were found. Correct the declared number",
    ),
    "declared in words": ("# dt_s: 0.01\n# samples: many\nH1 [g]\n1\n2\n", "line 2: samples must be a number"),
    "declared by halves": ("# dt_s: 0.01\n# samples: 2.5\nH1 [g]\n1\n2\n", "line 2: samples must be a whole number"),
    "not UTF-8 in a remark": (
        b"# dt_s: 0.01\n# name: Vall\xe9e\nH1 [g]\n1\n2\n",
        "line 2: byte 13 of the line is not utf-8. Save the file as UTF-8",
    ),
    "not UTF-8 in numbers": (b"# dt_s: 0.01\r\nH1 [g]\r\n1\r\n2\xff\r\n", "line 4: byte 2 of the line is not utf-8"),
    "zero byte": (HEAD.encode() + b"1,2,3\n1,\0,3\n", "line 4: byte 3 of the line is 0, so this is a binary file"),
    "long remark": ("# " + "x" * 5000 + "\n" + HEAD + ROWS, "line 1: the header line is 5002 characters long"),
}


@pytest.mark.parametrize("case", CSV_CASES)
def test_bad_csv(tmp_path, case):
    text, words = CSV_CASES[case]
    assert words in refusal(save(tmp_path, text))


def test_empty_file(tmp_path):
    assert "quay.csv: the file is empty. Copy it again" in refusal(save(tmp_path, ""))


def test_missing_file(tmp_path):
    assert "none.csv: no such file. Check its name" in refusal(tmp_path / "none.csv")


def test_folder(tmp_path):
    assert "this is a folder, not a file. Name a file in it" in refusal(tmp_path)


def test_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    assert "not a regular file" in refusal(tmp_path / "pipe")


def test_path_no_system_allows():
    with pytest.raises(RecordError, match="cannot be read"):
        read("quay\0.csv")
    with pytest.raises(RecordError, match="cannot be read"):
        read("x" * 5000)
    with pytest.raises(RecordError, match="cannot be read"):
        read("~nobody-of-this-name/quay.csv")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_no_permission(tmp_path):
    path = save(tmp_path, HEAD + ROWS)
    path.chmod(0)
    assert "no permission to read the file. Ask its owner" in refusal(path)


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (PermissionError(13, "Permission denied"), "no permission to read the file. Ask its owner"),
        (OSError(5, "Input/output error"), "the file cannot be read (Input/output error). Check its name and the disk"),
    ],
)
def test_system_errors_become_record_errors(tmp_path, monkeypatch, error, words):
    path = save(tmp_path, HEAD + ROWS)

    def broken(self, *args, **kwargs):
        raise error

    monkeypatch.setattr(Path, "open", broken)
    assert words in refusal(path)


@pytest.mark.parametrize("seed", range(20))
def test_binary_junk(tmp_path, seed):
    junk = np.random.default_rng(seed).integers(0, 256, 4000, dtype=np.uint8).tobytes()
    assert "quay.csv, line" in refusal(save(tmp_path, junk))
    refusal(save(tmp_path, junk.replace(b"\0", b"")))
    refusal(save(tmp_path, HEAD.encode() + junk.replace(b"\0", b"")))
    refusal(save(tmp_path, b"HARBOUR SHEET H1\n" + junk.replace(b"\0", b"")))


def test_prose_is_of_no_known_format(tmp_path):
    message = refusal(save(tmp_path, "Dear all,\nthe record is in the other file.\n"))
    tried = "miniSEED, text, layout harbour, text, layout plain, text, layout ridge, CSV"
    assert f"no known format; tried {tried}; it holds no numbers" in message


def test_huge_files_are_refused_at_once_in_little_memory(tmp_path):
    one_line = tmp_path / "line.csv"
    with one_line.open("wb") as stream:  # sparse: a gigabyte that takes no disk
        stream.write(HEAD.encode())
        stream.truncate(10**9)
    tracemalloc.start()
    begun = time.process_time()
    assert "the file is 1000 MB, a record has at most 100 MB. Split it" in refusal(one_line)
    assert time.process_time() - begun < 1
    assert tracemalloc.get_traced_memory()[1] < 5e6
    tracemalloc.stop()


@pytest.mark.parametrize("head", [HEAD, "HARBOUR SHEET H1\n", "%% ridge trace\n", "# ", ""])
def test_very_long_line_is_refused_before_it_is_taken_apart(tmp_path, head):
    message = refusal(save(tmp_path, head + "1," * 5_000_000))
    assert f"line {head.count(chr(10)) + 1}: the line is longer than 1000000 characters" in message


# --- text by layout ----------------------------------------------------------------------------------------------


def counts(n=20, names=("H1", "H2")):
    return Record(
        tuple(Component(name, np.arange(n) * 1001 - 7, 0.005, "counts", sensitivity=4e5) for name in names),
        Station("QUAY"),
    )


def harbour(folder, n=20, names=("H1", "H2")):
    path = folder / "quay.txt"
    write_text(counts(n, names), path, layout="harbour")
    return path.read_text()


# In a harbour file of 20 samples each component has 9 header lines and 3 lines of numbers: 1-12 and 13-24.
TEXT_CASES = {
    "text in numbers": (("      4998", "      49x8"), "line 10: number 6 of the line: expected a number, found '49x8'"),
    "NaN": (("      4998", "       nan"), "line 10: number 6 of the line: expected a number, found 'nan'. Correct it"),
    "blank": (("      4998", "          "), "line 10: number 6 of the line: a number is missing. Correct it"),
    "dropped digit": (
        ("      4998", "      498"),
        "line 10: the line is 79 characters long, not a multiple of the width 10",
    ),
    "dropped value": (("      4998", ""), "line 10: expected 8 numbers, found 7. The line may be damaged"),
    "more declared": (
        ("step  20        ", "step  24        "),
        "line 12: component H1: 24 samples are declared, 20 were found. The file may be cut off: copy it again, or "
        'read it with missing="truncate" (--missing truncate)',
    ),
    "fewer declared": (
        ("step  20        ", "step  19        "),
        "line 12: component H1: 19 samples are declared, 20 were found. Correct the declared number",
    ),
    "interval 0": (("0.005", "0.0  "), "line 9: dt must be positive, found 0. Give the true sampling interval"),
    "interval missing": (("0.005", "     "), "line 1: component H1: no sampling interval is given. Give dt"),
    "two of one name": (("SHEET H2", "SHEET H1"), "two components are named H1. Name each component once"),
    "two stations": (("QUAY", "PIER"), "line 13: component H2 comes from a different station than the first. A record"),
    "sensitivity in words": (("400000.0", "unknown "), "line 7: sensitivity must be a number, found 'unknown'"),
    "stray line above": (("HARBOUR SHEET H1", "stray\nHARBOUR SHEET H1"), "line 1: expected the first header line of"),
}


@pytest.mark.parametrize("case", TEXT_CASES)
def test_bad_text(tmp_path, case):
    (old, new), words = TEXT_CASES[case]
    text = harbour(tmp_path)
    assert old in text
    assert words in refusal(save(tmp_path, text.replace(old, new, 1), "quay.txt"))


def test_text_header_only(tmp_path):
    text = "".join(harbour(tmp_path, names=("H1",)).splitlines(keepends=True)[:9])
    message = refusal(save(tmp_path, text, "quay.txt"))
    assert "line 9: no numbers follow the header. The file may be incomplete" in message
    message = refusal(save(tmp_path, "%% ridge trace\nstep = 0.01\n", "quay.txt"))
    assert "line 1: the last header line of layout ridge was not found within 2 lines. Check" in message


def test_text_one_sample_and_unknown_unit(tmp_path):
    ridge = "%% ridge trace\nstep = 0.01\nunit = gal\n%% values\n1.5 2.5\n"
    assert read(save(tmp_path, ridge)).samples == 2
    message = refusal(save(tmp_path, ridge.replace(" 2.5", "")))
    assert "line 1: component H1 has 1 sample, at least 2 are needed" in message
    message = refusal(save(tmp_path, ridge.replace("gal", "ell")))
    assert "line 3: component H1: unknown unit 'ell'" in message
    message = refusal(save(tmp_path, ridge.encode().replace(b"1.5", b"1\xe95")))
    assert "line 5: byte 2 of the line is not utf-8. Set the encoding in the layout" in message
    message = refusal(save(tmp_path, ridge.replace("gal", "x" * 2000)))
    assert "line 3: the header line is 2007 characters long" in message


# --- memory ------------------------------------------------------------------------------------------------------

RIDGE = b"%% ridge trace\nstep = 0.01\nunit = gal\n%% values\n"
LARGE = {
    "csv with a bad end": lambda: HEAD.encode() + b"1,2,3\n" * 500_000 + b"1,x,3\n",
    "csv of short lines": lambda: b"# dt_s: 0.01\nH1 [g]\n" + b"1\n" * 1_500_000 + b"x\n",
    "empty lines": lambda: b"# dt_s: 0.01\nH1 [g]\n" + b"\n" * 2_900_000 + b"1\n",
    "too many lines": lambda: b"# dt_s: 0.01\nH1 [g]\n" + b"1\n" * 3_000_000,
    "remarks": lambda: b"# a: b\n" * 400_000,
    "layout with a bad end": lambda: RIDGE + b"1 2 3 4 5\n" * 300_000 + b"x\n",
    "many sections": lambda: (RIDGE + b"1 2\n") * 40_000,
}


@pytest.mark.parametrize("case", LARGE)
def test_large_bad_files_take_bounded_time_and_memory(tmp_path, case):
    data = LARGE[case]()
    path = save(tmp_path, data)
    begun = time.process_time()
    refusal(path)
    assert time.process_time() - begun < 5
    tracemalloc.start()
    try:
        refusal(path)
        assert tracemalloc.get_traced_memory()[1] < 10 * len(data) + 100e6
    finally:
        tracemalloc.stop()


# --- files cut off -----------------------------------------------------------------------------------------------


def test_cut_text_is_read_up_to_the_cut_when_asked(tmp_path):
    text = harbour(tmp_path, n=40, names=("H1",))
    path = save(tmp_path, text[:-95], "quay.txt")  # in the middle of a number of the last line but one
    assert "The file may be cut off: 30 of 40 declared samples were read" in refusal(path)
    record = read(path, missing="truncate")
    assert record["H1"].samples.tolist() == counts(40)["H1"].samples.tolist()[:24]
    (finding,) = record.findings
    assert (finding.name, finding.severity, finding.component) == ("cut off", "doubt", "H1")
    assert "24 of 40 declared samples" in finding.what


@pytest.mark.parametrize("cut", range(1, 60))
def test_cut_csv_never_yields_half_a_number(tmp_path, cut):
    whole = counts(40)
    write_csv(whole, tmp_path / "a.csv")
    path = save(tmp_path, (tmp_path / "a.csv").read_bytes()[:-cut])
    record = read(path, missing="truncate")
    (finding,) = record.findings
    if record.samples == 40:  # all lines are there: the last number alone cannot be trusted, and a note says so
        assert finding.name == "last line not ended"
        last = 39
    else:
        assert finding.name == "cut off"
        refusal(path)
        last = record.samples
    for component, full in zip(record, whole, strict=True):
        assert component.samples[:last].tolist() == full.samples[:last].tolist()


# --- mutations ---------------------------------------------------------------------------------------------------


def mutated(data, rng):
    """Change, drop, double or insert a few bytes, or cut the file."""
    changed = bytearray(data)
    for _ in range(rng.integers(1, 5)):
        at = int(rng.integers(len(changed)))
        size = int(rng.integers(1, 20))
        kind = rng.integers(6)
        if kind == 0:
            changed[at] = rng.integers(256)
        elif kind == 1:
            del changed[at : at + size]
        elif kind == 2:
            changed[at:at] = changed[at : at + size]
        elif kind == 3:
            extra = (b"-", b"e", b".", b"\n", b",", b"nan", b"1e999", b"9" * 400, b"[", b"#", b"=", b" ", b"\t", b"0x")
            changed[at:at] = extra[rng.integers(len(extra))]
        elif kind == 4 and rng.integers(5) == 0:
            del changed[at:]
        else:
            changed[at] = changed[at] % 10 + 48
        changed = changed or bytearray(b" ")
    return bytes(changed)


@pytest.mark.parametrize("form", ["csv", "times", "harbour", "ridge"])
def test_mutated_files_are_read_or_refused(tmp_path, form):
    record = counts(12)
    path = tmp_path / "quay.dat"
    if form == "csv":
        write_csv(record, path)
    elif form == "times":
        path.write_text("# start: 2031-05-04\ntime [s],N [gal],UD [gal]\n" + "0.01,1.5,2\n0.02,1,2\n0.03,-1e3,2\n")
    else:
        write_text(record, path, layout=form)
    data = path.read_bytes()
    rng = np.random.default_rng(20310504)
    refusals = []
    for _ in range(300):
        path.write_bytes(mutated(data, rng))
        how = {"missing": "truncate", "common_window": True} if rng.integers(2) else {}
        try:
            read(path, **how)
        except RecordError as error:  # and any other exception fails the test
            refusals.append(error)
    assert 10 < len(refusals) < 290
    assert all("quay.dat" in str(error) and error.remedy for error in refusals), refusals

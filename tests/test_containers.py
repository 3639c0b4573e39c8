"""Archives of records and workbooks, read in memory and bounded; and files that are none, said for what they are."""

from __future__ import annotations

import bz2
import gzip
import io
import lzma
import tarfile
import zipfile
from hashlib import sha256

import numpy as np
import openpyxl
import pytest
from test_joining import QUICK, component, save, triple
from typer.testing import CliRunner

from strongmotion import Archive, batch
from strongmotion.cli import app
from strongmotion.formats import containers, read, read_all, read_joined
from strongmotion.foundation.errors import RecordError

ROWS = [(i * 0.01, round(float(np.sin(i / 5)), 6), -i * 0.125) for i in range(60)]
TEXT = "time [s],H1 [g],V [g]\n" + "".join(f"{t!r},{a!r},{b!r}\n" for t, a, b in ROWS)


def zipped(files, **how):
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED, **how) as file:
        for name, text in files.items():
            file.writestr(name, text)
    return made.getvalue()


def tarred(files, mode="w"):
    made = io.BytesIO()
    with tarfile.open(fileobj=made, mode=mode) as file:
        for name, text in files.items():
            data = text.encode() if isinstance(text, str) else text
            info = tarfile.TarInfo(name)
            info.size = len(data)
            if name.endswith("/"):
                info.type = tarfile.DIRTYPE
            file.addfile(info, io.BytesIO(data))
    return made.getvalue()


def written(folder, name, data):
    path = folder / name
    path.write_bytes(data)
    return path


def refusal(path, **options):
    with pytest.raises(RecordError) as caught:
        read_all(path, **options)
    assert caught.value.remedy
    assert path.name in str(caught.value)
    return str(caught.value)


@pytest.mark.parametrize(
    "pack", [zipped, tarred, lambda files: tarred(files, "w:gz"), lambda f: gzip.compress(zipped(f))]
)
def test_each_member_is_a_file_of_its_own(tmp_path, pack):
    files = {
        "README.md": "1",
        "notes/": "",
        ".hidden.csv": "x",
        "a.csv": TEXT,
        "b/c.csv": TEXT.replace("V [g]", "V [gal]"),
    }
    path = written(tmp_path, "all.dat", pack(files))
    before = sorted(tmp_path.iterdir())
    one, two = read_all(path)
    assert (one.source.file, two.source.file) == ("all.dat!a.csv", "all.dat!b/c.csv")
    assert one.source.sha256 == sha256(TEXT.encode()).hexdigest()
    assert one["H1"].samples.tolist() == [a for _, a, _ in ROWS]
    assert two["V"].unit == "cm/s2"
    assert sorted(tmp_path.iterdir()) == before


def test_compressed_members_are_read(tmp_path):
    path = written(tmp_path, "all.zip", zipped({"a.csv.gz": gzip.compress(TEXT.encode())}))
    assert read(path).names == ("H1", "V")


def test_a_bad_member_spoils_only_itself(tmp_path):
    path = written(tmp_path, "all.zip", zipped({"a.csv": TEXT, "b.csv": TEXT.replace("H1", "V"), "c.csv": TEXT}))
    records = read_all(path)
    problem = records.unread[0].error
    assert len(records.unread) == 1
    assert [record.source.file for record in records] == ["all.zip!a.csv", "all.zip!c.csv"]
    assert str(problem).startswith("all.zip!b.csv, line 1: two columns are named V")
    two = written(tmp_path, "two.zip", zipped({"a.csv": TEXT, "b.csv": TEXT.replace("H1", "V")}))
    with pytest.raises(
        RecordError, match=r"two\.zip!b\.csv, line 1: besides .*, 1 of the file's records or channels cannot be read"
    ):
        read(two)
    outcome = batch.process_files([path], tmp_path / "a", QUICK)
    assert len(outcome.done) + len(outcome.skipped) == 2
    (failure,) = outcome.failed
    assert failure.reason.startswith("all.zip!b.csv, line 1: two columns")


def test_members_are_joined(tmp_path):
    (tmp_path / "raw").mkdir()
    paths = triple(tmp_path / "raw")
    files = {f"raw/{path.name}": path.read_text() for path in paths}
    path = written(tmp_path, "quay.zip", zipped(files))
    (record,), *_ = read_joined([path])
    assert record.names == ("H1", "H2", "V")
    assert record.joined[1].file == "quay.zip!raw/quay.Z.csv"
    outcome = batch.process_files([path], tmp_path / "a", QUICK)
    kept = Archive(tmp_path / "a")[outcome.done[0].record].record
    assert [source.file for source in (kept.source, *kept.joined)] == [f"quay.zip!raw/quay.{c}.csv" for c in "NEZ"]
    shown = CliRunner().invoke(app, ["inspect", str(path)])
    assert "quay.zip!raw/quay.N.csv" in shown.stdout


def test_a_file_that_changes_meanwhile_is_not_joined(tmp_path, monkeypatch):
    paths = triple(tmp_path)
    read_file = batch._process_file

    def changing(file, job):
        found = read_file(file, job)
        if file == paths[2]:
            save(tmp_path, paths[0].name, component("E", 700))
        return found

    monkeypatch.setattr(batch, "_process_file", changing)
    outcome = batch.process_files(paths, tmp_path / "a", QUICK)
    assert not outcome.done
    assert "the file changed while it was read" in outcome.failed[0].reason


@pytest.mark.parametrize("name", ["../a.csv", "/a.csv", "b/../../a.csv", "C:\\a.csv", "..\\a.csv"])
@pytest.mark.parametrize("pack", [zipped, tarred])
def test_names_that_lead_out_are_refused(tmp_path, pack, name):
    path = written(tmp_path, "all.dat", pack({name: TEXT}))
    assert "the name leads out of the archive" in refusal(path)


def test_links_and_devices_are_refused(tmp_path):
    for kind in (tarfile.SYMTYPE, tarfile.LNKTYPE, tarfile.CHRTYPE, tarfile.FIFOTYPE):
        made = io.BytesIO()
        with tarfile.open(fileobj=made, mode="w") as file:
            info = tarfile.TarInfo("a.csv")
            info.type, info.linkname = kind, "/etc/passwd"
            file.addfile(info)
        assert "it is a link or another special file" in refusal(written(tmp_path, "all.tar", made.getvalue()))


@pytest.mark.parametrize(
    "inner", [zipped({"a.csv": TEXT}), tarred({"a.csv": TEXT}), gzip.compress(tarred({"a.csv": TEXT}))]
)
@pytest.mark.parametrize("pack", [zipped, tarred])
def test_archives_inside_archives_are_refused(tmp_path, pack, inner):
    assert "nested archives are not read" in refusal(written(tmp_path, "all.dat", pack({"b.dat": inner})))


def test_archives_are_bounded(tmp_path, monkeypatch):
    bomb = zipped({"a.csv": bytes(60_000_000)})
    assert "its uncompressed size is 60 MB, at most 11 are read" in refusal(written(tmp_path, "bomb.zip", bomb))
    many = {f"{number}.csv": TEXT[:200] for number in range(30)}
    monkeypatch.setattr(containers, "MOST_MEMBERS", 20)
    for pack in (zipped, tarred):
        assert "the archive has more than 20 members" in refusal(written(tmp_path, "many.dat", pack(many)))
    monkeypatch.setattr(containers, "MOST_MEMBERS", 10_000)
    monkeypatch.setattr(containers, "LARGEST_OF_ALL", 5 * len(TEXT))
    for pack in (zipped, tarred):
        path = written(tmp_path, "large.dat", pack({f"{number}.csv": TEXT for number in range(6)}))
        assert "too large in all" in refusal(path)


def test_what_an_archive_cannot_give_is_said(tmp_path):
    assert "holds no readable file" in refusal(written(tmp_path, "a.zip", zipped({"README.md": "1", "b/": ""})))
    whole = zipped({"a.csv": TEXT})
    assert "a.zip: the archive is damaged" in refusal(written(tmp_path, "a.zip", whole[:-30]))
    spoiled = whole.replace(whole[60:70], bytes(10))
    assert "a.zip!a.csv: it is damaged" in refusal(written(tmp_path, "a.zip", spoiled))
    locked = bytearray(whole)
    locked[6] |= 1
    locked[whole.find(b"PK\x01\x02") + 8] |= 1
    assert "a.zip!a.csv: it is encrypted" in refusal(written(tmp_path, "a.zip", bytes(locked)))
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_LZMA) as file:
        file.writestr("a.csv", TEXT)
    assert "its compression method is not supported" in refusal(written(tmp_path, "a.zip", made.getvalue()))


# Workbooks


def workbook(*sheets):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets:
        one = book.create_sheet(title)
        for row in rows:
            one.append(row)
    made = io.BytesIO()
    book.save(made)
    return made.getvalue()


NOTES = ("notes", [["recorded by hand"], ["on 17 April"]])


def test_the_sheet_of_numbers_is_read_as_text_with_every_digit(tmp_path):
    rows = [["time [s]", "H1 [g]", "V [g]"], *map(list, ROWS)]
    record = read(written(tmp_path, "quay.xlsx", workbook(NOTES, ("data", rows))))
    assert record.names == ("H1", "V")
    assert record.dt == 0.01
    assert record["H1"].samples.tolist() == [a for _, a, _ in ROWS]


def test_a_sheet_with_a_header_is_drafted_as_text_is(tmp_path):
    rows = [["Station", "QUAY"], ["Sampling rate", "100 Hz"], ["Unit", "gal"], [], ["NS", "EW", "UD"]]
    rows += [[i * i % 11 * 0.5, 5 - i % 3, i % 7 - 3.25] for i in range(60)]
    record = read(written(tmp_path, "quay.xlsx", workbook(("data", rows))))
    assert (record.names, record.dt, record["H1"].unit, record.station.code) == (
        ("H1", "H2", "V"),
        0.01,
        "cm/s2",
        "QUAY",
    )
    assert record["V"].samples.tolist() == [i % 7 - 3.25 for i in range(60)]


def test_what_a_workbook_cannot_give_is_said(tmp_path, monkeypatch):
    rows = [["H1 [g]"], *([i] for i in range(20))]
    assert "2 sheets hold numbers ('a', 'b')" in refusal(
        written(tmp_path, "q.xlsx", workbook(("a", rows), NOTES, ("b", rows)))
    )
    assert "no sheet holds numbers" in refusal(written(tmp_path, "q.xlsx", workbook(NOTES)))
    whole = workbook(("a", rows))
    assert "the workbook is damaged" in refusal(written(tmp_path, "q.xlsx", whole[:-200] + b"[Content_Types].xml"))
    monkeypatch.setitem(__import__("sys").modules, "openpyxl", None)
    assert "Install strongmotion[excel]" in refusal(written(tmp_path, "q.xlsx", whole))


# What is none


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (bz2.compress(TEXT.encode()), "this is compressed with bzip2. Decompress it with bunzip2"),
        (lzma.compress(TEXT.encode()), "this is compressed with xz. Decompress it with unxz"),
        (b"\n <!DOCTYPE HTML>\n<html><title>404\nNot Found</title>1 2 3", "a web page, titled '404 Not Found'"),
        (gzip.compress(b"<html><body>Please log in</body></html>"), "this is a web page. It may be an error page"),
        (b"7z\xbc\xaf\x27\x1c" + bytes(50), "this is a 7z archive"),
        (b"%PDF-1.7\n1 2 3\n", "this is a PDF document"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "document (.xls). Save it as .xlsx"),
        (b"\x89HDF\r\n\x1a\n" + bytes(100), "this is an HDF5 file"),
        (b"MATLAB 5.0 MAT-file".ljust(200), 'layout with format = "matlab"'),
        (b'{"dt": 0.01, "data": [1, 2, 3]}\n', 'this is JSON, which has no fixed place for its numbers. Give a layout'),
    ],
    ids=range(10),
)  # fmt: skip
def test_a_file_of_another_kind_is_said_for_what_it_is(tmp_path, data, words):
    message = refusal(written(tmp_path, "quay.dat", data))
    assert words in message
    assert message.startswith("quay.dat: this is ")


def test_a_text_that_begins_like_another_kind_is_read(tmp_path):
    for head in ("BZh station of the harbour\n", "[Header]\n", "{record}\n"):
        path = written(tmp_path, "quay.txt", (head + "".join(f"{i % 7}.5\n" for i in range(60))).encode())
        assert len(read(path, dt=0.01, unit="gal")["C1"]) == 60

"""Record files from elsewhere: whatever they hold, nothing but their own bytes is read, nothing hangs, nothing stops.

Every construction is entered in the manifest with its true hash and has a sound seal, as an attacker would do it; so
only the gate stands between it and a number.
"""

from __future__ import annotations

import hashlib
import os
import signal
import socket
import time
from pathlib import Path

import h5py
import numpy as np
import pytest
from test_archive import make_result
from typer.testing import CliRunner

from strongmotion.archive import Archive, gate
from strongmotion.cli import app
from strongmotion.record import Record, Station

LIMIT = 5.0
"""s of a processor that a command may take for a hostile file."""


@pytest.fixture(autouse=True)
def no_waiting():
    """Fail a test that waits for a pipe or a device, which takes no time of a processor."""
    if not hasattr(signal, "SIGALRM"):
        yield
        return

    def fail(*_):
        raise AssertionError("it waits")

    before = signal.signal(signal.SIGALRM, fail)
    signal.alarm(300)  # a stopped machine is no hang
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    """Return the bytes of a sound record file without its seal, and the record's id."""
    archive = Archive(tmp_path_factory.mktemp("sound"), create=True)
    made = make_result()
    path = archive.add(make_result(Record(made.record.components, Station("EVIL", "XX"))))
    return path.read_bytes()[: -gate.SEAL_LENGTH], archive.ids()[0]


@pytest.fixture
def secret(tmp_path):
    path = tmp_path / "secret.bin"
    path.write_bytes(np.arange(4000, dtype=np.float64).tobytes())
    with h5py.File(tmp_path / "secret.h5", "w") as file:
        file["value"] = np.arange(4000.0)
    return path


def replaced(file, name, make):
    """Put something else in the place of a dataset, its attributes kept where they can be."""
    attributes = {}
    if name in file:
        attributes = {
            key: value for key, value in file[name].attrs.items() if key.islower() and key not in ("components",)
        }
        for scale in ("time", "row", "component", "damping", "period"):
            if name.endswith(f"/{scale}"):
                break
        del file[name]
    make(file, name)
    if name in file and isinstance(file.get(name, getlink=True), h5py.HardLink):
        for key, value in attributes.items():
            file[name].attrs.setdefault(key, value)


def soft(file, name):
    file[name] = h5py.SoftLink("/raw/H1")


def external_link(file, name, secret):
    file[name] = h5py.ExternalLink(str(secret.with_suffix(".h5")), "/value")


def external_storage(file, name, secret):
    file.create_dataset(name, shape=(12,), dtype="f8", external=[(str(secret), 0, 96)])


def virtual(file, name, secret):
    layout = h5py.VirtualLayout(shape=(12,), dtype="f8")
    layout[:] = h5py.VirtualSource(str(secret.with_suffix(".h5")), "value", shape=(4000,))[:12]
    file.create_virtual_dataset(name, layout)


def huge(file, name):
    file.create_dataset(name, shape=(1 << 40,), dtype="f8", chunks=(1 << 16,))


def huge_contiguous(file, name):
    file.create_dataset(name, shape=(1 << 36,), dtype="f8")


def bomb(file, name):
    file.create_dataset(name, data=np.zeros(1 << 25), chunks=(1 << 19,), compression="gzip", compression_opts=9)


def wide_chunk(file, name):
    file.create_dataset(name, data=np.zeros(12), maxshape=(None,), chunks=(1 << 24,), compression="gzip")


def many_dimensions(file, name):
    file.create_dataset(name, data=np.zeros((1,) * 20))


def empty(file, name):
    file.create_dataset(name, data=h5py.Empty("f8"))


def compound(file, name):
    file.create_dataset(name, data=np.zeros(12, dtype=[("a", "f8"), ("b", "i4")]))


def reference(file, name):
    file.create_dataset(name, data=np.array([file["raw"].ref] * 12, dtype=h5py.ref_dtype), dtype=h5py.ref_dtype)


def opaque(file, name):
    file.create_dataset(name, data=np.zeros(12, dtype="V16"))


def texts(file, name):
    file.create_dataset(name, data=["7"] * 12, dtype=h5py.string_dtype())


def numbers(file, name):
    file.create_dataset(name, data=np.arange(12.0))


def group(file, name):
    file.create_group(name)


def scalar(file, name):
    file[name] = 3.5


def two_rows(file, name):
    file.create_dataset(name, data=np.zeros((2, 12)))


def renamed(name):
    def make(file, _):
        file["raw"].create_dataset(name, data=np.zeros(3))

    return make


def second_link(file, name):
    file[name] = file["raw/H2"]


def cycle(file, name):
    file["raw/inner"] = file["raw"]


def deep(file, name):
    file.create_group("a/b/c/d/e/f/g")


def crowd(file, name):
    inner = file.create_group("crowd")
    for number in range(21_000):
        inner.create_group(f"{number}")


def named_type(file, name):
    file["kind"] = np.dtype("f8")


def attribute(key, value):
    def make(file, _):
        if key in file.attrs:
            del file.attrs[key]
        file.attrs[key] = value

    return make


def text_of(name, text):
    def make(file, _):
        del file[name]
        file[name] = text

    return make


def without(name):
    def make(file, _):
        del file[name]

    return make


def other_filter(file, name):
    file.create_dataset(name, data=np.zeros(12), compression="lzf")


CONSTRUCTIONS = {
    "soft link": ("peaks/value", soft),
    "soft link to itself": ("peaks/value", lambda file, name: file.__setitem__(name, h5py.SoftLink("/peaks/value"))),
    "external link": ("peaks/value", external_link),
    "external link for a group": ("measures", external_link),
    "external storage": ("peaks/value", external_storage),
    "external storage of the raw samples": ("raw/H1", external_storage),
    "virtual dataset": ("peaks/value", virtual),
    "virtual motion": ("motion/velocity_H1", virtual),
    "huge chunked shape": ("spectra/psa", huge),
    "huge contiguous shape": ("spectra/psa", huge_contiguous),
    "compression bomb": ("motion/acceleration_H1", bomb),
    "chunk larger than all": ("peaks/value", wide_chunk),
    "twenty dimensions": ("peaks/value", many_dimensions),
    "null space": ("peaks/value", empty),
    "compound numbers": ("peaks/value", compound),
    "references": ("peaks/value", reference),
    "opaque bytes": ("peaks/value", opaque),
    "unknown filter": ("peaks/value", other_filter),
    "texts for values": ("peaks/value", texts),
    "texts for times": ("peaks/time", texts),
    "numbers for units": ("peaks/unit", numbers),
    "numbers for components": ("measures/component", numbers),
    "texts for spectra": ("spectra/psa", texts),
    "texts for periods": ("spectra/period", texts),
    "texts for corners": ("usable_band/low_cut", texts),
    "a group for a column": ("peaks/value", group),
    "a scalar for a column": ("peaks/value", scalar),
    "samples in two rows": ("raw/H1", two_rows),
    "texts for samples": ("raw/H1", texts),
    "numbers for settings": ("settings", numbers),
    "numbers for history": ("history", numbers),
    "a second link": ("raw/H9", second_link),
    "a cycle": ("", cycle),
    "deep groups": ("", deep),
    "a crowd of groups": ("", crowd),
    "a named type": ("", named_type),
    "control characters in a name": ("", renamed("a\nb\x1b[31m")),
    "a name of 10 kB": ("", renamed("n" * 10_000)),
    "a name that is not UTF-8": ("", renamed(b"\xff\xfe")),
    "settings that are no TOML": ("", text_of("settings", "[")),
    "settings of an unknown key": ("", text_of("settings", "[filter]\nno_such = 1\n")),
    "JSON that is none": ("", text_of("history", "{")),
    "JSON nested deeply": ("", text_of("history", "[" * 100_000 + "]" * 100_000)),
    "JSON of an unknown type": ("", text_of("choices", '{"map": {"windows": {"is": "Popen", "fields": {}}}}')),
    "JSON of a wrong field": ("", text_of("findings", '{"map": {"result": 3, "record": {"tuple": []}}}')),
    "a place elsewhere": ("", text_of("about", '{"map": {"components": {"tuple": [{"map": {"name": "../x"}}]}}}')),
    "no settings": ("", without("settings")),
    "no measures": ("", without("measures")),
    "an attribute of another type": ("", attribute("record", 7)),
    "an attribute of another record": ("", attribute("station_code", "OTHER")),
    "an attribute of another list": ("", attribute("cautions", np.arange(3))),
    "a layout of a text": ("", attribute("layout_version", "3")),
    "a layout below all": ("", attribute("layout_version", np.int64(-5))),
}


def construct(folder, sound, secret, name):
    """Return an archive of one sound record and one hostile one, entered as if by its owner."""
    content, record_id = sound
    place, make = CONSTRUCTIONS[name]
    work = folder / "work.h5"
    work.write_bytes(content)
    with h5py.File(work, "r+") as file:
        more = (secret,) if make in (external_link, external_storage, virtual) else ()
        if place:
            replaced(file, place, lambda file, where: make(file, where, *more))
        else:
            make(file, place)
    sealed = gate.sealed(work.read_bytes())
    work.unlink()
    archive = Archive(folder / "archive", create=True)
    archive.add(make_result())
    enter(archive, record_id, sealed)
    return archive, record_id


def enter(archive, record_id, content):
    digest = hashlib.sha256(content).hexdigest()
    file = archive.records / f"{record_id}.v1-{digest[:8]}.h5"
    values = {
        "number": 1, "name": f"1-{digest[:8]}", "file": file.name, "sha256": digest, "size": len(content),
        "automatic": True, "samples": "", "metadata": "", "settings": "", "software": "", "differs": [],
        "supersedes": "", "formerly": {},
    }  # fmt: skip
    archive.manifest.add(record_id, "version", values)
    file.write_bytes(content)
    return file


def commands(archive, record_id, folder):
    place = str(archive.folder)
    hostile = str(archive.path(record_id))
    yield ["verify", place]
    yield ["catalogue", place]
    yield ["find", place, "pga_h > 0"]
    yield ["measures", place, "--csv", str(folder / "m.csv")]
    yield ["history", place, record_id]
    yield ["inspect", hostile]
    yield ["export", place, record_id, "-o", str(folder / "out")]
    yield ["extract", place, record_id, "-o", str(folder / "part")]
    yield ["merge", place, "-o", str(folder / "both")]


@pytest.mark.parametrize("name", CONSTRUCTIONS)
def test_a_hostile_file_is_named_and_passed_over(tmp_path, sound, secret, name):
    archive, record_id = construct(tmp_path, sound, secret, name)
    begun = time.process_time()
    problems = archive.verify()
    assert [problem.file for problem in problems] == [archive.path(record_id)], name
    for words in commands(archive, record_id, tmp_path):
        result = CliRunner().invoke(app, words)
        assert result.exception is None or isinstance(result.exception, SystemExit) or is_ours(result.exception), words
        assert "3999" not in result.output
    frame = archive.catalogue()
    assert frame.station.tolist() == ["QUAY"]
    assert len(frame.attrs["problems"]) == 1
    assert time.process_time() - begun < LIMIT * 10
    (tmp_path / "m.csv").read_text().index("QUAY")


def is_ours(error):
    from strongmotion.foundation.errors import StrongMotionError

    return isinstance(error, StrongMotionError)


def odd_fifo(folder, name):
    os.mkfifo(folder / name)


def odd_socket(folder, name):
    here = Path.cwd()
    os.chdir(folder)  # names of sockets are short
    try:
        with socket.socket(socket.AF_UNIX) as made:
            made.bind(name)
    finally:
        os.chdir(here)


def odd_sparse(folder, name):
    with (folder / name).open("wb") as file:
        file.truncate(1 << 40)


ODD = {
    "a pipe": odd_fifo,
    "a socket": odd_socket,
    "a link to a device": lambda folder, name: (folder / name).symlink_to("/dev/zero"),
    "a link to a file outside": lambda folder, name: (folder / name).symlink_to("/etc/passwd"),
    "a link to nothing": lambda folder, name: (folder / name).symlink_to("nowhere"),
    "a link to itself": lambda folder, name: (folder / name).symlink_to(name),
    "a folder": lambda folder, name: (folder / name).mkdir(),
    "a sparse terabyte": odd_sparse,
    "an empty file": lambda folder, name: (folder / name).touch(),
}


@pytest.mark.skipif(os.name != "posix", reason="needs the odd files of POSIX")
@pytest.mark.parametrize("entered", [False, True])
@pytest.mark.parametrize("kind", ODD)
def test_an_odd_file_is_named_and_passed_over(tmp_path, kind, entered):
    archive = Archive(tmp_path / "archive", create=True)
    archive.add(make_result())
    record_id = "XX.EVIL_20310307T041500"
    if entered:
        path = enter(archive, record_id, b"what was entered")
        path.unlink()
    else:
        path = archive.records / f"{record_id}.v1-0a1b2c3d.h5"
    ODD[kind](archive.records, path.name)
    assert [problem.file for problem in archive.verify()] == [path]
    assert archive.catalogue().station.tolist() == ["QUAY"]
    assert len(archive.find("pga_h > 0")) == 1
    for words in (["verify"], ["catalogue"], ["measures"], ["reprocess"]):
        result = CliRunner().invoke(app, [words[0], str(archive.folder)])
        assert result.exception is None or isinstance(result.exception, SystemExit) or is_ours(result.exception)
    result = CliRunner().invoke(app, ["merge", str(archive.folder), "-o", str(tmp_path / "both")])
    assert result.exception is None or is_ours(result.exception)


@pytest.mark.skipif(os.name != "posix", reason="needs names of any bytes")
@pytest.mark.parametrize(
    "name", [b"\xff\xfe.h5", b"XX.\xe9.v1-0a1b2c3d.h5", b"a\nb.h5", b"\x1b[31m.h5", b"n" * 250 + b".h5"]
)
def test_a_file_of_an_odd_name_is_named_in_printable_words(tmp_path, name):
    archive = Archive(tmp_path / "archive", create=True)
    path = archive.add(make_result())
    place = os.fsencode(archive.records) + b"/" + name
    with open(place, "wb") as file:  # noqa: PTH123 -- of bytes there is no Path
        file.write(path.read_bytes())
    (problem,) = archive.verify()
    assert str(problem).isprintable()
    assert archive.catalogue().station.tolist() == ["QUAY"]
    for command in ("verify", "catalogue", "measures"):
        result = CliRunner().invoke(app, [command, str(archive.folder)])
        assert result.exception is None or isinstance(result.exception, SystemExit)


def test_texts_that_share_one_place_in_the_file_do_not_fill_memory(tmp_path):
    """Each of many items may point at one long text: 4000 times 1 MB of a file of 1 MB."""
    path = tmp_path / "bomb.h5"
    with h5py.File(path, "w", libver=("v108", "v108")) as file:
        data = file.create_dataset("column", shape=(4000,), dtype=h5py.string_dtype())
        data[:] = ["x" * (1 << 20)] + ["y"] * 3999
        offset, length = data.id.get_offset(), data.id.get_storage_size()
    content = bytearray(path.read_bytes())
    item = length // 4000
    for number in range(1, 4000):
        content[offset + number * item : offset + (number + 1) * item] = content[offset : offset + item]
    with gate.passed(bytes(content)) as file:
        assert file["column"][1][:3] == b"xxx"
    with pytest.raises(Exception, match="texts of more than all memory"), gate.passed(bytes(content)) as file:
        gate.texts(file["column"])

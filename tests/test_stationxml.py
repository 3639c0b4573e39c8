"""StationXML and QuakeML: what they say is what the record holds; hostile documents are refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import scipy.signal

from strongmotion import Archive, Settings, process
from strongmotion.formats import read, read_all, read_quakeml, read_stationxml, write_csv, write_miniseed
from strongmotion.foundation.errors import RecordError
from strongmotion.record import Component, Earthquake, Record, Station

QUICK = Settings.from_dict({"spectra": {"periods": [0.2, 1.0]}})
START = np.datetime64("2031-04-17T03:26:27", "ns")


def channel(code, value=4e5, unit="m/s**2", azimuth=0.0, dip=None, stages="", epoch='startDate="2030-01-01T00:00:00"'):
    dip = (-90 if code.endswith("Z") else 0.0) if dip is None else dip
    return f"""
    <Channel code="{code}" locationCode="00" {epoch}>
     <Latitude>45.6</Latitude><Longitude>-12.5</Longitude><Elevation>7</Elevation><Depth>0</Depth>
     <Azimuth>{azimuth}</Azimuth><Dip>{dip}</Dip><SampleRate>200</SampleRate>
     <Sensor><Description>force balance</Description></Sensor>
     <Response><InstrumentSensitivity><Value>{value}</Value><Frequency>1.0</Frequency>
      <InputUnits><Name>{unit}</Name></InputUnits><OutputUnits><Name>counts</Name></OutputUnits>
     </InstrumentSensitivity>{stages}</Response>
    </Channel>"""


def document(*channels):
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<FDSNStationXML xmlns="http://www.fdsn.org/xml/station/1" schemaVersion="1.1">
 <Source>invented</Source><Created>2031-01-01T00:00:00Z</Created>
 <Network code="XX"><Station code="QUAY" startDate="2030-01-01T00:00:00">
  <Latitude>45.5</Latitude><Longitude>-12.25</Longitude><Elevation>3</Elevation>
  <Site><Name>Alter Käi</Name></Site>{"".join(channels)}
 </Station></Network>
</FDSNStationXML>"""


def save(folder, text, name="quay.xml"):
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def counts(folder, codes=("HN1", "HN2", "HNZ"), samples=None):
    names = {"1": "H1", "2": "H2", "Z": "V", "N": "H1", "E": "H2"}
    samples = np.round(1e5 * np.sin(np.arange(4000) / 9)).astype(np.int32) if samples is None else samples
    parts = tuple(Component(names[c[2]], samples, 0.005, "counts", start=START, channel=c) for c in codes)
    write_miniseed(Record(parts, Station("QUAY", "XX", "00")), folder / "quay.ms", version=2)
    return folder / "quay.ms"


THREE = (channel("HN1", azimuth=17.5), channel("HN2", 5e5, azimuth=107.5), channel("HNZ", dip=-90))


def test_sensitivity_direction_and_place_come_from_stationxml(tmp_path):
    record = read(counts(tmp_path), stationxml=save(tmp_path, document(*THREE)))
    assert [c.sensitivity for c in record] == [4e5, 5e5, 4e5]
    assert [(c.azimuth, c.dip) for c in record] == [(17.5, 0.0), (107.5, 0.0), (None, -90.0)]
    assert record.station == Station("QUAY", "XX", "00", "Alter Käi", 45.6, -12.5, 7.0, "force balance", "HN")
    assert record.findings == ()


@pytest.mark.parametrize(
    ("unit", "in_si"),
    [("M/S**2", 1), ("m/s^2", 1), ("M/S/S", 1), ("CM/S**2", 0.01), ("nm/s**2", 1e-9), ("g", 9.80665)],
)
def test_unit_of_the_sensitivity(tmp_path, unit, in_si):
    record = read(counts(tmp_path, ("HNZ",)), stationxml=save(tmp_path, document(channel("HNZ", 1000, unit))))
    assert record["V"].sensitivity == pytest.approx(1000 / in_si, rel=1e-15)


def test_the_epoch_is_chosen_by_time(tmp_path):
    old = channel("HNZ", 1, epoch='startDate="2000-01-01T00:00:00" endDate="2031-04-17T03:26:27"')
    new = channel("HNZ", 2, epoch='startDate="2031-04-17T03:26:27" endDate="2599-12-31T23:59:59"')
    assert read(counts(tmp_path, ("HNZ",)), stationxml=save(tmp_path, document(old, new)))["V"].sensitivity == 2
    record = read(counts(tmp_path, ("HNZ",)), stationxml=save(tmp_path, document(old)))
    assert record["V"].sensitivity is None
    assert [(f.name, "no epoch of XX.QUAY.00.HNZ" in f.what) for f in record.findings] == [
        ("no station metadata", True)
    ]


@pytest.mark.parametrize("change", [{"value": 2e5}, {"unit": "cm/s**2"}, {"dip": 90}, {"azimuth": 180.0, "dip": 0}])
def test_epochs_that_overlap_and_differ_are_found(tmp_path, change):
    alike = {"value": 4e5, "dip": -90, "epoch": 'startDate="2030-01-01T00:00:00"'}
    later = {**alike, "epoch": 'startDate="2031-01-01T00:00:00"'}
    pair = document(channel("HNZ", **alike), channel("HNZ", **later))
    assert read(counts(tmp_path, ("HNZ",)), stationxml=save(tmp_path, pair)).findings == ()
    pair = document(channel("HNZ", **alike), channel("HNZ", **{**later, **change}))
    (found, *_) = read(counts(tmp_path, ("HNZ",)), stationxml=save(tmp_path, pair)).findings
    assert (found.name, found.severity) == ("overlapping epochs", "doubt")
    assert "2 epochs of XX.QUAY.00.HNZ contain" in found.what
    assert "2031-01-01" in found.what


def test_directions_of_stationxml_win_over_codes(tmp_path):
    swapped = document(channel("HN1", dip=90), channel("HN2", azimuth=90.0), channel("HNZ", azimuth=0.0, dip=0))
    record = read(counts(tmp_path), stationxml=save(tmp_path, swapped))
    assert [(c.name, c.channel, c.azimuth, c.dip) for c in record] == [
        ("H1", "HNZ", 0.0, 0.0), ("H2", "HN2", 90.0, 0.0), ("V", "HN1", None, 90.0),
    ]  # fmt: skip
    assert [(f.name, f.severity, f.component, f.values) for f in record.findings] == [
        ("other direction", "note", "V", {"off_degrees": 90.0}),
        ("other direction", "note", "H1", {"off_degrees": 90.0}),
    ]
    assert record.horizontals == ("H1", "H2")
    down = document(*THREE[:2], channel("HNZ", dip=90))
    (found,) = read(counts(tmp_path), stationxml=save(tmp_path, down)).findings
    assert (found.name, found.severity, found.component) == ("positive down", "note", "V")


def test_an_exchange_of_north_and_east_is_noted(tmp_path):
    exchanged = document(channel("HNN", azimuth=90.0), channel("HNE", azimuth=0.0), THREE[2])
    record = read(counts(tmp_path, ("HNN", "HNE", "HNZ")), stationxml=save(tmp_path, exchanged))
    assert [(f.name, f.component) for f in record.findings] == [("other direction", "H1"), ("other direction", "H2")]
    assert [c.azimuth for c in record] == [90.0, 0.0, None]
    assert record.horizontals == ("H1", "H2")


@pytest.mark.parametrize(
    ("two", "names"),
    [
        ({"azimuth": 17.5}, ("H1", "H2", "V")),  # both point one way
        ({"azimuth": 107.5, "dip": -35.3}, ("H1", "V", "HN2")),  # inclined
        ({"dip": 90}, ("H1", "V", "HN2")),  # a second vertical
    ],
)
def test_wrong_pairs_have_no_rotd(tmp_path, two, names):
    text = document(channel("HN1", azimuth=17.5), channel("HN2", **two), THREE[2])
    record = read(counts(tmp_path), stationxml=save(tmp_path, text))
    assert record.names == names
    assert record.horizontals is None


def test_a_sensor_of_three_inclined_axes_makes_no_pair(tmp_path):
    # Axes 120 degrees apart, 35.26 degrees above the level: arctan(1 / sqrt(2)).
    axes = [channel(f"HN{letter}", azimuth=120.0 * k, dip=-35.264) for k, letter in enumerate("12Z")]
    record = read(counts(tmp_path), stationxml=save(tmp_path, document(*axes)))
    assert record.names == ("HN1", "HN2", "HNZ")


def test_a_station_of_another_network_is_not_taken(tmp_path):
    other = document(channel("HNZ")).replace('Network code="XX"', 'Network code="YY"')
    record = read(counts(tmp_path, ("HNZ",)), stationxml=save(tmp_path, other))
    assert record["V"].sensitivity is None
    assert ["no channel XX.QUAY.00.HNZ" in finding.what for finding in record.findings] == [True]


def test_poles_may_be_given_in_hertz(tmp_path):
    # A pole at 60 Hz: 3 dB down there, so bent below 80 Hz; taken as 60 rad/s (9.5 Hz) it would be bent from 5 Hz on.
    stages = poles_zeros([complex(-60, 0)], kind="LAPLACE (HERTZ)")
    text = document(channel("HNZ", stages=stages))
    (found,) = read(counts(tmp_path, ("HNZ",)), stationxml=save(tmp_path, text)).findings
    begin = float(found.what.split("between ")[1].split()[0])
    # |1/(1 + i f/60)| leaves 1 by 10 % where f = 60 sqrt(1/0.81 - 1).
    assert begin == pytest.approx(60 * np.sqrt(1 / 0.81 - 1), rel=0.08)  # the gain is looked at in steps of 7 %


def test_an_azimuth_beyond_the_circle_is_refused(tmp_path):
    path = save(tmp_path, document(channel("HN1", azimuth=400), *THREE[1:]))
    with pytest.raises(RecordError, match=r"quay\.xml, line \d+: <Channel>: .* the azimuth is 400, outside ±360"):
        read(counts(tmp_path, ("HN1",)), stationxml=path)
    record = read(counts(tmp_path), stationxml=path)
    assert record.names == ("H2", "V")
    assert [(f.name, f.severity, "azimuth is 400" in f.what) for f in record.findings] == [
        ("channel left out", "doubt", True)
    ]


def test_one_bad_date_spoils_one_channel(tmp_path):
    text = document(THREE[0], channel("HN2", epoch='startDate="dawn"'), THREE[2])
    unread = read_all(counts(tmp_path), stationxml=save(tmp_path, text)).unread
    assert [(one.channel, "expected a date and time, found 'dawn'" in str(one.error)) for one in unread] == [
        ("XX.QUAY.00.HN2", True)
    ]


def test_a_channel_that_stationxml_does_not_know_is_left_out_beside_others(tmp_path):
    records = read_all(counts(tmp_path), stationxml=save(tmp_path, document(*THREE[:2])))
    assert records[0].names == ("H1", "H2")
    assert [one.channel for one in records.unread] == ["XX.QUAY.00.HNZ"]
    assert len(process(records[0], QUICK).motion) == 2


def test_one_bad_document_of_a_folder_spoils_itself_alone(tmp_path):
    folder = tmp_path / "stations"
    folder.mkdir()
    save(folder, document(*THREE[:2]), "a.xml")
    save(folder, document(THREE[2])[:-40], "b.xml")
    (fault,) = read_stationxml(folder).unread
    assert str(fault).startswith("b.xml, line ")
    record = read(counts(tmp_path), stationxml=folder)
    assert record.names == ("H1", "H2")
    assert [
        (f.name, "no channel XX.QUAY.00.HNZ in a.xml, b.xml; not read: b.xml, line" in f.what) for f in record.findings
    ] == [("channel left out", True)]
    (folder / "a.xml").unlink()
    with pytest.raises(RecordError, match=r"b\.xml, line"):
        read_stationxml(folder)


def test_more_poles_than_any_sensor_has_are_refused_quickly(tmp_path):
    many = document(channel("HNZ", stages=poles_zeros([complex(-100, 20)] * 5000)))
    with pytest.raises(RecordError, match=r"quay\.xml, line \d+: <PolesZeros>: 5000 poles and zeros"):
        read(counts(tmp_path, ("HNZ",)), stationxml=save(tmp_path, many))


def test_an_epoch_that_ends_in_the_record_is_found(tmp_path):
    epoch = 'startDate="2000-01-01T00:00:00" endDate="2031-04-17T03:26:40"'  # the record lasts from :27 to :47
    record = read(counts(tmp_path, ("HNZ",)), stationxml=save(tmp_path, document(channel("HNZ", epoch=epoch))))
    assert [finding.name for finding in record.findings] == ["epoch ends"]


def test_a_record_of_absurd_length_is_no_overflow(tmp_path):
    component = Component("V", np.arange(50_000), 1e6, "counts", start=START, channel="HNZ")
    write_csv(Record((component,), Station("QUAY", "XX", "00")), tmp_path / "quay.csv")
    (tmp_path / "event.xml").write_text(quakeml(event("e1"), event("e2")))
    record = read(tmp_path / "quay.csv", stationxml=save(tmp_path, document(*THREE)), event=tmp_path / "event.xml")
    assert record.earthquake is not None


def test_a_folder_of_documents(tmp_path):
    folder = tmp_path / "stations"
    folder.mkdir()
    for number, one in enumerate(THREE):
        save(folder, document(one), f"{number}.xml")
    assert [c.sensitivity for c in read(counts(tmp_path), stationxml=folder)] == [4e5, 5e5, 4e5]
    inventory = read_stationxml(folder)
    assert read(counts(tmp_path), stationxml=inventory)["V"].sensitivity == 4e5
    with pytest.raises(RecordError, match=r"no StationXML document \(\.xml\) in this folder"):
        read_stationxml(tmp_path / "stations" / "..")


def test_stationxml_serves_text_records_too(tmp_path):
    component = Component("V", np.arange(50), 0.005, "counts", sensitivity=123.0, start=START, channel="HNZ")
    write_csv(Record((component,), Station("QUAY", "XX", "00")), tmp_path / "quay.csv")
    record = read(tmp_path / "quay.csv", stationxml=save(tmp_path, document(*THREE)))
    assert record["V"].sensitivity == 4e5
    assert [f.name for f in record.findings] == ["overruled header"]
    kept = read(tmp_path / "quay.csv", stationxml=tmp_path / "quay.xml", sensitivity=123.0)
    assert kept["V"].sensitivity == 123
    assert [f.name for f in kept.findings] == ["overruled header"]


def test_a_sensor_of_velocity_is_read_only_on_request(tmp_path):
    t = np.arange(4000) * 0.005
    velocity = 1e7 * np.sin(2 * np.pi * 2 * t)  # counts, at 1e6 counts per m/s: 10 m/s
    path = counts(tmp_path, ("HNZ",), np.round(velocity).astype(np.int32))
    xml = save(tmp_path, document(channel("HNZ", 1e6, "M/S")))
    with pytest.raises(RecordError, match=r"XX\.QUAY\.00\.HNZ \(seismometer\).*--sensor seismometer"):
        read(path, stationxml=xml)
    write_csv(read(path), tmp_path / "quay.csv")  # its channel is a seismometer in StationXML alone
    record = read(tmp_path / "quay.csv", stationxml=xml)
    assert (record["V"].sensitivity, record["V"].samples.dtype.kind) == (None, "i")
    assert [(f.name, f.severity) for f in record.findings] == [("velocity sensor", "unfit")]
    with pytest.raises(RecordError, match=r"counts, but its sensitivity is unknown: .* measures velocity"):
        process(record)
    # Without poles and zeros all that can be done is to differentiate.
    record = read(path, stationxml=xml, sensor="seismometer")
    assert [(f.name, f.severity) for f in record.findings] == [("differentiated", "doubt")]
    acceleration = record["V"].samples * record["V"].scale
    truth = 10 * 2 * np.pi * 2 * np.cos(2 * np.pi * 2 * t)
    np.testing.assert_allclose(acceleration[50:-50], truth[50:-50], atol=1e-3 * truth.max())


def test_an_accelerometer_under_the_code_of_a_seismometer_is_one(tmp_path):
    # Before August 2000 accelerometers had the codes L and G, too (SEED 2.4, appendix A; from memory).
    path = counts(tmp_path, ("HLZ",))
    assert read(path, stationxml=save(tmp_path, document(channel("HLZ"))))["V"].sensitivity == 4e5


def seismometer(ground, dt, corner, damping, gain):
    """Return counts of a seismometer by the state-space solution of SciPy, its poles, and the ground's velocity.

    `ground` is acceleration. Relative displacement z obeys z'' + 2 h w z' + w² z = -a, and the voltage is that of -z'.
    """
    w = 2 * np.pi * corner
    system = scipy.signal.TransferFunction([1, 0], [1, 2 * damping * w, w * w])  # of acceleration
    fine = np.interp(np.arange(len(ground) * 4) / 4, np.arange(len(ground)), ground)
    _, volts, _ = scipy.signal.lsim(system, fine, np.arange(len(fine)) * dt / 4)
    root = complex(-damping * w, w * np.sqrt(1 - damping**2))
    return np.round(gain * volts[::4]).astype(np.int32), [root, root.conjugate()]


def shaking(dt=0.005, n=16_000):
    """Return acceleration of 0.3 to 8 Hz, m/s², that begins and ends at rest."""
    t = np.arange(n) * dt
    return sum(
        np.exp(-(((t - 40) / width) ** 2)) * np.sin(2 * np.pi * f * (t - 40)) * size
        for f, width, size in ((0.3, 6.0, 0.05), (2.0, 3.0, 0.4), (5.0, 2.0, 0.3), (8.0, 1.5, 0.2))
    )


@pytest.mark.parametrize(
    ("corner", "damping"),
    [(1 / 30, 0.707), (0.2, 0.6), (0.8, 0.7)],  # with the last, the slowest of the shaking, 0.3 Hz, is near the end
)
def test_the_whole_response_of_a_seismometer_is_divided_out(tmp_path, corner, damping):
    ground = shaking()
    samples, poles = seismometer(ground, 0.005, corner, damping, 1e9)
    path = counts(tmp_path, ("HHZ",), samples)
    stages = poles_zeros(poles, [0j, 0j]).replace("400000", "1e9")
    xml = save(tmp_path, document(channel("HHZ", 1e9, "M/S", stages=stages).replace(">1.0<", ">20.0<")))
    record = read(path, stationxml=xml, channel="HH?")
    (finding,) = record.findings
    assert (finding.name, finding.severity) == ("response divided out", "note")
    # The gain x² / sqrt((1 - x²)² + (2 h x)²), x = f / corner, is 0.1 where 99 x⁴ - (4 h² - 2) x² - 1 = 0; the record
    # of 80 s says nothing below 1/80 Hz.
    x = np.sqrt(np.roots([99, -(4 * damping**2 - 2), -1]).max())
    assert finding.values["low_hz"] == pytest.approx(max(corner * x, 1 / 80), rel=0.01)
    assert record["V"].unit == "m/s2"
    found = record["V"].samples
    assert np.abs(found - ground).max() < 0.004 * np.abs(ground).max()
    # What differentiating alone would have made of it is far off where the corner is near the shaking.
    plain = np.gradient(samples / 1e9, 0.005)
    if corner >= 0.2:
        assert np.abs(plain - ground).max() > 0.02 * np.abs(ground).max()


def test_the_usable_band_stays_within_that_of_the_response(tmp_path):
    samples, poles = seismometer(shaking(), 0.005, 2.0, 0.7, 1e9)
    rng = np.random.default_rng(3)
    path = counts(tmp_path, ("HHZ",), samples + rng.integers(-200, 200, len(samples)).astype(np.int32))
    stages = poles_zeros(poles, [0j, 0j]).replace("400000", "1e9")
    xml = save(tmp_path, document(channel("HHZ", 1e9, "M/S", stages=stages).replace(">1.0<", ">20.0<")))
    result = process(read(path, stationxml=xml, sensor="motion"), QUICK)
    (finding,) = (f for f in result.record.findings if f.name == "response divided out")
    band = result.usable_band["V"]
    assert finding.values["low_hz"] > 0.5
    assert band.low_cut >= finding.values["low_hz"]
    assert 0 < band.high_cut <= finding.values["high_hz"]
    assert result.baseline["V"].method == "band-limited"


def test_gain_of_the_differentiation_is_as_stated():
    # The derivative of a cubic spline through equal steps: 3 sin(x) / ((2 + cos(x)) x), x = 2 pi f dt (derived from its
    # three-term relation for the slopes). Stated: 0.2 % low at an eighth of the sampling rate, 4.5 % at a quarter.
    for fraction, low in ((1 / 8, 0.002), (1 / 4, 0.045)):
        x = 2 * np.pi * fraction
        assert 3 * np.sin(x) / ((2 + np.cos(x)) * x) == pytest.approx(1 - low, abs=0.0006)


def poles_zeros(poles, zeros=(), kind="LAPLACE (RADIANS/SECOND)"):
    root = "<{0}><Real>{1}</Real><Imaginary>{2}</Imaginary></{0}>"
    inside = "".join(root.format("Zero", z.real, z.imag) for z in zeros)
    inside += "".join(root.format("Pole", p.real, p.imag) for p in poles)
    return (
        f'<Stage number="1"><PolesZeros><PzTransferFunctionType>{kind}</PzTransferFunctionType>{inside}</PolesZeros>'
        "<StageGain><Value>400000</Value></StageGain></Stage>"
    )


def test_a_flat_response_passes_and_a_bent_one_is_found(tmp_path):
    path = counts(tmp_path, ("HNZ",))

    def names(stages, value=4e5):
        record = read(path, stationxml=save(tmp_path, document(channel("HNZ", value, stages=stages))))
        return [f.name for f in record.findings]

    w = 2 * np.pi * 500  # a damped pendulum of 500 Hz: flat to within 3 % at 80 Hz
    pair = [complex(-0.7 * w, s * w * np.sqrt(1 - 0.49)) for s in (1, -1)]
    assert names(poles_zeros(pair)) == []
    slow = [root / 25 for root in pair]  # of 20 Hz: the gain falls long before 80 Hz
    assert names(poles_zeros(slow)) == ["response not flat"]
    assert names(poles_zeros([root / 2 / np.pi for root in slow], kind="LAPLACE (HERTZ)")) == ["response not flat"]
    assert names(poles_zeros([complex(-2 * np.pi, 0)], [0j])) == ["response not flat"]  # a high-pass at 1 Hz
    assert names(poles_zeros(pair), value=8e5) == ["contradictory gains"]


def test_a_band_of_shaking_outside_the_response_is_unfit(tmp_path):
    rng = np.random.default_rng(4)
    slow = np.exp(-(((np.arange(16_000) - 8000) / 1500) ** 2)) * np.sin(2 * np.pi * 0.7 * np.arange(16_000) * 0.005)
    samples = np.round(3e5 * slow + rng.normal(0, 3e3, 16_000)).astype(np.int32)
    w = 2 * np.pi * 10.0
    poles = [complex(-0.7 * w, sign * w * np.sqrt(0.51)) for sign in (1, -1)]
    stages = poles_zeros(poles, [0j, 0j]).replace("400000", "1e9")
    path = counts(tmp_path, ("HHZ",), samples)
    xml = save(tmp_path, document(channel("HHZ", 1e9, "M/S", stages=stages).replace(">1.0<", ">20.0<")))
    result = process(
        read(path, stationxml=xml, sensor="motion"), replace(QUICK, filter=replace(QUICK.filter, high_cut=2.0))
    )
    assert ("outside response", "unfit") in [(f.name, f.severity) for f in result.findings]
    assert not result.usable_band["V"].usable


HOSTILE = {
    "entity bomb": (
        '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">'
        '<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;">]><FDSNStationXML>&c;</FDSNStationXML>',
        "line 1: the document declares a document type or entities",
    ),
    "external entity": (
        '<?xml version="1.0"?>\n<!DOCTYPE x SYSTEM "http://localhost:9/x.dtd" [<!ENTITY a SYSTEM "file:///etc/hostname">]>'
        "<FDSNStationXML>&a;</FDSNStationXML>",
        "line 2: the document declares a document type or entities",
    ),
    "undeclared entity": (
        "<FDSNStationXML>&a;</FDSNStationXML>",
        "line 1: the XML is not well formed",
    ),
    "deep nesting": ("<FDSNStationXML>" + "<a>" * 100_000, "line 1: the document is nested deeper than 40 levels"),
    "many elements": (
        "<FDSNStationXML>" + "\n<Network/>" * 300_000 + "</FDSNStationXML>",
        "line 200002: the document has too many elements",
    ),
    "endless text": (
        "<FDSNStationXML><Network>" + "x" * 20_000_000,
        "line 1: <Network>: it has more than 100000 characters",
    ),
    "cut off": ("<FDSNStationXML><Network>\n", "line 2: the XML is not well formed: no element found"),
    "another document": ("<quakeml/>", "line 1: expected the root element FDSNStationXML, found 'quakeml'"),
    "no XML": ("HARBOUR SHEET\n", "line 1: the XML is not well formed: syntax error"),
    "unknown encoding": ('<?xml version="1.0" encoding="latin-99"?><FDSNStationXML/>', "line 1: the XML"),
    "empty": ("", "the file is empty"),
}


@pytest.mark.parametrize("case", HOSTILE)
def test_hostile_documents_are_refused(tmp_path, case):
    text, words = HOSTILE[case]
    with pytest.raises(RecordError) as caught:
        read_stationxml(save(tmp_path, text))
    assert str(caught.value).startswith("quay.xml")
    assert words in str(caught.value)
    assert caught.value.remedy


BAD = {
    "sensitivity in words": (("400000.0", "large"), "expected a number, found 'large'"),
    "sensitivity 0": (("400000.0", "0"), "the sensitivity is 0"),
    "overflow": (("400000.0", "1e999"), "expected a number, found '1e999'"),
    "pressure": (("m/s**2", "Pa"), "the unit of the sensitivity, 'Pa', is not an acceleration"),
    "volts": (("counts", "V"), "is 'V', not counts"),
    "dip": (("<Dip>-90", "<Dip>-91"), "dip is -91, outside ±90 degrees"),
    "latitude": (("45.6", "145.6"), "outside ±90 degrees"),
    "date": (("2030-01-01T00:00:00\">\n     <Lat", "2030-13-01T00:00:00\">\n     <Lat"), "expected a date and time"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_bad_values_are_named_with_their_line(tmp_path, case):
    (old, new), words = BAD[case]
    text = document(channel("HNZ"))
    assert old in text
    with pytest.raises(RecordError) as caught:
        read(counts(tmp_path, ("HNZ",)), stationxml=save(tmp_path, text.replace(old, new)))
    assert str(caught.value).startswith("quay.xml, line ")
    assert words in str(caught.value)


# --- QuakeML -----------------------------------------------------------------------------------------------------


def event(id, time="2031-04-17T03:26:20.5Z", magnitude=6.1, latitude=45.1):
    return f"""<event publicID="smi:invented/{id}"><description><text>Off Old Quay</text></description>
 <preferredOriginID>smi:invented/o2</preferredOriginID>
 <origin publicID="smi:invented/o1"><time><value>2000-01-01T00:00:00Z</value></time>
  <latitude><value>1</value></latitude><longitude><value>2</value></longitude></origin>
 <origin publicID="smi:invented/o2"><time><value>{time}</value></time>
  <latitude><value>{latitude}</value></latitude><longitude><value>-12.8</value></longitude>
  <depth><value>11500</value></depth></origin>
 <magnitude publicID="smi:invented/m"><mag><value>{magnitude}</value></mag><type>Mw</type></magnitude></event>"""


def quakeml(*events):
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<q:quakeml xmlns:q="http://quakeml.org/xmlns/quakeml/1.2" xmlns="http://quakeml.org/xmlns/bed/1.2">
<eventParameters publicID="smi:invented/all">{"".join(events)}</eventParameters></q:quakeml>"""


OFF_QUAY = Earthquake(
    "smi:invented/e1", "2031-04-17T03:26:20.500000000Z", 45.1, -12.8, 11500.0, 6.1, "Mw", "Off Old Quay"
)


def test_origin_and_magnitude_come_with_the_record_and_into_the_archive(tmp_path):
    path = save(tmp_path, quakeml(event("e1")), "event.xml")
    assert read_quakeml(path) == (OFF_QUAY,)
    record = read(counts(tmp_path), stationxml=save(tmp_path, document(*THREE)), event=path)
    assert record.earthquake == OFF_QUAY
    archive = Archive(tmp_path / "archive", create=True)
    archive.add(process(record))
    assert archive[record.id].record == record


def test_of_several_events_the_last_before_the_record_is_taken(tmp_path):
    events = event("early", "2031-04-17T03:20:00Z"), event("e1"), event("late", "2031-04-17T03:40:00Z")
    path = save(tmp_path, quakeml(*events), "event.xml")
    assert read(counts(tmp_path), event=path).earthquake == OFF_QUAY
    path = save(tmp_path, quakeml(events[2], events[2]), "event.xml")
    with pytest.raises(RecordError, match=r"event\.xml: none of the 2 events is within 600 s before record"):
        read(counts(tmp_path), event=path)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (quakeml(), "holds no event"),
        (quakeml(event("e", magnitude="big")), "line 10: <value>: expected a number, found 'big'"),
        (quakeml(event("e", latitude=91)), "latitude is 91, outside"),
        (quakeml(event("e", time="dawn")), "expected a date and time, found 'dawn'"),
        ("<FDSNStationXML/>", "expected the root element quakeml"),
    ],
)
def test_bad_quakeml(tmp_path, text, words):
    with pytest.raises(RecordError) as caught:
        read_quakeml(save(tmp_path, text, "event.xml"))
    assert str(caught.value).startswith("event.xml, line ")
    assert words in str(caught.value)


def test_xml_given_as_a_record_is_pointed_to_its_option(tmp_path):
    with pytest.raises(RecordError, match=r"an XML document, which holds no samples.*--stationxml.*--event"):
        read(save(tmp_path, document(*THREE)))

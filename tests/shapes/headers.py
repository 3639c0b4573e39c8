"""Text files as people publish them, made from code, each with what it truly says.

Stations, motions and layouts are invented. `Shape.text` is the file; the truth stands beside it, and was written down
with the file, not read from it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

G = 9.80665
N = 240


def motion(seed: int, size: float = 1.0) -> np.ndarray:
    """A few seconds of smooth shaking with a quiet beginning, the largest value `size`."""
    t = np.arange(N)
    rng = np.random.default_rng(seed)
    shaking = sum(np.sin(2 * np.pi * t / period + rng.uniform(0, 6)) for period in (17, 29, 43))
    envelope = np.where(t < 40, 0.01, (t / 90) ** 2 * np.exp(2 - 2 * t / 90))
    wave = shaking * envelope
    return size * wave / np.abs(wave).max()


@dataclass
class Shape:
    """One file and its truth; `azimuth` and `scale` a value for each component, m/s² a unit."""

    text: str
    dt: float
    values: list[np.ndarray]
    scale: float
    options: dict[str, object] = field(default_factory=dict)
    station: str = ""
    latitude: float | None = None
    longitude: float | None = None
    start: str = ""
    azimuth: tuple[float | None, ...] = ()
    suffix: str = ".txt"
    encoding: str = "utf-8"


def _block(values: np.ndarray, per_line: int, form: str) -> str:
    cells = [format(v, form) for v in values]
    return "".join("".join(cells[i : i + per_line]) + "\n" for i in range(0, len(cells), per_line))


def _rows(columns: list[np.ndarray], forms: list[str], between: str = "") -> str:
    return "".join(
        between.join(format(v, f) for v, f in zip(row, forms, strict=True)) + "\n" for row in zip(*columns, strict=True)
    )


def _read(values: np.ndarray, form: str) -> np.ndarray:
    return np.array([float(format(v, form)) for v in values])


def shapes() -> dict[str, Shape]:
    """Every shape by its name."""
    a, b, c = motion(1), motion(2), motion(3)
    time = np.arange(N) * 0.01
    made = {}
    made["two columns of blanks"] = Shape(
        _rows([time, a], ["8.2f", "12.6f"]), 0.01, [_read(a, "12.6f")], G, {"unit": "g"}
    )
    made["one column"] = Shape(_rows([a], ["10.5f"]), 0.005, [_read(a, "10.5f")], 1.0, {"unit": "m/s2", "dt": 0.005})
    made["named without units"] = Shape(
        "Time,Acceleration\n" + _rows([time, 100 * a], [".2f", ".4f"], ","),
        0.01,
        [_read(100 * a, ".4f")],
        0.01,
        {"unit": "gal"},
        suffix=".csv",
    )
    made["five a line under two lines"] = Shape(
        f"Low Mill, component 90 degrees\n{N} points, time step 0.02 s, acceleration in g\n" + _block(a, 5, "15.7E"),
        0.02,
        [_read(a, "15.7E")],
        G,
        azimuth=(90.0,),
        suffix=".acc",
    )
    made["decimal commas"] = Shape(
        "Zeit [s];Beschleunigung [m/s²]\n" + _rows([time, a], [".2f", ".5f"], ";").replace(".", ","),
        0.01,
        [_read(a, ".5f")],
        1.0,
        suffix=".csv",
    )
    made["touching, format stated"] = Shape(
        "ACCELERATION CM/S2  DT=0.005 SEC  FORMAT 8F8.3\n" + _block(900 * a, 8, "8.3f"),
        0.005,
        [_read(900 * a, "8.3f")],
        0.01,
    )
    made["time in milliseconds"] = Shape(
        "time_ms,acc_g\n" + _rows([time * 1000, a], [".0f", ".6f"], ","), 0.01, [_read(a, ".6f")], G, suffix=".csv"
    )
    made["acceleration, velocity, displacement"] = Shape(
        "Time (s)\tAcceleration (g)\tVelocity (cm/s)\tDisplacement (cm)\n"
        + _rows([time, a, np.cumsum(a), np.cumsum(np.cumsum(a))], [".2f", ".6f", ".4f", ".4f"], "\t"),
        0.01,
        [_read(a, ".6f")],
        G,
        suffix=".tsv",
    )
    made["clock times"] = Shape(
        "time_utc,a_north_m/s2,a_east_m/s2\n"
        + "".join(
            f"2031-04-17T03:26:{27 + i // 100:02d}.{i % 100:02d}0,{x:.6f},{y:.6f}\n"
            for i, (x, y) in enumerate(zip(a, b, strict=True))
        ),
        0.01,
        [_read(a, ".6f"), _read(b, ".6f")],
        1.0,
        start="2031-04-17T03:26:27",
        azimuth=(0.0, 90.0),
        suffix=".csv",
    )
    made["decoys beside a rate"] = Shape(
        "LOW MILL STRONG MOTION\nStation code: LMIL      Natural frequency: 25.0 Hz\nDamping: 0.6      Full scale: 2 g\n"
        "Epicentre: 45.1 N 12.5 E     Trigger level: 0.005 g\nSite coordinates: 45.678 N 12.345 W\n"
        "Origin time: 03/04/2011 10:15:00 UTC\nStart of recording: 17/04/2011 03:26:27.50 UTC\n"
        f"Sampling rate: 200 Hz      Number of samples: {N}\nUnits: mm/s2\nComponent azimuth: 135 deg\n" + _block(1000 * a, 6, "11.3f"),
        0.005, [_read(1000 * a, "11.3f")], 0.001, station="LMIL", latitude=45.678, longitude=-12.345,
        start="2011-04-17T03:26:27.5", azimuth=(135.0,),
    )  # fmt: skip
    made["degrees and minutes, three blocks"] = Shape(
        "Station LMIL   Low Mill   29 55.5' S  027 30.0' W   h = 1325 m\nStart of record 18/02/2003 17h 35m 33.32s  (UTC + 3 h)\n"
        + "".join(
            f"{name}   {N} values   step 10 ms   unit mm/s^2   max {np.abs(1000 * v).max():.1f}\n" + _block(1000 * v, 6, "11.3f")
            for name, v in (("NS", a), ("EW", b), ("UD", c))
        ),
        0.01, [_read(1000 * v, "11.3f") for v in (a, b, c)], 0.001, station="LMIL", latitude=-29.925, longitude=-27.5,
        start="2003-02-18T14:35:33.32", azimuth=(0.0, 90.0, None), suffix=".lis",
    )  # fmt: skip
    counts = [np.rint(20000 * v) for v in (a, b, c)]
    made["counts, sensor and digitiser"] = Shape(
        "! RECORDER LMIL\n! START 2004.032 05:42:42.49 (YEAR.DAY-OF-YEAR, GMT)\n! 250 SAMPLES/S\n"
        "! DIGITISER 400000 COUNTS PER VOLT, INPUT RANGE +-20 V\n! SENSOR 2.5 V/G   NATURAL FREQUENCY 96 HZ   FULL SCALE 4 G\n"
        "!    H1       H2       V\n" + _rows(counts, ["9.0f"] * 3),
        0.004, counts, G / 1e6, start="2004-02-01T05:42:42.49", suffix=".raw",
    )  # fmt: skip
    made["least significant bit"] = Shape(
        f"STATION=LMIL\nCOMP=L\nRATE=100 SPS\nRANGE=2 G\nLSB=0.9537 MICRO-G\nN={N}\n" + _rows([counts[0]], [".0f"]),
        0.01,
        [counts[0]],
        0.9537e-6 * G,
        station="LMIL",
        suffix=".dat",
    )
    made["pairs along the line"] = Shape(
        f"LOW MILL\nCOMPONENT N50W   {N} PAIRS OF TIME (SEC) AND ACCELERATION (G/1000)   4(F8.3,F8.2)\nDAMPING 60 PCT CRITICAL\n"
        + _block(np.column_stack([np.arange(N) * 0.02, 300 * a]).ravel(), 8, "8.2f"),
        0.02, [_read(300 * a, "8.2f")], 0.001 * G, azimuth=(310.0,),
    )  # fmt: skip
    made["sentences"] = Shape(
        "This accelerogram of the event of 7 April 1985 (magnitude 5.4) was recorded at Low\n"
        "Mill, station LMIL. The instrument has a natural frequency of 20 Hz and is damped at\n"
        "0.65 of critical. The film was interpolated to 100 samples per second. There are\n"
        f"{N} samples of the component positive to the south-west (azimuth 225 degrees) in all.\n"
        "Accelerations are in thousandths of g. A filter between 0.25 and 25 Hz was applied.\n" + _block(300 * a, 8, "9.2f"),
        0.01, [_read(300 * a, "9.2f")], 0.001 * G, station="LMIL", azimuth=(225.0,),
    )  # fmt: skip
    made["cards"] = Shape(
        "COMP S16W  ACCELERATION IN G  8F9.4, CARD NUMBER IN COLUMNS 73-80\n"
        f"{N} ORDINATES AT .020 SEC.  INSTRUMENT PERIOD .052 SEC\n"
        + "".join(f"{line:<72}{at:>8}\n" for at, line in enumerate(_block(a, 8, "9.4f").splitlines(), 3)),
        0.02, [_read(a, "9.4f")], G, azimuth=(196.0,), suffix=".crd",
    )  # fmt: skip
    made["stated order in one block"] = Shape(
        "Station: Low Mill [LMIL]\nSampling: dt = 0.005 s\nComponents: L (azimuth 85), T (azimuth 355), V (up)\n"
        f"Values: {N} of L, then {N} of T, then {N} of V, in g\n=== DATA ===\n" + _rows([np.concatenate([a, b, c])], ["10.6f"]),
        0.005, [_read(v, "10.6f") for v in (a, b, c)], G, azimuth=(85.0, 355.0, None),
    )  # fmt: skip
    made["boxes of event and station side by side"] = Shape(
        "EVENT                     STATION\n"
        "Lat.  44.100              Code  LMIL\nLon.  13.200              Lat.  45.678\n"
        "Depth 8 km                Lon.  12.345\n\nTime zero: 2011-04-17 03:26:27.5 UTC\nStep 0.01 s, cm/s2\n"
        + _block(100 * a, 6, "11.3f"),
        0.01, [_read(100 * a, "11.3f")], 0.01, station="LMIL", latitude=45.678, longitude=12.345,
        start="2011-04-17T03:26:27.5",
    )  # fmt: skip
    made["several facts under one label"] = Shape(
        "Network/Station: ZQ / LMIL\nLatitude, longitude, elevation (m): -45.678, 12.345, 310\n"
        "Step 0.01 s, cm/s2\n" + _block(100 * a, 6, "11.3f"),
        0.01, [_read(100 * a, "11.3f")], 0.01, station="LMIL", latitude=-45.678, longitude=12.345,
    )  # fmt: skip
    made["degrees, minutes and seconds among words"] = Shape(
        "Station LMIL\nCoordinates: 45°40'12\" lat. N, 12°20'42\" long. W\nStep 0.01 s, cm/s2\n"
        + _block(100 * a, 6, "11.3f"),
        0.01, [_read(100 * a, "11.3f")], 0.01, station="LMIL", latitude=45.67, longitude=-12.345,
    )  # fmt: skip
    digits = np.rint(3000 * a)
    made["digits of a ratio"] = Shape(
        "[data]\nrate: 200 Hz\nconversion: 1 digit = 1200.5/4194304 gal\n" + _block(digits, 8, "8.0f"),
        0.005, [digits], 12.005 / 4194304,
    )  # fmt: skip
    made["units of a power of ten"] = Shape(
        f"FROM FILM\nNO. OF POINTS {N}\nTIME INCREMENT 0.02 SEC\nACCELERATION IN UNITS OF 10**-4 G\n"
        + _block(digits, 12, "6.0f"),
        0.02, [digits], 1e-4 * G,
    )  # fmt: skip
    made["pairs of two widths, band and spacing"] = Shape(
        f"LOW MILL\nCOMPONENT N50W\nBAND: 0.2 TO 30 HZ  (3 DB)\n{N} PAIRS OF TIME (SEC) AND ACCELERATION (G)  3(F8.3,F11.6)\n"
        + "".join(
            "".join(f"{0.02 * at:8.3f}{a[at]:11.6f}" for at in range(begin, begin + 3)) + "\n" for begin in range(0, N, 3)
        ),
        0.02, [_read(a, "11.6f")], G, azimuth=(310.0,),
    )  # fmt: skip
    made["equally spaced, band"] = Shape(
        "BAND: 0.2 TO 30 HZ  (3 DB)\n"
        f"{N} POINTS OF ACCELERATION DATA EQUALLY SPACED AT .020 SEC, IN CM/SEC2. (8F10.4)\n" + _block(100 * a, 8, "10.4f"),
        0.02, [_read(100 * a, "10.4f")], 0.01,
    )  # fmt: skip
    made["labels above values, commas"] = Shape(
        f"STA, NET, LAT, LON, NPTS, DT_S, UNITS\nLMIL, ZQ, 45.678, 12.345, {N}, 0.010, G\n" + _block(a, 8, "10.6f"),
        0.01, [_read(a, "10.6f")], G, station="LMIL", latitude=45.678, longitude=12.345,
    )  # fmt: skip
    made["label and value, commas"] = Shape(
        "Station,LMIL,Low Mill\nLat/Lon,45.678,12.345\nSampling interval (s),0.01\nOrientation of L,N62E\n"
        "Orientation of T,N152E\n\nL (mg),T (mg)\n" + _rows([300 * a, 300 * b], [".2f", ".2f"], ","),
        0.01, [_read(300 * v, ".2f") for v in (a, b)], 0.001 * G, station="LMIL", latitude=45.678, longitude=12.345,
        azimuth=(62.0, 152.0), suffix=".csv",
    )  # fmt: skip
    made["letters before degrees"] = Shape(
        "[record]\ncode: LMIL\nposition: N 45.6780, W 12.3450\nrate: 100 Hz\nunit: g\n" + _block(a, 8, "10.6f"),
        0.01, [_read(a, "10.6f")], G, station="LMIL", latitude=45.678, longitude=-12.345,
    )  # fmt: skip
    made["the worth of a digit behind blanks"] = Shape(
        "Site name         PORT07\nSite lat          41.05\nSite lon          13.61\nDirection         NS\n"
        "Samples per sec   100\nOne digit         2.38E-3 gal\n" + _block(digits, 6, "10.0f"),
        0.01, [digits], 2.38e-5, latitude=41.05, longitude=13.61, azimuth=(0.0,), suffix=".dat",
    )  # fmt: skip
    made["channels in words, delta"] = Shape(
        "NATIONAL ACCELEROGRAPH ARRAY\nStation: HILL  (41.5001 N, 14.2002 E)\nFirst sample at 2031-03-07T04:15:40.00Z\n"
        + "".join(
            f"\nBEGIN CHANNEL {name}\nnpts = {N}, delta = 0.02 s, units = m/s**2, format = (5E15.7)\n"
            + _block(values, 5, "15.7E") + "END CHANNEL\n"
            for name, values in (("Longitudinal (az 030)", a), ("Vertical", b), ("Transverse (az 120)", c))
        ),
        0.02, [_read(values, "15.7E") for values in (a, b, c)], 1.0, station="HILL", latitude=41.5001,
        longitude=14.2002, start="2031-03-07T04:15:40", azimuth=(30.0, None, 120.0),
    )  # fmt: skip
    made["quoted cells"] = Shape(
        '"Station","FORD"\n"Site","Ford Mill, ground floor"\n"Start (UTC)","2031-03-07 04:15:35.480"\n'
        '"Sampling (Hz)","100"\n"Unit","mg"\n"H1","H2","V"\n'
        + _rows([1000 * values for values in (a, b, c)], [".3f"] * 3, ","),
        0.01, [_read(1000 * values, ".3f") for values in (a, b, c)], 0.001 * G, station="FORD",
        start="2031-03-07T04:15:35.480", suffix=".csv",
    )  # fmt: skip
    made["numbers and blanks only"] = Shape(
        "STN GLEN   LAT 41 18.6 N   LON 013 59.4 E   ALT 0455 M\n"
        "EVT 2031 03 07 04 15 12.4   LAT 41 13.2 N LON 013 52.2 E  DEP 11\n"
        f"REC 2031 03 07 04 15 38.60  CMP S30W  RATE 050 HZ  NPT {N:05d}\nUNIT 1E-4 G\n" + _block(digits, 12, "6.0f"),
        0.02, [digits], 1e-4 * G, station="GLEN", latitude=41.31, longitude=13.99, start="2031-03-07T04:15:38.6",
        azimuth=(210.0,),
    )  # fmt: skip
    made["axes said by letters"] = Shape(
        "Device\tMEMS node 17\nStation\tN17\nAxes\tX = East, Y = North, Z = Up\nRate\t250 Hz\n"
        "Start\t2031-03-07T04:15:30.004Z\n\nAccX [mm/s^2]\tAccY [mm/s^2]\tAccZ [mm/s^2]\n"
        + _rows([1000 * values for values in (a, b, c)], [".2f"] * 3, "\t"),
        0.004, [_read(1000 * values, ".2f") for values in (a, b, c)], 0.001, station="N17",
        start="2031-03-07T04:15:30.004", azimuth=(90.0, 0.0, None), suffix=".tsv",
    )  # fmt: skip
    made["letters behind words, order of the columns"] = Shape(
        "ESTACION             : LAGO-2\nCOORDENADAS          : 16.852 LAT. N  99.881 LONG. W\n"
        "HORA DE INICIO (GMT) : 04:15:29.71   FECHA : 2031/03/07\nINTERVALO DE MUESTREO (s) : 0.01\n"
        f"NUMERO DE MUESTRAS   : {N}\nUNIDADES             : GAL\nORIENTACION C1-C2-C3 : N00E ; V ; N90E\n"
        + "-" * 60 + "\n" + _rows([100 * values for values in (a, b, c)], ["12.2f"] * 3),
        0.01, [_read(100 * values, "12.2f") for values in (a, b, c)], 0.01, station="LAGO-2", latitude=16.852,
        longitude=-99.881, start="2031-03-07T04:15:29.710", azimuth=(0.0, None, 90.0),
    )  # fmt: skip
    made["day of the year behind a blank"] = Shape(
        "".join(
            f"DAM LEFT ABUTMENT   CHAN: {name}\nSTART 2031 066 04:15:22.150 UTC    {N} SAMPLES AT 100.0 SPS    ACCEL (G)\n"
            + _block(values, 7, "11.5f")
            for name, values in (("LONG", a), ("TRAN", b), ("VERT", c))
        ),
        0.01, [_read(values, "11.5f") for values in (a, b, c)], G, start="2031-03-07T04:15:22.150", suffix=".v",
    )  # fmt: skip
    gains = (0.512, 0.498, 0.505)
    whole = [np.rint(values / G * gain * 1e6) for values, gain in zip((a, b, c), gains, strict=True)]
    made["sensitivities by letter, a step of one microvolt"] = Shape(
        "Station code         : TARN\nSampling             : 100 Hz\n"
        + "".join(f"Sensitivity {name} (V/g)  : {gain}\n" for name, gain in zip("XYZ", gains, strict=True))
        + "LSB                  : 1 microvolt\nX direction          : N\nY direction          : E\n"
        "Z direction          : Up\nStart time           : 07-Mar-2031 04:15:25.600 UTC\n        X         Y         Z\n"
        + _rows(whole, ["10.0f"] * 3),
        0.01, [values / gain for values, gain in zip(whole, gains, strict=True)], 1e-6 * G, station="TARN",
        start="2031-03-07T04:15:25.600", azimuth=(0.0, 90.0, None),
    )  # fmt: skip
    made["a bare unit at the end of the line"] = Shape(
        "".join(
            f"COMP: {name}   STA: WEIR   DT= 0.0200   NDATA= {N}   M/S**2\n" + _block(values, 6, "13.6E").replace("E", "D")
            for name, values in (("N 45 E", a), ("N 135 E", b))
        ),
        0.02, [_read(values, "13.6E") for values in (a, b)], 1.0, station="WEIR", azimuth=(45.0, 135.0),
    )  # fmt: skip
    made["facts between bars"] = Shape(
        f"Station QLEE | East-West | {N} samples at 200 samples per second | cm/s² | starts 2031-03-07 04:15:02.005 UTC\n"
        + _block(100 * a, 10, "10.2f"),
        0.005, [_read(100 * a, "10.2f")], 0.01, station="QLEE", start="2031-03-07T04:15:02.005", azimuth=(90.0,),
    )  # fmt: skip
    stamps = np.datetime64("2031-03-07T04:15:30.000", "ms") + 10 * np.arange(N)
    made["mps2"] = Shape(
        "timestamp,ax_mps2,ay_mps2,az_mps2\n"
        + "".join(f"{t}Z,{x:.5f},{y:.5f},{z:.5f}\n" for t, x, y, z in zip(stamps, a, b, c, strict=True)),
        0.01, [_read(values, ".5f") for values in (a, b, c)], 1.0, start="2031-03-07T04:15:30", suffix=".csv",
    )  # fmt: skip
    made["facts in as many parts as columns"] = Shape(
        "Bridge deck, station BRDK; L = 015 deg, T = 105 deg, V = up\n"
        "Sampling interval 10 ms, values in g, columns L T V\n" + _rows([a, b, c], ["10.5f"] * 3),
        0.01, [_read(values, "10.5f") for values in (a, b, c)], G, station="BRDK",
    )  # fmt: skip
    made["counts at full scale"] = Shape(
        "Recorder RX-7 (16 bit, +-32768 counts = +-2 g)\nSite KEEP  Channel H (N210E)\n"
        f"Rate 100 samples/sec  {N} samples\n" + _block(digits, 10, "8.0f"),
        0.01, [digits], 2 * G / 32768, station="KEEP", azimuth=(210.0,),
    )  # fmt: skip
    made["local time with its zone"] = Shape(
        "Estación: PICO\nHora local del primer dato: 2031-03-06 22:15:30.500\nZona horaria: UTC-06:00\n"
        "Componente: vertical (positivo hacia arriba)\nFrecuencia de muestreo: 200 Hz\n"
        "Datos en mm/s2, un valor por línea\n" + _rows([1000 * a], [".1f"]),
        0.005, [_read(1000 * a, ".1f")], 0.001, station="PICO", start="2031-03-07T04:15:30.5", azimuth=(None,),
    )  # fmt: skip
    made["cards with marks at the end"] = Shape(
        f"QUARRY ROAD  COMP N35W  {N} VALUES AT 0.02 SEC IN UNITS OF 1E-4 G\n"
        + "".join(
            "".join(f"{value:7.0f}" for value in digits[i : i + 10]) + f"  QR{i // 10 + 1:04d}\n" for i in range(0, N, 10)
        ),
        0.02, [digits], 1e-4 * G, azimuth=(325.0,), suffix=".crd",
    )  # fmt: skip
    made["multiply to obtain"] = Shape(
        f"Station KNOL, component E-W, 200 samples/s, {N} samples\nTo obtain gal multiply by 0.001\n"
        + _block(digits, 8, "9.0f"),
        0.005, [digits], 1e-5, station="KNOL", azimuth=(90.0,),
    )  # fmt: skip
    made["muestras por segundo"] = Shape(
        "ESTACION: CERRO\nFECHA: 2031-03-07  HORA (UTC) PRIMERA MUESTRA: 04:15:24.115\nMUESTREO: 200 MPS\n"
        "UNIDADES: cm/s2\nCANALES: N-S E-W VERT\n" + _rows([100 * v for v in (a, b, c)], ["11.3f"] * 3),
        0.005, [_read(100 * v, "11.3f") for v in (a, b, c)], 0.01, station="CERRO", start="2031-03-07T04:15:24.115",
        azimuth=(0.0, 90.0, None),
    )  # fmt: skip
    made["raw counts beside acceleration"] = Shape(
        "Time(s),Raw(counts),Acc(cm/s2),Vel(cm/s),Disp(cm)\n"
        + _rows([time, digits, 100 * a, b, c], [".2f", ".0f", ".4f", ".4f", ".4f"], ","),
        0.01, [_read(100 * a, ".4f")], 0.01, suffix=".csv",
    )  # fmt: skip
    made["Komponente, rate behind a channel"] = Shape(
        "Station WEHR, Komponente Nord-Süd  100 Hz\nBeschleunigung in cm/s²\n" + _block(100 * a, 6, "10.3f"),
        0.01, [_read(100 * a, "10.3f")], 0.01, station="WEHR", azimuth=(0.0,),
    )  # fmt: skip
    made["windows-1252"] = Shape(
        "# Azimut 47°, dt = 0.02 s, cm/s²\n" + _rows([100 * a], [".3f"]),
        0.02,
        [_read(100 * a, ".3f")],
        0.01,
        azimuth=(47.0,),
        encoding="cp1252",
    )
    ratio = np.rint(a * 100 / 1962 * 8388608)
    for number, said in enumerate((
        "Scaling 1962 gal / 8388608 counts", "Sensitivity 1962/8388608 gal/count", "Gain 8388608/1962 counts per gal",
        "Scale factor 1962/8388608 gal per count", "Scaling: 1962 cm/s2 = 8388608 counts",
    )):  # fmt: skip
        made[f"a ratio of counts {number}"] = Shape(
            f"Station: KALE   Kale Village\nComponent: NS\nSampling 100 Hz\nNumber of samples {N}\n{said}\n"
            + _block(ratio, 8, "10.0f"),
            0.01, [ratio], 19.62 / 8388608, station="KALE", azimuth=(0.0,),
        )  # fmt: skip
    made["Turkish words"] = Shape(
        "İstasyon Kodu : KALE\nEnlem : 38.4210\nBoylam : 27.1500\nDeprem Tarihi : 17/04/2031 03:26:31\n"
        "Kayıt Başlangıç : 17/04/2031 03:26:25.50\nÖrnekleme Aralığı (sn) : 0.01\n"
        f"Veri Sayısı : {N}\nBirim : gal\nN-S E-W U-D\n" + _rows([100 * v for v in (a, b, c)], ["12.5f"] * 3),
        0.01, [_read(100 * v, "12.5f") for v in (a, b, c)], 0.01, station="KALE", start="2031-04-17T03:26:25.5",
        azimuth=(0.0, 90.0, None), latitude=38.421, longitude=27.15,
    )  # fmt: skip
    made["units in names"] = Shape(
        "time_s,acc_e_cm_s2,acc_n_cm_s2,acc_z_cm_s2,vel_e_cm_s\n"
        + _rows([time, 100 * a, 100 * b, 100 * c, c], [".2f", ".4f", ".4f", ".4f", ".4f"], ","),
        0.01, [_read(100 * v, ".4f") for v in (a, b, c)], 0.01, azimuth=(90.0, 0.0, None), suffix=".csv",
    )  # fmt: skip
    made["a comma at the end of each line"] = Shape(
        "time,acc (g),\n" + "".join(f"{t:.2f},{x / G:.6f},\n" for t, x in zip(time, a, strict=True)),
        0.01, [_read(a / G, ".6f")], G, suffix=".csv",
    )  # fmt: skip
    stamps = np.datetime64("2031-03-06T23:59:59.000", "ms") + 10 * np.arange(N)
    made["times of day without a date, past midnight"] = Shape(
        "Station KALE\nHH:MM:SS.sss  acc [cm/s2]\n"
        + "".join(f"{str(t)[11:]} {100 * x:10.4f}\n" for t, x in zip(stamps, a, strict=True)),
        0.01, [_read(100 * a, "10.4f")], 0.01, station="KALE",
    )  # fmt: skip
    made["direction and rates that are not those of the numbers"] = Shape(
        "Station: KALE\nStart: 2031-04-17T03:26:25Z\nComponent: azimuth 125\nRaw sampling rate: 200 Hz\n"
        "Location: 38 deg 25.26 min N, 27 deg 09.00 min E\nSampling rate: 100 Hz\n"
        f"Units: cm/s/s\nNumber of points: {N}\n" + _block(100 * a, 8, "10.4f"),
        0.01, [_read(100 * a, "10.4f")], 0.01, station="KALE", start="2031-04-17T03:26:25", azimuth=(125.0,),
        latitude=38.421, longitude=27.15,
    )  # fmt: skip
    made["one long line"] = Shape(
        "Station: KALE\nSampling rate: 100 Hz\nComponent: N\nUnits: cm/s/s\n"
        + " ".join(f"{x:.4f}" for x in 100 * a) + "\n",
        0.01, [_read(100 * a, ".4f")], 0.01, station="KALE", azimuth=(0.0,),
    )  # fmt: skip
    made["facts in running text, broken where a line is full"] = Shape(
        "Time of first sample: 2031-04-17T03:26:25.000Z; Previous sampling rate is 500 Hz. Original sampling\n"
        "rate: 1000 Hz; Reference station: REFA; Code of station is KALE. Recorder latitude S38.4210. Recorder\n"
        "longitude: E27.1500; Axis of motion is 125 degrees east of north. Spacing of ordinates 10\n"
        f"milliseconds. Event latitude 39.1 S. Event longitude: 28.2 E; Ordinates in: gal; Points {N}.\n"
        + _block(100 * a, 8, "10.4f"),
        0.01, [_read(100 * a, "10.4f")], 0.01, station="KALE", start="2031-04-17T03:26:25", azimuth=(125.0,),
        latitude=-38.421, longitude=27.15,
    )  # fmt: skip
    made["a numbered form with leaders"] = Shape(
        "1. Station code ............... KALE\n2. Latitude, decimal degrees ... 38.4210\n"
        "3. Longitude, decimal degrees .... 27.1500\n4. Previous sampling rate, Hz ... 400\n"
        "5. Sampling frequency, Hz ...... 100\n6. Ordinates ........ acceleration in g\n"
        "7. Columns ......... 1 = N75E, 2 = N165E, 3 = Up\n" + _rows([v / G for v in (a, b, c)], ["12.6f"] * 3),
        0.01, [_read(v / G, "12.6f") for v in (a, b, c)], G, station="KALE", azimuth=(75.0, 165.0, None),
        latitude=38.421, longitude=27.15,
    )  # fmt: skip
    made["a rate in words, and the time among the columns listed"] = Shape(
        "Station code KALE\nIt sampled 100 times a second\nUnit: percent of gravity\nColumns:  time, Up, N50E, S40E\n"
        + _rows([time, 100 * a / G, 100 * b / G, 100 * c / G], ["8.2f", "10.4f", "10.4f", "10.4f"]),
        0.01, [_read(100 * v / G, "10.4f") for v in (a, b, c)], G / 100, station="KALE", azimuth=(None, 50.0, 140.0),
    )  # fmt: skip
    made["a ratio of each component, nearly the same"] = Shape(
        "Station code KALE\nRate 100 sps\nScale N: 1962/8388608 gal/count\nScale E: 1950/8388608 gal/count\n"
        "Scale Z: 1975/8388608 gal/count\nN E Z\n"
        + _rows([np.rint(v * 1e5) for v in (a, b, c)], ["10.0f"] * 3),
        0.01, [np.rint(v * 1e5) * gal / 1962 for v, gal in ((a, 1962), (b, 1950), (c, 1975))], 19.62 / 8388608,
        station="KALE", azimuth=(0.0, 90.0, None),
    )  # fmt: skip
    return made

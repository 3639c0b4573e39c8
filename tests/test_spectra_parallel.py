"""The same bits from one thread, many threads, many processes, many records in a call, and without a cache."""

from __future__ import annotations

import hashlib
import multiprocessing
import os
import shutil
import subprocess
import sys
import tempfile
import textwrap
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

import strongmotion
from strongmotion import InputError
from strongmotion.spectra import default_periods, response_spectra, response_spectrum, rotated_spectrum


def bits(seed: int, threads: int = 1) -> str:
    """Return a digest of all spectra of a pair of records."""
    one, two = np.random.default_rng(seed).standard_normal((2, 3000)) * np.hanning(3000)
    single = response_spectrum(one, 0.01, default_periods(), [0.02, 0.05], threads=threads)
    pair = rotated_spectrum(one, two, 0.01, default_periods(), threads=threads)
    digest = hashlib.sha256()
    for values in (single.sd, single.sv, single.sa, pair.sd, pair.largest_sd):
        digest.update(values.tobytes())
    return digest.hexdigest()


def test_eight_threads_at_once():
    alone = [bits(seed) for seed in range(8)]
    with ThreadPoolExecutor(8) as pool:
        assert list(pool.map(bits, range(8))) == alone
        assert list(pool.map(bits, range(8), [2] * 8)) == alone


def test_four_processes_at_once():
    alone = [bits(seed) for seed in range(4)]
    with ProcessPoolExecutor(4, mp_context=multiprocessing.get_context("spawn")) as pool:
        assert list(pool.map(bits, range(4))) == alone


@pytest.mark.parametrize("threads", [1, 2, 3])
def test_many_records_of_any_length_in_one_call(threads):
    rng = np.random.default_rng(4)
    records = [rng.standard_normal(n) for n in (1, 2, 500, 5000, 33)]
    steps = [0.01, 0.005, 0.02, 0.005, 0.01]
    together = response_spectra(records, steps, [0.0, 0.05, 1.0, 30.0], [0.0, 0.05], threads=threads)
    for record, dt, spectrum in zip(records, steps, together, strict=True):
        alone = response_spectrum(record, dt, [0.0, 0.05, 1.0, 30.0], [0.0, 0.05], threads=1)
        for name in ("sd", "psv", "psa", "sv", "sa", "resampled", "interpolation_error"):
            np.testing.assert_array_equal(getattr(spectrum, name), getattr(alone, name))
    assert response_spectra([], 0.01) == []


def test_wrong_lists_are_named():
    with pytest.raises(InputError, match=r"acceleration 1.*nan at index 0"):
        response_spectra([[0.0, 1.0], [np.nan]], 0.01)
    with pytest.raises(InputError, match="one dt for each of the 2"):
        response_spectra([[0.0], [1.0]], [0.01])


@pytest.mark.slow  # compiles everything anew
def test_installation_that_may_not_be_written_to():
    # As for a user without rights to the installation and without a home: compiled afresh, nothing kept.
    folder = Path(tempfile.mkdtemp())
    try:
        copy = folder / "strongmotion"
        shutil.copytree(Path(strongmotion.__file__).parent, copy, ignore=shutil.ignore_patterns("__pycache__"))
        for path in (folder, *folder.rglob("*")):
            path.chmod(0o555 if path.is_dir() else 0o444)
        program = textwrap.dedent("""
            import numpy as np, strongmotion
            print(strongmotion.__file__)
            print(strongmotion.response_spectrum([0.0, 1.0, 0.0], 0.01, [0.5], quantities=["sd"]).sd[0, 0])
        """)
        environment = {"PATH": os.environ["PATH"], "PYTHONPATH": str(folder), "HOME": str(folder)}
        command = [sys.executable, "-B", "-c", program]
        if os.geteuid() == 0:  # who may write anywhere, unless that right is given up
            if shutil.which("setpriv") is None:
                pytest.skip("root may write anywhere, and there is no setpriv to give that right up")
            command = ["setpriv", "--bounding-set", "-dac_override", "--inh-caps", "-dac_override", *command]
        done = subprocess.run(command, env=environment, capture_output=True, text=True, cwd="/", check=False)
        assert done.returncode == 0, done.stderr
        where, value = done.stdout.split()
        assert where.startswith(str(folder))
        assert float(value) == response_spectrum([0.0, 1.0, 0.0], 0.01, [0.5], quantities=["sd"]).sd[0, 0]
        assert not list(folder.rglob("*.nbc"))
    finally:
        for path in (folder, *folder.rglob("*")):
            path.chmod(0o755)
        shutil.rmtree(folder)

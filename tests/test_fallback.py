"""Where the vector instructions cannot be compiled, plain loops give the same results to rounding, and it is said."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from contextlib import suppress

import numpy as np
import pytest

from strongmotion.spectra import response_spectrum, rotated_spectrum

SIGNALS = """
import numpy as np
time = np.arange(1500) * 0.01
rng = np.random.default_rng(5)
one, two = (rng.normal(size=1500) * np.exp(-((time - 6) / 3) ** 2) for _ in range(2))
periods = np.array([0.0, 0.03, 0.1, 0.37, 1.0, 2.5, 8.0, 20.0, 0.64, 3.1])
"""

BROKEN = (
    "import numba.extending\n"
    "def intrinsic(function): raise TypeError('an instruction of another version')\n"
    "numba.extending.intrinsic = intrinsic\n"
)
"""What a version of Numba with other terms does when the instructions are made."""


def spectra(one, two, periods):
    spectrum = response_spectrum(one, 0.01, periods, [0.0, 0.05, 0.7, 1.5])
    rotated = rotated_spectrum(one, two, 0.01, periods)
    return [getattr(spectrum, name).tolist() for name in ("sd", "psv", "psa", "sv", "sa")] + [rotated.psa.tolist()]


def test_plain_loops_agree_with_vector_instructions_and_are_said():
    names: dict = {}
    exec(SIGNALS, names)
    expected = spectra(names["one"], names["two"], names["periods"])
    code = (
        f"import sys, warnings, json\nsys.path.insert(0, 'tests')\n{BROKEN}{SIGNALS}\n"
        "with warnings.catch_warnings(record=True) as said:\n"
        "    warnings.simplefilter('always')\n"
        "    from test_fallback import spectra\n"
        "    from strongmotion.spectra import _lanes\n"
        "assert not _lanes.VECTORISED\n"
        "print(json.dumps([[str(one.message) for one in said], spectra(one, two, periods)]))\n"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert run.returncode == 0, run.stderr
    said, found = json.loads(run.stdout)
    assert any("Plain loops are used instead" in one and "an instruction of another version" in one for one in said)
    for one, other in zip(expected, found, strict=True):
        largest = np.max(np.abs(one))
        np.testing.assert_allclose(other, one, rtol=0, atol=1e-12 * largest)


FRESH = (
    "from strongmotion.foundation.compiling import compiled\n"
    "for function in (lambda x: x + 1, lambda x: x + 2): compiled(function)(3)\n"
)


@pytest.mark.skipif(os.name != "posix", reason="needs a pseudo-terminal")
def test_compilation_is_announced_once_at_a_terminal_and_never_in_a_pipe(tmp_path):
    import pty

    environment = os.environ | {"NUMBA_CACHE_DIR": str(tmp_path)}
    piped = subprocess.run([sys.executable, "-c", FRESH], env=environment, capture_output=True, text=True, check=True)
    assert piped.stderr == ""
    ours, theirs = pty.openpty()
    run = subprocess.Popen([sys.executable, "-c", FRESH], env=environment, stderr=theirs)
    os.close(theirs)
    said = b""
    with suppress(OSError):  # how a terminal ends
        while piece := os.read(ours, 1024):
            said += piece
    os.close(ours)
    assert run.wait() == 0
    assert said.decode().count("compiling numerical kernels") == 1

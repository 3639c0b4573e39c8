"""The steps of the oscillator recursion: as vector instructions, or as plain loops where those do not work.

The instructions use LLVM by llvmlite, whose terms change between versions. Both ways agree to rounding: within 1e-12 of
the largest response (`tests/test_fallback.py`).
"""

from __future__ import annotations

import warnings
from types import ModuleType

from ..foundation import compiling

__all__ = ["LANES", "STEPS", "VECTORISED", "step_all", "step_displacement", "step_pair"]


def _steps() -> tuple[ModuleType, bool]:
    try:
        from . import _vector

        if _vector.works():
            return _vector, True
        why = "they gave a wrong result"
    except Exception as error:  # what llvmlite and Numba raise on terms that they do not know is of many kinds
        why = f"{type(error).__name__}: {str(error).splitlines()[0] if str(error) else 'no reason'}"
    warnings.warn(
        f"The vector instructions of strongmotion cannot be used with this version of Numba ({why}). Plain loops are "
        "used instead: spectra are slower, and their code is compiled in each process. Results agree within 1e-12.",
        RuntimeWarning,
        stacklevel=2,
    )
    compiling.keep_no_code()  # code kept on disk does not know which steps it was compiled with
    from . import _plain

    return _plain, False


_chosen, VECTORISED = _steps()
LANES, STEPS = _chosen.LANES, _chosen.STEPS
step_displacement, step_all, step_pair = _chosen.step_displacement, _chosen.step_all, _chosen.step_pair

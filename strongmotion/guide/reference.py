"""The reference: a page of HTML for each room, made from the docstrings by pdoc."""

from __future__ import annotations

import importlib
from pathlib import Path

from ..foundation.errors import InputError

__all__ = ["ROOMS", "write_reference"]

ROOMS = (
    "settings", "record", "motion", "formats", "arrivals", "spectra", "measures", "checks", "chain", "result",
    "archive", "suite", "event", "report", "review", "batch",
)  # fmt: skip
"""The rooms that a script may call, from the ground up."""


def write_reference(folder: str | Path) -> Path:
    """Write the reference of all public functions, classes and rooms.

    Parameters
    ----------
    folder : str or Path
        Made if it is not there.

    Returns
    -------
    Path
        Its first page, ``strongmotion.html``, which lists what ``import strongmotion`` offers.

    Raises
    ------
    InputError
        pdoc is not installed, or the folder cannot be written.
    """
    try:
        import pdoc
        import pdoc.render
    except ImportError:
        raise InputError("pdoc is not installed", remedy="Install it: pip install 'strongmotion[docs]'") from None
    package = importlib.import_module(__package__.partition(".")[0])
    for name in package.__all__:  # the public face loads its names on demand, and pdoc does not ask for them
        setattr(package, name, getattr(package, name))
    pdoc.render.configure(docformat="numpy", math=False, search=True)
    folder = Path(folder)
    try:
        pdoc.pdoc(package.__name__, *(f"{package.__name__}.{room}" for room in ROOMS), output_directory=folder)
    except OSError as error:
        raise InputError(f"the reference cannot be written: {error.strerror}", source=str(folder)) from None
    return folder / f"{package.__name__}.html"

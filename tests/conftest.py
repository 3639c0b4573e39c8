"""Hypothesis for the whole suite, and the check book.

No deadlines, since a first call compiles. Where CI is set the examples are the same in each run, so that it tells of
the change and not of chance.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import numpy as np
import pytest
from check_book import PAGE, PUBLISHED, CheckBook, beginning
from hypothesis import settings

settings.register_profile("strongmotion", deadline=None, max_examples=50, derandomize="CI" in os.environ)
settings.load_profile("strongmotion")

# Layouts that whoever runs the tests keeps are not theirs to recognise.
os.environ["XDG_CONFIG_HOME"] = tempfile.mkdtemp(prefix="strongmotion-tests-")

BOOK = pytest.StashKey[CheckBook]()


def pytest_addoption(parser):
    parser.addoption("--check-book", metavar="FILE", help="write what published values were held against to FILE")


def pytest_configure(config):
    if config.getoption("--check-book") and config.getoption("numprocesses", None):
        raise pytest.UsageError("--check-book needs all rows in one process: run it without -n")
    config.stash[BOOK] = CheckBook()


def pytest_sessionfinish(session, exitstatus):
    file = session.config.getoption("--check-book")
    if not file or exitstatus != 0:
        return
    book = session.config.stash[BOOK]
    missing = set(PUBLISHED.glob("test_*.py")) - set(book.files)
    if missing:
        raise pytest.UsageError(f"no check book written: no rows from {', '.join(sorted(p.name for p in missing))}")
    Path(file).write_text(book.text(), encoding="utf-8")


@pytest.fixture
def held(request):
    """Hold values against published ones, and note them for the check book.

    `rel` is a tolerance relative to each published value, `abs` one in its unit; exactly one is given. Calls of a file
    with the same source and quantity make one row. A row that the page of the guide lacks fails: the page is old.
    """
    book = request.config.stash[BOOK]
    page = None if request.config.getoption("--check-book") else PAGE.read_text(encoding="utf-8")

    def hold(source, quantity, printed, ours, *, rel=None, abs=None, unit="", memory=False):
        assert (rel is None) != (abs is None)
        printed, ours = (np.atleast_1d(np.asarray(values, dtype=float)).ravel() for values in (printed, ours))
        assert printed.size
        assert printed.shape == ours.shape
        np.testing.assert_allclose(ours, printed, rtol=rel or 0, atol=abs or 0, equal_nan=False)
        begins = beginning(source, quantity, unit, memory)
        missing = page is not None and begins not in page
        assert not missing, f"make the check book again, as DEVELOPERS.md says: no row {begins}"
        row = book.row(request.path, begins, rel is not None, unit)
        row.add(printed, ours, abs if rel is None else rel)

    return hold


def pytest_collection_modifyitems(items):
    """Begin with the desk in a browser, which waits more than it computes: at the end nothing would run beside it."""
    items.sort(key=lambda item: item.path.stem != "test_review_browser")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Keep the tests of a file in one process, in order: what its fixtures make is then made once."""
    from xdist.scheduler import LoadFileScheduling

    config.option.loadscopereorder = False  # else the browser's few and long tests would come last, alone
    return LoadFileScheduling(config, log)

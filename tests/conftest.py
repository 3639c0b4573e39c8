"""Hypothesis for the whole suite: no deadlines, since a first call compiles.

Where CI is set the examples are the same in each run, so that it tells of the change and not of chance.
"""

from __future__ import annotations

import os
import tempfile

from hypothesis import settings

settings.register_profile("strongmotion", deadline=None, max_examples=50, derandomize="CI" in os.environ)
settings.load_profile("strongmotion")

# Layouts that whoever runs the tests keeps are not theirs to recognise.
os.environ["XDG_CONFIG_HOME"] = tempfile.mkdtemp(prefix="strongmotion-tests-")

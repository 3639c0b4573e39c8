"""Hypothesis for the whole suite: no deadlines, since a first call compiles."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("strongmotion", deadline=None, max_examples=50)
settings.load_profile("strongmotion")

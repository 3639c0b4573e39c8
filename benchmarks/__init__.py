"""Timings, to be read beside the machine they were taken on: ``python -m benchmarks spectra``."""

"""Every finding of the checks and of the chain: how severe, of which component, when, and with which numbers.

Each is provoked by a fault whose place and size are known. A finding without a case here fails the last test.
"""

from __future__ import annotations

import ast
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest

import strongmotion as sm
from strongmotion import Component, Record, Settings
from strongmotion.checks import examine
from strongmotion.record import Finding

ROOT = Path(__file__).parents[1] / "strongmotion"
DT = 0.01
TIME = np.arange(6000) * DT
COUNT = 1e5
"""Counts per m/s²."""


def shaking(seed: int = 1, peak: float = 1.0) -> np.ndarray:
    """Return a minute of acceleration, m/s²: broadband from 20 to 30 s, small noise before and after."""
    rng = np.random.default_rng(seed)
    envelope = np.where((TIME > 20) & (TIME < 30), np.sin(np.pi * (TIME - 20) / 10) ** 2, 0.0)
    frequency = np.fft.rfftfreq(TIME.size, DT)
    gain = (frequency / 0.5) ** 4 / (1 + (frequency / 0.5) ** 4) / (1 + (frequency / 8.0) ** 4)
    motion = np.fft.irfft(np.fft.rfft(rng.normal(size=TIME.size) * envelope) * gain, TIME.size)
    return peak * motion / np.abs(motion).max() + rng.normal(0.0, 1e-3, TIME.size)


def fling(displacement: float) -> np.ndarray:
    """Return acceleration from 23 to 27 s that moves the ground for good; velocity is a pulse sin^4."""
    phase = (TIME - 23.0) / 4.0
    pulse = 32 * np.pi / 3 / 16 * np.sin(np.pi * phase) ** 3 * np.cos(np.pi * phase)
    return np.where((phase >= 0) & (phase <= 1), pulse, 0.0) * displacement


STEP = np.where(TIME > 26.0, 0.03, 0.0)
"""A step of the baseline, m/s²."""


def counted(acceleration: np.ndarray, name: str = "H1", azimuth: float | None = None) -> Component:
    return Component(name, np.round(COUNT * acceleration).astype(int), DT, "counts", COUNT, azimuth=azimuth)


def spoiled(fault: Callable[[np.ndarray], None], acceleration: np.ndarray | None = None) -> Component:
    """Return counts in which `fault` changed something."""
    samples = counted(shaking() if acceleration is None else acceleration).samples.copy()
    fault(samples)
    return Component("H1", samples, DT, "counts", COUNT)


def spike(samples: np.ndarray) -> None:
    samples[2400] += 90_000


def hold(samples: np.ndarray) -> None:
    samples[2500:2530] = samples[2500]


def fill(samples: np.ndarray) -> None:
    samples[2500:2530] = np.round(np.linspace(samples[2500], samples[2530], 30, endpoint=False)).astype(int)


def write_again(samples: np.ndarray) -> None:
    samples[2430:2460] = samples[2400:2430]


def drop(samples: np.ndarray) -> None:
    samples[2500:-30] = samples[2530:].copy()


def amplify(samples: np.ndarray) -> None:
    samples[2500:] *= 2


def clip(samples: np.ndarray) -> None:
    np.clip(samples, -50_000, 50_000, out=samples)


def clear(samples: np.ndarray) -> None:
    samples[:] = 3


def hum(hertz: float) -> Callable[[np.ndarray], None]:
    def fault(samples: np.ndarray) -> None:
        samples += np.round(2e3 * np.cos(2 * np.pi * hertz * TIME)).astype(int)

    return fault


def with_p_on_h2() -> tuple[Component, ...]:
    """Return components of which the second bears the name of a horizontal, and P alone."""
    rng = np.random.default_rng(8)
    after_p, after_s = np.clip(TIME - 20, 0, None), np.clip(TIME - 25, 0, None)
    p = 0.03 * np.sin(2 * np.pi * 6 * after_p) * np.exp(-after_p)
    s = 0.3 * np.sin(2 * np.pi * 2 * after_s) * np.exp(-0.3 * after_s)
    parts = {"H1": s, "H2": p + 0.2 * s, "V": s}
    return tuple(counted(part + rng.normal(0, 3e-4, TIME.size), name) for name, part in parts.items())


def hour(name: str, seed: int) -> Component:
    """Return 20 minutes of noise with the same shaking at 220 and at 820 s."""
    long = np.random.default_rng(seed).normal(0, 1e-3, 120_000)
    for at in (20_000, 80_000):
        long[at : at + TIME.size] += shaking(seed)
    return counted(long, name)


def at_rest_after_two_integrations() -> np.ndarray:
    return np.diff(np.hanning(6001) ** 2 * np.sin(np.arange(6001) * 0.05), 2, append=0.0)


CLIPPED = np.flatnonzero(np.abs(counted(shaking()).samples) >= 50_000)
NO_BASELINE = {"shift": False, "mean": "pre-event", "velocity_trend": False}


@dataclass(frozen=True)
class Case:
    """A record, the settings to process it with, or none to check it only, and the finding that must come of it."""

    severity: str
    components: tuple[Component, ...]
    settings: dict[str, object] | None = None
    component: str = "H1"
    span: tuple[float, float] | None = None
    values: dict[str, float] = field(default_factory=dict)
    near: float = 1e-9
    """Relative tolerance of the values; of the span it is 0.021 s, or what `within` says."""
    within: float = 0.021
    read: tuple[Finding, ...] = ()
    """Findings that the record brings from its file."""


DIVIDED = Finding(
    "response divided out", "note", "a response", "nothing beyond", "none", "H1",
    values={"low_hz": 5.0, "high_hz": 40.0},
)  # fmt: skip

CASES = {
    "clipping": Case("unfit", (spoiled(clip),), span=(CLIPPED[0] * DT, CLIPPED[-1] * DT),
                     values={"samples": CLIPPED.size}),
    "spikes": Case("doubt", (spoiled(spike),), span=(24.0, 24.0), values={"spikes": 1, "spike_1_s": 24.0}),
    "stuck samples": Case("doubt", (spoiled(hold),), span=(25.0, 25.29), values={"samples": 30, "runs": 1}),
    "straight fill": Case("doubt", (spoiled(fill),), span=(25.0, 25.3),
                          values={"samples": 31, "fills": 1, "longest_s": 0.3}),
    "repeated block": Case("doubt", (spoiled(write_again),), span=(24.3, 24.59),
                           values={"samples": 30, "later_s": 0.3}),
    "broken continuity": Case("doubt", (spoiled(drop),), span=(25.0, 25.0)),
    "gain jump": Case("doubt", (spoiled(amplify),), span=(25.0, 25.0), values={"factor": 2.0}),
    "dead component": Case("unfit", (spoiled(clear),), span=(0.0, 59.99), values={"value": 3.0}),
    "tone": Case("note", (spoiled(hum(33.0)),), values={"frequency_hz": 33.0}, near=0.002),
    "alternating samples": Case("note", (spoiled(hum(50.0)),), values={"frequency_hz": 50.0}),
    "early stop": Case("doubt", (counted(shaking()[:2500]),), span=(23.99, 24.99),
                       values={"last_to_strongest_second": 1.0}, near=0.05),
    "too short": Case("unfit", (counted(shaking()[2400:2403]),), values={"samples": 3, "length_s": 0.03}),
    "second event": Case("note", (counted(shaking() + np.roll(shaking(), 2500)),), span=(46.0, 59.99),
                         values={"begins_s": 46.0}, near=0.02, within=1.0),
    "implausible amplitude": Case("unfit", (Component("H1", 300.0 * shaking(), DT),), values={"peak_m_s2": 300.0},
                                  near=0.005),
    "implausible interval": Case("doubt", (Component("H1", shaking(), 0.06),), values={"dt_s": 0.06}),
    "negative sensitivity": Case("note", (Component("H1", counted(shaking()).samples, DT, "counts", -COUNT),),
                                 values={"sensitivity_counts_per_m_s2": -COUNT}),
    "coarse quantisation": Case("doubt", (Component("H1", np.round(20 * shaking()).astype(int), DT, "counts", 20.0),),
                                values={"steps_in_peak": 20}),
    "looks processed": Case("note", (Component("H1", at_rest_after_two_integrations(), DT),)),
    "aliasing": Case("note", (counted(np.random.default_rng(4).normal(size=6000) * np.exp(-(((TIME - 25) / 3) ** 2))),),
                     span=(22.0, 28.0), values={"nyquist_hz": 50.0}, within=1.0),
    "duplicated components": Case("unfit", (counted(shaking()), counted(shaking(), "H2")), component=""),
    "reversed polarity": Case(
        "doubt", (counted(shaking(), "A", 30.0), counted(-shaking() + shaking(9, 0.01), "B", 30.0)), component="",
        values={"correlation": -1.0}, near=1e-3),
    "swapped components": Case("note", with_p_on_h2(), component="", span=(20.0, 20.5),
                               values={"share_H2": 1.0}, near=0.01),
    "fault beside": Case("note", (spoiled(hold), counted(shaking(2), "H2")), component="H2", span=(25.0, 25.29)),
    "late start": Case("doubt", (counted(shaking()[2300:]),), {}, component="", span=(0.0, 0.0),
                       values={"before_onset_s": 0.0}),
    "low signal": Case("unfit", (Component("H1", np.random.default_rng(9).normal(0, 1e-3, 6000), DT),),
                       {"onset": {"time": 20}}, values={"least_signal_to_noise": 3.0}),
    "outside response": Case("unfit", (counted(shaking()),), {"filter": {"high_cut": 2.0}}, read=(DIVIDED,),
                             values={"low_hz": 5.0, "high_cut_hz": 2.0}),
    "no common band": Case("doubt", (counted(shaking()), counted(shaking(2), "H2")),
                           {"filter": {"low_cut": {"H1": 0.05, "H2": 0.4}}}, component=""),
    "not at right angles": Case("doubt", (counted(shaking(), azimuth=0.0), counted(shaking(2), "H2", 45.0)), {},
                                component="", values={"azimuth_H1_degrees": 0.0, "azimuth_H2_degrees": 45.0}),
    "unsettled end": Case("doubt", (counted(shaking()[:2500]),),
                          {"filter": {"low_cut": 0, "high_cut": 0}, "baseline": NO_BASELINE}, span=(24.99, 24.99),
                          values={"end_velocity_to_peak": 1.0}),
    "displacement in doubt": Case("doubt", (counted(shaking() + STEP),),
                                  {"baseline": {"shift": False}, "filter": {"low_cut": 0.03}}, span=(0.0, 20.0),
                                  values={"displacement_before_onset_to_peak": 1.0}, near=0.01, within=0.2),
    "peak cut": Case("doubt", (counted(shaking()),), {"filter": {"low_cut": 0, "high_cut": 2.0}},
                     values={"high_cut_hz": 2.0}),
    "low-cut takes motion": Case("note", (counted(shaking()),), {"filter": {"low_cut": 1.0}},
                                 values={"low_cut_hz": 1.0}),
    "baseline shift": Case("doubt", (counted(shaking() + STEP),), {}, span=(26.0, 26.0),
                           values={"shift_m_s2": 0.03}, near=0.01, within=1.5),
    "permanent displacement": Case("note", (counted(shaking() + fling(1.0)),), {}, values={"displacement_m": 1.0},
                                   near=0.03),
    "permanent displacement not resolved": Case("note", (spoiled(hold, shaking() + fling(1.0)),), {}),
    "mended": Case("doubt", (spoiled(spike),), {"mend": {"spikes": True}}, span=(24.0, 24.0),
                   values={"samples": 1, "stretches": 1, "largest_change_m_s2": 0.9}, near=0.03),
    "several shocks": Case("note", (hour("H1", 1), hour("V", 3)), {}, component="", span=(120.0, 131.0),
                           values={"shock_1_peak_m_s2": 1.0, "shock_2_peak_m_s2": 1.0}, near=0.01, within=4.0),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_a_finding_says_how_severe_of_which_component_when_and_how_much(name):
    case = CASES[name]
    record = Record(case.components, findings=case.read)
    found = examine(record) if case.settings is None else sm.process(record, Settings.from_dict(case.settings)).findings
    same = [finding for finding in found if (finding.name, finding.component) == (name, case.component)]
    assert len(same) == 1, [f"{finding.name} of {finding.component!r}" for finding in found]
    (finding,) = same
    assert finding.severity == case.severity
    assert finding.span == (None if case.span is None else pytest.approx(case.span, abs=case.within))
    assert {key: finding.values[key] for key in case.values} == pytest.approx(case.values, rel=case.near)
    assert all(isinstance(value, float) and np.isfinite(value) for value in finding.values.values())
    assert 0.0 < finding.confidence <= 1.0
    assert all((finding.what, finding.effect, finding.remedy))


def test_bands_of_displacement_hold_what_is_true():
    case = CASES["permanent displacement"]
    found = sm.process(Record(case.components)).findings
    (its,) = (finding.values for finding in found if finding.name == "permanent displacement")
    assert its["low_m"] < 1.0 < its["high_m"]


@pytest.mark.parametrize("name", ["common window", "cut"])
def test_findings_of_cutting_say_when(name):
    record = Record((counted(shaking()), counted(shaking(2), "H2")))
    if name == "cut":
        (finding,) = (f for f in record.window(10.0, 50.0).findings if f.name == name)
        assert (finding.severity, finding.component) == ("note", "")
        assert finding.span == pytest.approx((0.0, 40.0), abs=0.011)
    else:
        late = Component("H2", record["H2"].samples, DT, "counts", COUNT, start=np.datetime64("2031-03-07T00:00:10"))
        early = Component("H1", record["H1"].samples, DT, "counts", COUNT, start=np.datetime64("2031-03-07T00:00:00"))
        joined = Record.from_components((early, late), common_window=True)
        assert [f.name for f in joined.findings] == [name, name]


def names_in(room: str) -> set[str]:
    """Return the names that findings bear where a room makes them."""
    names = set()
    for path in (ROOT / room).glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text())):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Finding":
                names.update(part.value for part in ast.walk(node.args[0]) if isinstance(part, ast.Constant))
    return names


def test_no_finding_is_without_a_case():
    made = names_in("checks") | names_in("chain")
    assert {"clipping", "peak cut"} <= made
    assert made == set(CASES)

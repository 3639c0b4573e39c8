"""The zero line of acceleration.

An accelerometer's zero is not known to the last digit; a constant error of 1 cm/s² grows to a metre of false
displacement in fourteen seconds. The mean of the motionless pre-event window is the best estimate of it; without
such a window that of the tail, or of the whole record, stands in (Boore, 2001; Boore & Bommer, 2005).

Strong shaking may move the zero: a sensor tilts, or its suspension or electronics do not return to where they were
(Iwan, Moser & Peng, 1985). After the shaking the ground is at rest, so velocity, integrated from rest, should be zero
there; a baseline shift leaves a straight line instead. Its slope is the shift, and where it crosses zero is the
middle of the time over which the baseline shifted (Boore, 2001). The line does not tell how gradually it
shifted: a shift b that grows over 2 w s displaces the ground by b w² / 6 less than a sudden one. So the permanent
displacement is known only to within that, for w from 0 to where the zero moves as gradually as the energy of the
shaking grows. The break times, middle ± w, are searched over that range, and the permanent displacement read from the
tail for all of it: a step is fitted to the displacement, as Wang et al. (2011) do.

What noise does to all this is known beforehand: slope, level and permanent displacement are weighted sums of the
acceleration, so the spectrum of the noise times that of the weights is their variance (random vibration; Crandall &
Mark, 1963; from memory). The noise is that of the pre-event window, taken to grow as 1/f below two cycles in it. A
line that such noise explains is no baseline shift; it is then taken as an error of acceleration that lasted from the
pre-event window to the tail, the likeliest way for a random walk of velocity to get there.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len, rfft, rfftfreq

from ..motion import Motion, Value
from ..settings import AUTO, BaselineSettings
from .integrate import integrate_twice
from .order import step
from .windows import LEAST_TAIL, Windows

BLOCK = 0.25
"""Length, s, over which acceleration is averaged before the effect of noise is computed: shorter noise has none."""

__all__ = ["Shift", "fit_shift", "remove_baseline", "remove_polynomial", "remove_shift"]

BASELINE = step("baseline", 30)
BASELINE_SHIFT = step("baseline shift", 60)

NORMAL_95 = 1.645
"""The normal distribution lies 95 % below this many standard deviations."""

SIGNIFICANT = 4.0
"""A baseline shift is believed where it exceeds this many of its standard deviations."""

BEYOND = 0.3
"""The zero may move still more gradually than the energy of the shaking grows, by this part of what that does to the
permanent displacement: a judgement, without a source."""


@dataclass(frozen=True)
class Shift:
    """How the zero of acceleration moved during the shaking, and where that leaves the ground.

    Parameters
    ----------
    size : float
        What the baseline shifted by, m/s².
    middle : float
        Middle of the time over which it moved, s after the first sample.
    longest : float
        Largest half-length w of that time, s, that the strong shaking allows.
    transient : float
        Mean error of acceleration that came and went, m/s²: what remains where no single shift explains the velocity
        at the end.
    transient_span : tuple of float
        Begin and end of that, s: the strong shaking, or where noise explains it all the time between quiet windows.
    significant : bool
        The velocity at the end cannot be noise.
    offset : float
        Permanent displacement if the shift was sudden, m.
    spread : float
        What noise and coda leave unknown of it, m.
    """

    size: float
    middle: float
    longest: float
    transient: float
    transient_span: tuple[float, float]
    significant: bool
    offset: float
    spread: float

    @property
    def interval(self) -> tuple[float, float]:
        """The permanent displacement, m: over noise, from 5 to 95 %, and any half-length from 0 to the longest."""
        ends = (self.offset, self.offset + self._gradual)
        return min(ends) - self.spread, max(ends) + self.spread

    @property
    def _gradual(self) -> float:
        """What the permanent displacement changes by, m, from a sudden shift to the most gradual one."""
        return -self.size * self.longest**2 / 6.0

    @property
    def returns(self) -> bool:
        """Tell whether the ground may have returned to where it was, with some half-length."""
        low, high = self.interval
        reach = BEYOND * abs(self._gradual)  # the longest is itself only an estimate
        return low - reach <= 0.0 <= high + reach

    @property
    def half_length(self) -> float:
        """Half-length, s, to correct with: the one with which the ground returns, if it may; else the middle."""
        if self._gradual == 0.0:
            return 0.0
        part = np.clip(-self.offset / self._gradual, 0.0, 1.0 + BEYOND) if self.returns else 0.5
        return self.longest * float(np.sqrt(part))

    def open_error(self, n: int, dt: float) -> NDArray[np.float64]:
        """Return half the difference between the most and the least gradual zero line, m/s².

        What cannot be known of it: the one in their middle is that far from either.
        """
        return (self.zero_line(n, dt, self.longest) - self.zero_line(n, dt, 0.0)) / 2.0

    @property
    def least_offset(self) -> float:
        """The smallest permanent displacement, m, without its sign, inside the interval."""
        low, high = self.interval
        return 0.0 if low <= 0.0 <= high else min(abs(low), abs(high))

    def is_resolved(self, relative: float, absolute: float) -> bool:
        """Tell whether the permanent displacement is known to a part of itself or to a length, m."""
        low, high = self.interval
        return (high - low) / 2 <= max(absolute, relative * abs(high + low) / 2)

    def zero_line(self, n: int, dt: float, half_length: float) -> NDArray[np.float64]:
        """Return the error of acceleration over `n` samples, m/s², for a shift over `middle` ± `half_length`."""
        time = np.arange(n) * dt
        half_length = max(half_length, dt / 2)  # a sudden shift, to a part of a sample
        line = self.size * np.clip((time - self.middle + half_length) / (2 * half_length), 0.0, 1.0)
        line += self.transient * ((time >= self.transient_span[0]) & (time < self.transient_span[1]))
        return line


def fit_shift(acceleration: NDArray[np.float64], dt: float, windows: Windows) -> Shift | None:
    """Find from velocity after the shaking how the zero of acceleration moved.

    Parameters
    ----------
    acceleration : ndarray, shape (n,)
        m/s², its zero that of the pre-event window.
    dt : float
        Sampling interval, s.
    windows : Windows
        Pre-event window, strong shaking and tail.

    Returns
    -------
    Shift or None
        None without a pre-event window and a tail.
    """
    tail, strong, quiet = windows.tail, windows.strong, windows.pre_event
    if tail is None or quiet is None:
        return None
    n, begin, end = len(acceleration), strong[0] * dt, strong[1] * dt
    velocity, _ = integrate_twice(acceleration, dt)
    sums = _Sums(acceleration, dt, quiet.stop, tail.start)
    line = _line_at_rest(velocity, dt, tail.start, end, sums.deviation(sums.slope))
    if line.start > tail.start:
        sums = _Sums(acceleration, dt, quiet.stop, line.start)
    rest, size, at_end = line.start * dt, line.slope, line.level
    slope_error = float(np.hypot(line.slope_error, sums.deviation(sums.slope)))
    level_error = float(np.hypot(line.level_error, sums.deviation(sums.level + (end - rest) * sums.slope)))
    # A jump of velocity leaves a level line, whose slope is that of the noise.
    sloping = abs(size) * (n * dt - rest) > abs(at_end) / 2
    shifted = sloping and abs(size) > SIGNIFICANT * slope_error
    moved = bool(shifted or abs(at_end) > SIGNIFICANT * level_error)
    middle = end - at_end / size if size != 0 else np.inf
    middle_error = level_error / abs(size) if size != 0 else np.inf
    transient, transient_span, unknown = 0.0, (begin, end), 0.0
    if moved and shifted and windows.onset * dt - middle_error <= middle <= rest + middle_error:
        weights = sums.displaced - (rest - middle) * sums.level + (rest - middle) ** 2 / 2 * sums.slope
    else:
        # No shift at one time explains the line: what raised it came and went.
        if moved:
            middle = end
            unknown = abs(at_end) * (end - begin) / 2  # nobody knows when, in the strong shaking
        else:
            middle, transient_span = rest, (quiet.stop * dt, rest)
        at_middle = at_end + size * (middle - end)
        transient = at_middle / max(transient_span[1] - transient_span[0], dt)
        raised = sums.level - (rest - middle) * sums.slope
        weights = sums.displaced - (rest - sum(transient_span) / 2) * raised - (rest - middle) ** 2 / 2 * sums.slope
    shift = Shift(size, float(middle), 0.0, float(transient), transient_span, moved, 0.0, 0.0)
    _, displacement = integrate_twice(acceleration - shift.zero_line(n, dt, 0.0), dt)
    if transient == 0.0:
        shift = replace(shift, longest=_most_gradual(acceleration - shift.zero_line(n, dt, 0.0), dt, line.start))
    still = displacement[line.start :: 10]
    arm = rest - (middle if transient == 0.0 else sum(transient_span) / 2)
    swings = np.ptp([np.median(part) for part in np.array_split(still, 3)]) / 2
    coda = NORMAL_95 * line.level_error * arm
    spread = unknown + float(np.linalg.norm((NORMAL_95 * sums.deviation(weights), coda, swings)))
    return replace(shift, offset=float(np.median(still)), spread=spread)


class _Sums:
    """What is read from the tail, as weighted sums of acceleration averaged over blocks, and what noise does to them.

    Parameters
    ----------
    acceleration : ndarray, shape (n,)
        m/s², its zero that of the quiet window.
    dt : float
        Sampling interval, s.
    quiet, rest : int
        Samples from the first that are noise; sample from which the ground is at rest.

    Attributes
    ----------
    displaced, level, slope : ndarray, shape (m,)
        Weights of displacement, and of the level and slope of a straight line through velocity, at rest.
    """

    def __init__(self, acceleration: NDArray[np.float64], dt: float, quiet: int, rest: int) -> None:
        block = max(1, round(BLOCK / dt))
        count, self._step = len(acceleration) // block, block * dt
        means = acceleration[: count * block].reshape(count, block).mean(axis=1)
        self._time = (np.arange(count) + 0.5) * self._step
        self._quiet = slice(0, max(quiet // block, 1))
        self._rest = slice(min(rest // block, count - 2), count)
        at_rest = self._time[self._rest]
        away = at_rest - at_rest.mean()
        slope = away / (away @ away)
        self.slope = self._of_velocity(slope)
        self.level = self._of_velocity(1.0 / len(away) + slope * (rest * dt - at_rest.mean()))
        self.displaced = self._from_zero(np.maximum(rest * dt - self._time, 0.0) * self._step)
        noise = means[self._quiet]
        self._density = 2.0 * self._step * float(np.var(noise - _straight(noise))) if len(noise) > 2 else 0.0
        self._grows_below = 2.0 / max(quiet * dt, self._step)

    def _of_velocity(self, weights: NDArray[np.float64]) -> NDArray[np.float64]:
        """Turn weights of velocity at rest into those of acceleration."""
        whole = np.zeros_like(self._time)
        whole[self._rest] = weights
        return self._from_zero(self._step * (np.cumsum(whole[::-1])[::-1] - whole / 2))

    def _from_zero(self, weights: NDArray[np.float64]) -> NDArray[np.float64]:
        """Take the mean of the quiet window from what weights are applied to."""
        weights[self._quiet] -= weights.sum() / (self._quiet.stop - self._quiet.start)
        return weights

    def deviation(self, weights: NDArray[np.float64]) -> float:
        """Return the standard deviation that noise gives a weighted sum."""
        n = next_fast_len(8 * len(weights), real=True)
        frequency = rfftfreq(n, self._step)
        growth = np.maximum(1.0, self._grows_below / np.maximum(frequency, frequency[1]))
        growth[0] = 0.0
        return float(np.sqrt(self._density * frequency[1]) * np.linalg.norm(growth * rfft(weights, n)))


def _straight(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the straight line through evenly spaced values."""
    away = np.arange(len(values)) - (len(values) - 1) / 2
    return np.asarray(values.mean() + away * (away @ values) / (away @ away))


def _most_gradual(acceleration: NDArray[np.float64], dt: float, end: int) -> float:
    """Return the half-length, s, of a ramp that grows over as long a time as the energy of the shaking.

    A ramp over ± w has the standard deviation w / sqrt(3).
    """
    energy = acceleration[:end] ** 2
    total = float(energy.sum())
    if total == 0.0:
        return 0.0
    time = np.arange(end) * dt
    mean = float((time * energy).sum()) / total
    return float(np.sqrt(3.0 * max(float((time**2 * energy).sum()) / total - mean**2, 0.0)))


@dataclass(frozen=True)
class _Line:
    """A straight line through velocity at rest: slope, m/s², and level, m/s, at a given time, with their errors."""

    start: int
    slope: float
    level: float
    slope_error: float
    level_error: float


def _line_at_rest(velocity: NDArray[np.float64], dt: float, first: int, at: float, wander: float) -> _Line:
    """Fit a line to velocity from a sample of the tail on, and give its level at the time `at`, s.

    The coda has not died out at the beginning of the tail; a late start leaves little to fit, and far to go back over
    while the zero wanders, m/s². The start that leaves the least error of the level is taken.
    """
    block = max(1, round(0.1 / dt))
    count = (len(velocity) - first) // block
    means = velocity[first : first + count * block].reshape(count, block).mean(axis=1)
    time = (first + (np.arange(count) + 0.5) * block - 0.5) * dt
    best: _Line | None = None
    least = np.inf
    for start in range(0, max(1, count - round(LEAST_TAIL / (block * dt)) + 1), max(1, count // 16)):
        here, values = time[start:], means[start:]
        centre, span = here.mean(), here[-1] - here[0]
        away = here - centre
        level = values.mean()
        slope = float(away @ values / (away @ away))
        rest = values - level - slope * away
        independent = max(int(np.count_nonzero(np.diff(np.signbit(rest)))), 2)
        error = float(rest.std() / np.sqrt(independent))
        slope_error = error * np.sqrt(12.0) / span
        level_error = float(np.hypot(error, slope_error * (centre - at)))
        whole_error = float(np.hypot(level_error, wander * (here[0] - at)))
        if best is None or whole_error < least:
            least = whole_error
            best = _Line(first + start * block, slope, level + slope * (at - centre), slope_error, level_error)
    assert best is not None
    return best


def remove_shift(motion: Motion, shift: Shift) -> Motion:
    """Subtract a baseline shift, fitted by `fit_shift`, over its half-length.

    Parameters
    ----------
    motion : Motion
        Acceleration, m/s², its zero that of the pre-event window.
    shift : Shift

    Returns
    -------
    Motion
        Its history says how much, when, and what the permanent displacement may be.
    """
    low, high = shift.interval
    half = shift.half_length
    gradually = "suddenly" if half == 0 else "gradually"
    how = (
        "so that the ground returns to where it was" if half and shift.returns else "the simplest that the tail allows"
    )
    if half and not shift.returns:
        how = "the middle of what the strong shaking allows"
    return motion.after(
        BASELINE_SHIFT,
        f"Removed a baseline shift, fitted to velocity after the shaking, that came {gradually}: {how}",
        {
            "shift_m_s2": shift.size,
            "begins_s": shift.middle - half,
            "ends_s": shift.middle + half,
            "transient_m_s2": shift.transient,
            "permanent_displacement_low_m": low,
            "permanent_displacement_high_m": high,
        },
        acceleration=motion.acceleration - shift.zero_line(len(motion), motion.dt, half),
    )


def remove_polynomial(motion: Motion, windows: Windows, degree: int) -> Motion:
    """Subtract the derivative of a polynomial fitted to velocity from the onset on, zero there.

    The plain way of old, for teaching and comparison: it takes real long-period motion with the error, and what it
    leaves of a permanent displacement means nothing.
    """
    velocity, _ = integrate_twice(motion.acceleration, motion.dt)
    onset = windows.onset
    time = np.arange(len(motion) - onset) * motion.dt
    length = max(float(time[-1]), motion.dt)
    powers = (time[:, None] / length) ** np.arange(1, degree + 1)
    factors, *_ = np.linalg.lstsq(powers, velocity[onset:] - velocity[onset], rcond=None)
    slope = np.polynomial.polynomial.polyval(time / length, factors * np.arange(1, degree + 1)) / length
    corrected = motion.acceleration.copy()
    corrected[onset:] -= slope
    return motion.after(
        BASELINE_SHIFT,
        f"Removed the slope of a polynomial of degree {degree} fitted to velocity from the onset on",
        {f"velocity_{power}_m_s": float(factor) for power, factor in enumerate(factors, start=1)},
        acceleration=corrected,
    )


def remove_baseline(motion: Motion, windows: Windows, settings: BaselineSettings) -> Motion:
    """Subtract the zero line.

    Parameters
    ----------
    motion : Motion
        Acceleration, m/s², not padded.
    windows : Windows
        Where the pre-event window and the tail are.
    settings : BaselineSettings
        Which mean, and whether a trend in velocity is removed.

    Returns
    -------
    Motion
        Its history says which mean was taken, over what, and its value.
    """
    acceleration = motion.acceleration
    there = {"pre-event": windows.pre_event, "tail": windows.tail, "whole": slice(None)}
    usable = [kind for kind in there if there[kind] is not None]
    kind = settings.mean if settings.mean in (*usable, "none") else usable[0]
    window = there.get(kind)
    mean = 0.0 if window is None else float(acceleration[window].mean())
    what = "Removed no mean" if window is None else f"Removed the mean of the {kind} window"
    if settings.mean not in (AUTO, kind):
        what += f": there is no {settings.mean} window"
    corrected = acceleration - mean
    slope = 0.0
    if settings.velocity_trend:
        velocity, _ = integrate_twice(corrected, motion.dt)
        time = np.arange(len(velocity)) * motion.dt
        slope = float(np.polyfit(time, velocity, 1)[0])
        corrected -= slope
        what += " and the slope of the straight line through velocity"
    values: dict[str, Value] = {"mean_m_s2": mean, "velocity_slope_m_s2": slope, "window": kind}
    return motion.after(BASELINE, what, values, acceleration=corrected)

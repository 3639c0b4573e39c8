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

What noise does to all this is known beforehand (`tail`). A line that noise explains is no baseline shift; it is then
taken as an error of acceleration that lasted from the pre-event window to the tail, the likeliest way for a random walk
of velocity to get there. What else explains the line, and how far the displacement is known, is found by `rivals`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..motion import Motion, Value
from ..settings import AUTO, BaselineSettings
from .integrate import integrate_twice
from .order import step
from .tail import Tail
from .windows import Windows

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

    @property
    def displacement(self) -> float:
        """The permanent displacement, m, with the half-length that is corrected with."""
        part = (self.half_length / self.longest) ** 2 if self.longest > 0.0 else 0.0
        return self.offset + part * self._gradual

    def open_error(self, n: int, dt: float) -> NDArray[np.float64]:
        """Return half the difference between the most and the least gradual zero line, m/s².

        What cannot be known of it: the one in their middle is that far from either.
        """
        return (self.zero_line(n, dt, self.longest) - self.zero_line(n, dt, 0.0)) / 2.0

    def zero_line(self, n: int, dt: float, half_length: float) -> NDArray[np.float64]:
        """Return the error of acceleration over `n` samples, m/s², for a shift over `middle` ± `half_length`."""
        time = np.arange(n) * dt
        half_length = max(half_length, dt / 2)  # a sudden shift, to a part of a sample
        line = self.size * np.clip((time - self.middle + half_length) / (2 * half_length), 0.0, 1.0)
        line += self.transient * ((time >= self.transient_span[0]) & (time < self.transient_span[1]))
        return line


def fit_shift(acceleration: NDArray[np.float64], dt: float, windows: Windows, tail: Tail) -> Shift:
    """Find from velocity after the shaking how the zero of acceleration moved.

    Parameters
    ----------
    acceleration : ndarray, shape (n,)
        m/s², its zero that of the pre-event window.
    dt : float
        Sampling interval, s.
    windows : Windows
        Onset, pre-event window and strong shaking.
    tail : Tail
        What velocity at rest says of this acceleration.
    """
    sums, line, quiet = tail.sums, tail.line, windows.noise
    n, begin, end = len(acceleration), windows.strong[0] * dt, windows.strong[1] * dt
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
            middle, transient_span = rest, (quiet * dt, rest)
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

    Examples
    --------
    >>> from strongmotion import Settings, read
    >>> from strongmotion.chain import find_windows, to_acceleration
    >>> settings = Settings()
    >>> motions = [to_acceleration(one) for one in read("demo_records/quay.csv")]
    >>> windows, *_ = find_windows(motions, settings.onset)
    >>> flat = remove_baseline(motions[0], windows, settings.baseline)
    >>> bool(abs(flat.acceleration[:2000].mean()) < abs(motions[0].acceleration[:2000].mean()))
    True
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

"""Target spectra: design spectra of building codes, or a user's own, and how a record's spectrum compares with them.

A target is kept as points, joined by straight lines of log PSA over log period, so that branches in 1/T and 1/T² are
exact; the first stretch, where it begins at T = 0, is a straight line of PSA over period. The code shapes below are
exactly of that kind.

Parameters of a code spectrum (hazard, site, importance, national annex) are the user's to give. Which edition and which
amendments are in force only the local code says: these functions are for comparison, not for design.
"""

from __future__ import annotations

import os
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..foundation.arrays import above_zero, non_negative, positive, signal
from ..foundation.cautions import CAUTION
from ..foundation.errors import InputError, RecordError
from ..foundation.units import ACCELERATION, COUNTS, G, acceleration_unit, in_unit

__all__ = [
    "TargetSpectrum",
    "asce7_spectrum",
    "best_scale",
    "damping_factor",
    "ec8_elastic_spectrum",
    "ratio",
    "target_from_table",
]

Floats = NDArray[np.float64]

EC8_LAST_PERIOD = 4.0
"""Longest period of the Eurocode 8 elastic spectrum, s (EN 1998-1:2004, 3.2.2.2)."""


@dataclass(frozen=True, eq=False)
class TargetSpectrum:
    """A pseudo-acceleration spectrum to compare with.

    Which spectrum applies only the local code says; design use is for licensed engineers.

    Parameters
    ----------
    periods : array (p,)
        s, rising, the first 0 or more.
    psa : array (p,)
        Pseudo-acceleration at those periods, m/s², above 0.
    name : str
        What it is called in tables and figures.
    damping : float
        The damping it holds for, ratio to critical.
    spread : array (p,), optional
        Standard deviation of ln PSA that a suite is to have at those periods, as of a conditional spectrum.

    Raises
    ------
    InputError
        Fewer than two points, periods that do not rise, a spread of another length, or a number out of range.

    Examples
    --------
    >>> target = TargetSpectrum([0.0, 0.1, 0.5, 5.0], [4.0, 10.0, 10.0, 1.0], name="site")
    >>> target.at([0.05, 0.3, 1.0])
    array([ 7., 10.,  5.])
    """

    periods: Floats
    psa: Floats
    name: str = "target"
    damping: float = 0.05
    spread: Floats | None = None

    def __post_init__(self) -> None:
        periods, psa = non_negative("periods", self.periods).copy(), above_zero("psa", self.psa).copy()
        if periods.shape != psa.shape or periods.size < 2:
            raise InputError(f"expected two points or more, found {periods.size} periods and {psa.size} values of PSA")
        if (np.diff(periods) <= 0).any():
            index = int(np.flatnonzero(np.diff(periods) <= 0)[0]) + 1
            raise InputError(
                f"expected rising periods, found {periods[index]:g} s after {periods[index - 1]:g} s at index {index}",
                source="periods",
            )
        periods.flags.writeable = psa.flags.writeable = False
        object.__setattr__(self, "periods", periods)
        object.__setattr__(self, "psa", psa)
        object.__setattr__(self, "damping", float(non_negative("damping", [self.damping])[0]))
        if self.spread is not None:
            spread = non_negative("spread", self.spread).copy()
            if spread.shape != periods.shape:
                raise InputError(f"expected a spread a period, found {spread.size} for {periods.size}", source="spread")
            spread.flags.writeable = False
            object.__setattr__(self, "spread", spread)

    @property
    def caution(self) -> str:
        """The caution that goes with every number taken from it."""
        return f"{CAUTION} Check the target against the code in force."

    def at(self, periods: ArrayLike) -> Floats:
        """Return the target's PSA at any periods it covers.

        Parameters
        ----------
        periods : float or array (q,)
            s, none before the first or beyond the last of the target's own.

        Returns
        -------
        array (q,)
            m/s²; linear in log PSA over log period, and in PSA over period before the first point above T = 0.

        Raises
        ------
        InputError
            A period is not covered.
        """
        asked = non_negative("periods", periods)
        first, last = self.periods[[0, -1]]
        outside = (asked < first) | (asked > last)
        if outside.any():
            raise InputError(
                f"{self.name} covers {first:g} s to {last:g} s, not {asked[outside][0]:g} s",
                source="periods",
                remedy="Leave out the periods it does not cover",
            )
        start = int(first == 0)
        ramp = asked < self.periods[start]
        psa = np.empty_like(asked)
        psa[ramp] = np.interp(asked[ramp], self.periods[:2], self.psa[:2])
        psa[~ramp] = np.exp(
            np.interp(np.log(asked[~ramp]), np.log(self.periods[start:]), np.log(self.psa[start:]))
        )  # fmt: skip
        return psa

    def spread_at(self, periods: ArrayLike) -> Floats | None:
        """Return the wanted standard deviation of ln PSA at periods that the target covers; None where it has none.

        It is linear over log period between the target's points.
        """
        if self.spread is None:
            return None
        self.at(periods)
        asked = np.maximum(non_negative("periods", periods), 1e-9)
        return np.interp(np.log(asked), np.log(np.maximum(self.periods, 1e-9)), self.spread)

    def damped(self, damping: float) -> TargetSpectrum:
        """Return this spectrum of 5 % damping for another one, by the factor of EN 1998-1:2004.

        eta = sqrt(10/(5 + xi)), at least 0.55, with xi in per cent: expression (3.6). From the period of the largest
        PSA on ordinates take it whole; PSA at T = 0 does not depend on damping, and before that period the factor goes
        from 1 to eta in proportion to T. For the shape of EN 1998-1 that is its own spectrum. For comparison only:
        which factor holds for a spectrum of another source the code behind it says.

        Parameters
        ----------
        damping : float
            Ratio to critical.

        Returns
        -------
        TargetSpectrum
            Its name says what was done.

        Raises
        ------
        InputError
            It is not of 5 % damping, or `damping` is out of range.

        Examples
        --------
        >>> target = TargetSpectrum([0.0, 0.1, 0.5, 5.0], [4.0, 10.0, 10.0, 1.0], name="site")
        >>> target.damped(0.1).at([0.0, 0.3]).round(3)
        array([4.   , 8.165])
        """
        damping = float(non_negative("damping", [damping])[0])
        if not np.isclose(self.damping, 0.05):
            raise InputError(f"the factors are from 5 % damping, the target is of {100 * self.damping:g} %")
        eta = damping_factor(damping)
        rising = np.minimum(self.periods / self.periods[int(self.psa.argmax())], 1.0)
        return TargetSpectrum(
            self.periods,
            self.psa * (1.0 + (eta - 1.0) * rising),
            f"{self.name}, {100 * damping:g} % by EN 1998-1 (3.6)",
            damping,
            self.spread,
        )


def damping_factor(damping: float) -> float:
    """Return the factor from spectra of 5 % damping to another one, EN 1998-1:2004, expression (3.6).

    Parameters
    ----------
    damping : float
        Ratio to critical.

    Examples
    --------
    >>> round(damping_factor(0.02), 4), damping_factor(0.5)
    (1.1952, 0.55)
    """
    return float(max(np.sqrt(10 / (5 + 100 * float(non_negative("damping", [damping])[0]))), 0.55))


def target_from_table(path: str | os.PathLike[str], name: str | None = None, damping: float = 0.05) -> TargetSpectrum:
    """Read a target spectrum from a CSV file.

    The first row names the columns, ``period [s],psa [g]``, with any unit of acceleration, and where the target has a
    spread ``sigma [ln]`` as a third: the standard deviation of ln PSA. Every further row is a point. Lines that begin
    with ``#`` and empty ones do not count. Which spectrum applies only the local code says.

    Parameters
    ----------
    path : path
        The file, in UTF-8.
    name : str, optional
        What to call it; the file's name without its suffix if not given.
    damping : float
        The damping it holds for, ratio to critical.

    Returns
    -------
    TargetSpectrum

    Raises
    ------
    RecordError
        The file cannot be read, its first row is of another form, or a row is not two numbers in range.
    InputError
        The damping is out of range.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> path = Path(tempfile.mkdtemp()) / "site.csv"
    >>> with path.open("w") as file:
    ...     print("period [s],psa [g]", "0.1,1.0", "1.0,0.6", sep=chr(10), file=file)
    >>> target_from_table(path).at([1.0]) / 9.80665  # g
    array([0.6])
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise RecordError("no such file", source=str(path), remedy="Check its name and folder") from None
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or error
        raise RecordError(
            f"the file cannot be read: {reason}", source=str(path), remedy="Check that it is a CSV file"
        ) from None
    lines = [
        (number, line) for number, line in enumerate(text.splitlines(), 1) if line.strip() and not line.startswith("#")
    ]
    remedy = "Write period [s],psa [g] in the first row, and a period and its PSA in each further row"
    if not lines:
        raise RecordError("the file holds no row", source=str(path), remedy=remedy)
    (top, header), *rows = lines
    match = re.fullmatch(
        r"\s*period\s*\[s\]\s*,\s*psa\s*\[([^\],]+)\]\s*(,\s*sigma\s*\[ln\]\s*)?", header, re.IGNORECASE
    )
    wanted = 2 if match is None or match[2] is None else 3
    if not match:
        raise RecordError(
            f"expected the row period [s],psa [unit], found {header.strip()[:60]!r}",
            source=str(path), line=top, remedy=remedy,
        )  # fmt: skip
    try:
        unit = acceleration_unit(match[1])
        if unit == COUNTS:
            raise InputError("a spectrum cannot be in counts", remedy="Use m/s2, cm/s2 (gal) or g")
    except InputError as error:
        raise RecordError(error.what, source=str(path), line=top, remedy=error.remedy) from None
    points: list[list[float]] = []
    for number, line in rows:
        try:
            point = [float(cell) for cell in line.split(",")]
        except ValueError:
            point = []
        if len(point) != wanted or (wanted == 3 and not 0 <= point[2] < np.inf):
            raise RecordError(
                f"expected {'two numbers' if wanted == 2 else 'three numbers, the last 0 or more'}, found "
                f"{line.strip()[:60]!r}",
                source=str(path), line=number, remedy=remedy,
            )  # fmt: skip
        period, psa = point[:2]
        previous = points[-1][0] if points else -1.0
        if not (max(previous, 0.0) <= period < np.inf and period != previous and 0 < psa < np.inf):
            raise RecordError(
                f"expected a period of 0 or more, above the last one, and a PSA above 0, found {period:g} and {psa:g}",
                source=str(path), line=number,
            )  # fmt: skip
        points.append(point)
    if len(points) < 2:
        raise RecordError(f"expected two points or more, found {len(points)}", source=str(path), remedy=remedy)
    periods, values, *spread = np.array(points).T
    return TargetSpectrum(
        periods,
        values * ACCELERATION[unit],
        path.stem if name is None else name,
        damping,
        spread[0] if spread else None,
    )


def asce7_spectrum(s_ds: float, s_d1: float, t_l: float) -> TargetSpectrum:
    """Return the two-period design response spectrum of ASCE/SEI 7-16, section 11.4.6, 5 % damping.

    S_DS (0.4 + 0.6 T/T0) up to T0 = 0.2 S_D1/S_DS, S_DS up to TS = S_D1/S_DS, S_D1/T up to TL and S_D1 TL/T² beyond.
    For comparison only: where site-specific motions or a multi-period spectrum are required, this is not the design
    spectrum.

    Parameters
    ----------
    s_ds, s_d1 : float
        Design spectral acceleration parameters at short periods and at 1 s, in g.
    t_l : float
        Long-period transition period TL, s.

    Returns
    -------
    TargetSpectrum
        In m/s², up to 10 TL.

    Raises
    ------
    InputError
        A parameter is not above 0, or TL is not beyond TS.

    Examples
    --------
    >>> from strongmotion.foundation.units import G
    >>> (asce7_spectrum(1.0, 0.6, 8.0).at([0.0, 0.3, 1.0, 10.0]) / G).round(4)
    array([0.4  , 1.   , 0.6  , 0.048])
    """
    s_ds, s_d1, t_l = positive("s_ds", s_ds), positive("s_d1", s_d1), positive("t_l", t_l)
    t_s = s_d1 / s_ds
    if t_l <= t_s:
        raise InputError(f"expected TL beyond TS = S_D1/S_DS = {t_s:g} s, found {t_l:g} s", source="t_l")
    last = 10 * t_l
    psa = np.array([0.4 * s_ds, s_ds, s_ds, s_d1 / t_l, s_d1 * t_l / last**2])
    return TargetSpectrum(np.array([0.0, 0.2 * t_s, t_s, t_l, last]), psa * G, "ASCE/SEI 7-16, 11.4.6")


def ec8_elastic_spectrum(
    a_g: float, s: float, t_b: float, t_c: float, t_d: float, damping: float = 0.05
) -> TargetSpectrum:
    """Return the horizontal elastic response spectrum of EN 1998-1:2004, 3.2.2.2, expressions (3.2) to (3.5).

    a_g S [1 + T/TB (2.5 eta - 1)] up to TB, 2.5 a_g S eta up to TC, that times TC/T up to TD and TC TD/T² up to 4 s;
    the damping correction is eta = sqrt(10/(5 + xi)), at least 0.55, with xi in per cent. For comparison only: the
    values of the parameters are in the National Annex.

    Parameters
    ----------
    a_g : float
        Design ground acceleration on type A ground, m/s², importance factor included.
    s : float
        Soil factor S.
    t_b, t_c, t_d : float
        Corner periods TB < TC < TD < 4 s, s.
    damping : float
        Viscous damping, ratio to critical.

    Returns
    -------
    TargetSpectrum
        In m/s², up to 4 s.

    Raises
    ------
    InputError
        A parameter is not above 0, or the corner periods do not rise.

    Examples
    --------
    >>> ec8_elastic_spectrum(2.0, 1.2, 0.15, 0.5, 2.0).at([0.0, 0.3, 1.0, 4.0])
    array([2.4  , 6.   , 3.   , 0.375])
    """
    peak = positive("a_g", a_g) * positive("s", s)
    corners = [positive("t_b", t_b), positive("t_c", t_c), positive("t_d", t_d), EC8_LAST_PERIOD]
    if sorted(set(corners)) != corners:
        raise InputError(f"expected TB < TC < TD < 4 s, found {t_b:g}, {t_c:g} and {t_d:g} s", source="corner periods")
    damping = float(non_negative("damping", [damping])[0])
    plateau = 2.5 * peak * damping_factor(damping)
    psa = [peak, plateau, plateau, plateau * t_c / t_d, plateau * t_c * t_d / EC8_LAST_PERIOD**2]
    return TargetSpectrum(np.array([0.0, *corners]), np.array(psa), "EN 1998-1:2004, 3.2.2.2", damping)


def ratio(target: TargetSpectrum, periods: ArrayLike, psa: ArrayLike, *, unit: str) -> Floats:
    """Return a record's pseudo-acceleration over the target's.

    For comparison only; see `TargetSpectrum.caution`.

    Parameters
    ----------
    target : TargetSpectrum
        Of the damping of `psa`.
    periods : array (p,)
        s, all covered by the target.
    psa : array (p,)
        In `unit`.
    unit : {"m/s2", "cm/s2", "g"}
        It has no default: a factor from PSA taken for another unit looks like any other.

    Returns
    -------
    array (p,)
        Above 1 where the record asks for more than the target.

    Raises
    ------
    InputError
        Shapes differ, a period is not covered, or a number is out of range.

    Examples
    --------
    >>> target = TargetSpectrum([0.1, 1.0], [5.0, 5.0])
    >>> ratio(target, [0.2, 0.5], [10.0, 4.0], unit="m/s2")
    array([2. , 0.8])
    """
    periods, psa = non_negative("periods", periods), non_negative("psa", psa)
    if periods.shape != psa.shape:
        raise InputError(f"expected a PSA a period, found {psa.size} for {periods.size}", source="psa")
    return psa / (in_unit(unit) * target.at(periods))


def best_scale(
    target: TargetSpectrum, periods: ArrayLike, psa: ArrayLike, period_range: tuple[float, float], *, unit: str
) -> float:
    """Return the factor on a record that brings its spectrum closest to the target over a range of periods.

    Closest is the least mean squared difference of log PSA, so the factor is exp(mean(ln target - ln PSA)). Each
    period given within the range counts alike: periods spaced evenly in log period weigh every octave alike. Whether
    and how far a motion may be scaled only the local code says.

    Parameters
    ----------
    target : TargetSpectrum
        Of the damping of `psa`.
    periods : array (p,)
        s; those outside the range do not count.
    psa : array (p,)
        In `unit`, above 0 within the range.
    period_range : tuple of float
        First and last period of the range, s, both included.
    unit : {"m/s2", "cm/s2", "g"}
        It has no default: a factor from PSA taken for another unit looks like any other.

    Returns
    -------
    float

    Raises
    ------
    InputError
        No period lies in the range, one in it is not covered by the target, or an argument is out of range.

    Examples
    --------
    >>> target = TargetSpectrum([0.1, 1.0], [5.0, 5.0])
    >>> round(best_scale(target, [0.2, 0.5, 2.0], [2.0, 8.0, 1.0], (0.1, 1.0), unit="m/s2"), 4)
    1.25
    """
    periods, psa = non_negative("periods", periods), signal("psa", psa)
    if periods.shape != psa.shape:
        raise InputError(f"expected a PSA a period, found {psa.size} for {periods.size}", source="psa")
    first, last = (float(end) for end in period_range)
    inside = (periods >= first) & (periods <= last)
    if not inside.any():
        raise InputError(f"no period is in the range {first:g} s to {last:g} s", source="period_range")
    over = ratio(target, periods[inside], above_zero("psa", psa[inside]), unit=unit)
    return float(np.exp(-np.log(over).mean()))

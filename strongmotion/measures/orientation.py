"""Directions: turning horizontals, also towards an event, and the axes along which the ground moved most."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..foundation.arrays import signal
from ..foundation.errors import InputError

__all__ = ["PrincipalAxes", "principal_axes", "radial_transverse", "rotate"]


def rotate(
    h1: ArrayLike, h2: ArrayLike, azimuths: tuple[float, float], to: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Turn two horizontal components into an azimuth and the one 90 degrees clockwise of it.

    Parameters
    ----------
    h1, h2 : array (n,)
        Acceleration, velocity or displacement, any one unit.
    azimuths : (float, float)
        Where positive `h1` and `h2` point, degrees clockwise from north. They need not be at right angles.
    to : float
        The azimuth wanted, degrees.

    Returns
    -------
    along, across : array (n,)
        Motion towards `to` and towards `to` + 90.

    Raises
    ------
    InputError
        A component is empty, of the wrong shape or not finite; lengths differ; an azimuth is not finite; or the two
        are within 5 degrees of one line.

    Examples
    --------
    Motion to the north east, from a north and an east component.

    >>> along, across = rotate([1.0, 2.0], [1.0, 2.0], (0.0, 90.0), to=45.0)
    >>> along.round(6).tolist(), np.abs(across).round(6).tolist()
    ([1.414214, 2.828427], [0.0, 0.0])
    """
    pair = _equal(h1, h2)
    angles = np.deg2rad(signal("azimuths", [*azimuths, to]))
    north_east = np.array([np.cos(angles[:2]), np.sin(angles[:2])])  # a column a sensor
    if abs(np.linalg.det(north_east)) < np.sin(np.deg2rad(5.0)):
        raise InputError(
            f"components towards {azimuths[0]:g} and {azimuths[1]:g} degrees lie nearly on one line",
            source="azimuths",
            remedy="Check the orientations of the sensor",
        )
    # The sensor gives the projections of motion on its own directions.
    north, east = np.linalg.solve(north_east.T, pair)
    c, s = np.cos(angles[2]), np.sin(angles[2])
    return c * north + s * east, c * east - s * north


def radial_transverse(
    h1: ArrayLike, h2: ArrayLike, azimuths: tuple[float, float], back_azimuth: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Turn two horizontal components into radial and transverse motion.

    Parameters
    ----------
    h1, h2, azimuths
        As in `rotate`.
    back_azimuth : float
        From the station to the epicentre, degrees clockwise from north.

    Returns
    -------
    radial, transverse : array (n,)
        Motion away from the epicentre, and motion 90 degrees clockwise of that.

    Raises
    ------
    InputError
        As `rotate`.

    Examples
    --------
    An epicentre to the north: away from it is south.

    >>> radial, transverse = radial_transverse([1.0], [0.0], (0.0, 90.0), back_azimuth=0.0)
    >>> radial.round(6).tolist(), np.abs(transverse).round(6).tolist()
    ([-1.0], [0.0])
    """
    return rotate(h1, h2, azimuths, back_azimuth + 180.0)


@dataclass(frozen=True, eq=False)
class PrincipalAxes:
    """The axes along which the components of motion are uncorrelated.

    Parameters
    ----------
    mean_square : array (k,)
        Of the motion along each axis, greatest first: the unit of the motion, squared.
    axes : array (k, k)
        A row an axis: its direction cosines on the components as they were given, the largest of them positive.
    """

    mean_square: NDArray[np.float64]
    axes: NDArray[np.float64]

    def turned(self, *components: ArrayLike) -> NDArray[np.float64]:
        """Return the motion along the axes, shape (k, n)."""
        return self.axes @ _equal(*components)

    @property
    def rectilinearity(self) -> float:
        """1 for motion along one line, 0 for motion alike in all directions (Jurkevics, 1988).

        Of three components 1 - (l2 + l3) / (2 l1); of two 1 - l2 / l1. Not a number without motion.
        """
        first, *rest = self.mean_square.tolist()
        return 1.0 - sum(rest) / (len(rest) * first) if first > 0 else float("nan")

    @property
    def planarity(self) -> float:
        """1 for motion in one plane, 1 - 2 l3 / (l1 + l2) (Jurkevics, 1988); two components always have one."""
        if self.mean_square.size == 2:
            return 1.0
        first, second, third = self.mean_square.tolist()
        return 1.0 - 2.0 * third / (first + second) if first > 0 else float("nan")


def principal_axes(*components: ArrayLike) -> PrincipalAxes:
    """Find the principal axes of motion in two or three perpendicular components.

    They are those of the matrix of mean products of the components over the whole length; no mean is removed.

    Parameters
    ----------
    *components : array (n,)
        Acceleration in two or three directions at right angles, any one unit. Cut them to the window wanted.

    Returns
    -------
    PrincipalAxes

    Raises
    ------
    InputError
        There are not two or three components, one is empty, of the wrong shape or not finite, or lengths differ.

    References
    ----------
    Penzien, J. and Watabe, M. (1975). Characteristics of 3-dimensional earthquake ground motions. Earthquake
    Engineering and Structural Dynamics 3(4), 365-373.

    Jurkevics, A. (1988). Polarization analysis of three-component array data. Bulletin of the Seismological Society of
    America 78(5), 1725-1743. Both forms from memory.

    Examples
    --------
    >>> axes = principal_axes([3.0, -3.0], [4.0, -4.0])
    >>> axes.axes[0].round(6).tolist(), axes.mean_square.round(6).tolist(), round(axes.rectilinearity, 6)
    ([0.6, 0.8], [25.0, 0.0], 1.0)
    """
    if len(components) not in (2, 3):
        raise InputError(f"expected two or three components, found {len(components)}")
    together = _equal(*components)
    values, vectors = np.linalg.eigh(together @ together.T / together.shape[1])
    axes = vectors.T[::-1]
    leading = np.take_along_axis(axes, np.abs(axes).argmax(axis=1)[:, None], axis=1)
    return PrincipalAxes(np.maximum(values[::-1], 0.0), axes * np.where(leading < 0, -1.0, 1.0))


def _equal(*components: ArrayLike) -> NDArray[np.float64]:
    """Return components of one length as rows."""
    rows = [signal(f"component {number}", values) for number, values in enumerate(components, start=1)]
    if len({row.size for row in rows}) > 1:
        sizes = ", ".join(str(row.size) for row in rows)
        raise InputError(f"the components have {sizes} samples", remedy="Cut all to the samples they have in common")
    return np.stack(rows)

"""Distances and directions on the WGS 84 ellipsoid, by Karney's (2013) geodesics.

Karney, C. F. F. (2013). Algorithms for geodesics. Journal of Geodesy 87, 43-55.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from geographiclib.geodesic import Geodesic
from numpy.typing import NDArray

__all__ = ["Plane", "azimuthal_gap", "destination", "distance_and_azimuth", "middle"]

Floats = NDArray[np.float64]

_WGS84 = Geodesic.WGS84


def distance_and_azimuth(from_latitude: float, from_longitude: float, latitude: float, longitude: float) -> tuple:
    """Return the length of the geodesic, km, and its azimuth where it starts, degrees clockwise from north.

    Examples
    --------
    >>> distance, azimuth = distance_and_azimuth(0.0, 179.9, 0.0, -179.9)
    >>> round(distance, 3), azimuth
    (22.264, 90.0)
    """
    line = _WGS84.Inverse(from_latitude, from_longitude, latitude, longitude, Geodesic.DISTANCE | Geodesic.AZIMUTH)
    return line["s12"] / 1000.0, line["azi1"] % 360.0


def destination(latitude: float, longitude: float, azimuth: float, distance: float) -> tuple[float, float]:
    """Return the latitude and longitude `distance` km away along a geodesic; longitude within ±180 degrees."""
    line = _WGS84.Direct(latitude, longitude, azimuth, 1000.0 * distance, Geodesic.LATITUDE | Geodesic.LONGITUDE)
    return line["lat2"], line["lon2"]


def middle(latitudes: Sequence[float], longitudes: Sequence[float]) -> tuple[float, float]:
    """Return a point amid others; it does no harm that they lie on both sides of the antimeridian."""
    latitude, longitude = np.radians(latitudes), np.radians(longitudes)
    x = float(np.mean(np.cos(latitude) * np.cos(longitude)))
    y = float(np.mean(np.cos(latitude) * np.sin(longitude)))
    z = float(np.mean(np.sin(latitude)))
    return math.degrees(math.atan2(z, math.hypot(x, y))), math.degrees(math.atan2(y, x))


def azimuthal_gap(azimuths: Sequence[float]) -> float:
    """Return the widest angle, degrees, without a station, seen from the epicentre.

    Examples
    --------
    >>> azimuthal_gap([10.0, 80.0, 350.0])
    270.0
    """
    around = np.sort(np.asarray(azimuths, dtype=float) % 360.0)
    return float(np.diff(around, append=around[0] + 360.0).max())


@dataclass(frozen=True)
class Plane:
    """A map on which distance and direction from its centre are true (azimuthal equidistant).

    Coordinates are km east and km north of the centre. Distances between other points are true within a part in
    10 000 for 200 km about the centre.
    """

    latitude: float
    longitude: float

    def onto(self, latitudes: Sequence[float], longitudes: Sequence[float]) -> Floats:
        """Return km east and north, shape (n, 2)."""
        points = []
        for latitude, longitude in zip(latitudes, longitudes, strict=True):
            distance, azimuth = distance_and_azimuth(self.latitude, self.longitude, latitude, longitude)
            points.append((distance * math.sin(math.radians(azimuth)), distance * math.cos(math.radians(azimuth))))
        return np.array(points, dtype=float).reshape(-1, 2)

    def back(self, east: float, north: float) -> tuple[float, float]:
        """Return latitude and longitude, degrees."""
        azimuth = math.degrees(math.atan2(east, north))
        return destination(self.latitude, self.longitude, azimuth, math.hypot(east, north))

"""Choice of the channels to read from a file: by sensor, code, station and time.

The codes are those of FDSN source identifiers (https://docs.fdsn.org/projects/source-identifiers/): a channel is a
band, an instrument ("source") and a direction ("subsource"). The code says what the instrument measures; the unit of
the sensitivity in StationXML takes precedence.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import Literal, NamedTuple

from ..foundation.errors import InputError
from ..record import Finding

Sensor = Literal["accelerometer", "seismometer", "motion"]
"""Sensors to read: accelerometers, velocity sensors, or both."""

SENSORS: tuple[Sensor, ...] = ("accelerometer", "seismometer", "motion")

ACCELEROMETERS, SEISMOMETERS = ("N", "G"), ("H", "L", "P")
"""Instrument codes. G stands for gravimeters; before August 2000 it also stood for accelerometers."""

_OTHERS = {
    "A": "tilt", "B": "creep", "C": "calibration or clock", "D": "pressure", "E": "electronics",
    "F": "magnetic field", "I": "humidity", "J": "rotation", "K": "temperature", "M": "mass position",
    "O": "water current or state of health", "Q": "electric potential", "R": "rain", "S": "strain", "T": "tide",
    "U": "bolometer", "V": "volumetric strain", "W": "wind", "X": "derived", "Y": "unspecified", "Z": "beam",
}  # fmt: skip

MOST_NAMED = 8
"""Largest number of channels named in a message."""


class Codes(NamedTuple):
    """The codes of a channel."""

    network: str
    station: str
    location: str
    band: str
    instrument: str
    direction: str

    @property
    def code(self) -> str:
        """Band, instrument and direction, such as ``HNZ``."""
        return self.band + self.instrument + self.direction

    @property
    def name(self) -> str:
        """All codes, such as ``XX.QUAY.00.HNZ``."""
        return ".".join((self.network, self.station, self.location, self.code))


class Passed(NamedTuple):
    """A channel that was skipped, and what it measures."""

    channel: Codes
    measures: str


@dataclass(frozen=True)
class Choice:
    """The caller's choice among the channels of a file.

    Parameters
    ----------
    sensor : {"accelerometer", "seismometer", "motion"}
    channels, stations : tuple of str
        Patterns of channel and station codes: ``?`` stands for one character, ``*`` for any number. Empty chooses all.
    """

    sensor: Sensor = "accelerometer"
    channels: tuple[str, ...] = ()
    stations: tuple[str, ...] = ()

    def holds(self, channel: Codes) -> bool:
        """Whether a channel matches the patterns."""
        return _any_fits(self.channels, channel.code) and _any_fits(self.stations, channel.station)

    def wants(self, kind: str, code: str) -> bool:
        """Whether a sensor of this kind is read, by the choice of sensor or by a pattern such as ``HH?``."""
        spelled = any(len(one) > 1 and one[0] != "*" and one[1] == code[1:2] for one in self.channels)
        return self.sensor in (kind, "motion") or spelled

    def unwanted(self, channel: Codes, by_metadata: str = "") -> str:
        """Return the quantity or sensor of an unwanted channel; an empty string for a wanted one.

        `by_metadata` is the quantity in StationXML: ``acceleration``, ``velocity`` or empty.
        """
        code = channel.instrument
        kind = {"acceleration": "accelerometer", "velocity": "seismometer"}.get(by_metadata)
        if kind is None:
            kind = "accelerometer" if code in ACCELEROMETERS else "seismometer" if code in SEISMOMETERS else ""
        if not kind:
            return _OTHERS.get(code, "unknown")
        return "" if self.wants(kind, channel.code) else kind


ACCELERATION_ALONE = Choice()


def patterns(text: str) -> tuple[str, ...]:
    """Return the patterns of a list of channels such as ``"HN?,BN*"``.

    Raises
    ------
    InputError
        The list holds something other than codes and wildcards.
    """
    found = tuple(part.strip().upper() for part in text.split(",")) if text.strip() else ()
    for part in found:
        if not re.fullmatch(r"[A-Z0-9?*-]{1,20}", part):
            raise InputError(
                f"channel must be codes with the wildcards ? and *, found {part[:40]!r}",
                remedy='Write channel="HN?,BN*"',
            )
    return found


def _any_fits(wanted: Sequence[str], code: str) -> bool:
    return not wanted or any(fnmatchcase(code.upper(), pattern) for pattern in wanted)


def passed_over(passed: Iterable[Passed]) -> tuple[Finding, ...]:
    """Return the finding that names the skipped channels; empty if there are none."""
    passed = tuple(passed)
    if not passed:
        return ()
    return (
        Finding(
            "other channels", "note",
            f"{counted(passed)} skipped: {listed(passed)}",
            "They are not part of this record", remedy_of(passed),
            values={"channels": len(passed)},
        ),
    )  # fmt: skip


def counted(passed: Sequence[Passed]) -> str:
    """Return the number of channels as the beginning of a sentence."""
    return "1 channel of the file was" if len(passed) == 1 else f"{len(passed)} channels of the file were"


def listed(passed: Sequence[Passed]) -> str:
    """Return the names of the first channels, and what each measures."""
    words = [f"{ascii(one.channel.name)[1:-1][:40]} ({one.measures})" for one in passed[:MOST_NAMED]]
    more = len(passed) - len(words)
    return ", ".join(words) + (f" and {more} more" if more else "")


def remedy_of(passed: Sequence[Passed]) -> str:
    """Return how the motion sensors among the channels can be read."""
    kinds = {one.measures for one in passed}
    if "seismometer" in kinds:
        return 'To read seismometers, give their StationXML and sensor="seismometer" (--sensor seismometer)'
    if "accelerometer" in kinds:
        return 'To read accelerometers, give sensor="accelerometer" (--sensor accelerometer)'
    return "No action needed: they do not measure ground motion"

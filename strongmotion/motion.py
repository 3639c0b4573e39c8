"""Acceleration, velocity and displacement on one time base, and the history that made them.

A `Motion` is one component on its way through the chain. Steps never edit it; each returns a new one whose history
is one entry longer.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from .foundation.errors import InputError

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Entry", "History", "Motion", "Value"]

Value = str | int | float | bool | None
"""What a history may hold: anything JSON keeps exactly."""


@dataclass(frozen=True)
class Entry:
    """What one step did to one component.

    Parameters
    ----------
    step : str
        The step's name in the chain.
    component : str
        The component; empty where the step decided for the whole record.
    what : str
        What was done and why, in a sentence.
    values : dict
        The numbers of the decision, each key with its unit: ``{"low_cut_hz": 0.1}``.
    """

    step: str
    component: str
    what: str
    values: Mapping[str, Value] = field(default_factory=dict)


@dataclass(frozen=True)
class History:
    """The entries of all steps taken, in order.

    Examples
    --------
    >>> history = History().add(Entry("filter", "H1", "Kept the band", {"low_cut_hz": 0.1}))
    >>> [entry.step for entry in history], history[-1].values
    (['filter'], {'low_cut_hz': 0.1})
    """

    entries: tuple[Entry, ...] = ()

    def add(self, *entries: Entry) -> History:
        """Return a history with `entries` at its end."""
        return History(self.entries + entries)

    def __iter__(self) -> Iterator[Entry]:
        return iter(self.entries)

    def __len__(self) -> int:
        return len(self.entries)

    def __getitem__(self, at: int) -> Entry:
        return self.entries[at]

    def _repr_html_(self) -> str:
        return str(self.table().to_html(index=False))

    def table(self) -> pd.DataFrame:
        """Return a row a number: step, component, quantity, value, what."""
        import pandas as pd

        rows = [
            (entry.step, entry.component, key, value, entry.what)
            for entry in self.entries
            for key, value in (entry.values or {"": None}).items()
        ]
        return pd.DataFrame(rows, columns=["step", "component", "quantity", "value", "what"])


@dataclass(frozen=True, eq=False)
class Motion:
    """One component of motion.

    Parameters
    ----------
    component : str
        Its name.
    acceleration : ndarray, shape (n,)
        m/s².
    dt : float
        Sampling interval, s.
    velocity, displacement : ndarray, shape (n,), optional
        m/s and m; None until the motion is integrated.
    lead, trail : int
        Samples of pad before and after the record's own window. The pads belong to the motion: a filter's transients
        live there, and velocity and displacement start from rest at their beginning (Boore, 2005).
    history : History
        What was done so far.
    count : float
        Interval between the values that raw samples can take, m/s²; 0 where they can take any, or where that is not
        known.

    Examples
    --------
    >>> motion = Motion("H1", np.array([0.0, 1.0, 0.0]), 0.01)
    >>> len(motion), motion.velocity is None
    (3, True)
    """

    component: str
    acceleration: NDArray[np.float64]
    dt: float
    velocity: NDArray[np.float64] | None = None
    displacement: NDArray[np.float64] | None = None
    lead: int = 0
    trail: int = 0
    history: History = History()
    count: float = 0.0

    def __post_init__(self) -> None:
        n = len(self.acceleration)
        for name in ("velocity", "displacement"):
            array = getattr(self, name)
            if array is not None and array.shape != (n,):
                raise InputError(f"{name} has shape {array.shape}, acceleration ({n},)")
        if self.lead + self.trail >= n:
            raise InputError(f"pads of {self.lead} and {self.trail} samples leave nothing of {n}")

    def __len__(self) -> int:
        return len(self.acceleration)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Motion):
            return NotImplemented
        return (
            (self.component, self.dt, self.lead, self.trail, self.history)
            == (other.component, other.dt, other.lead, other.trail, other.history)
            and _same(self.acceleration, other.acceleration)
            and _same(self.velocity, other.velocity)
            and _same(self.displacement, other.displacement)
        )

    @property
    def time(self) -> NDArray[np.float64]:
        """Time of each sample, s; 0 is the record's first sample, so the lead pad is negative."""
        return (np.arange(len(self.acceleration)) - self.lead) * np.float64(self.dt)

    @property
    def window(self) -> slice:
        """The record's own samples, without the pads."""
        return slice(self.lead, len(self.acceleration) - self.trail)

    def unpadded(self) -> Motion:
        """Return the record's own window.

        Velocity and displacement are cut, not integrated afresh: they need not start at zero.
        """
        return replace(
            self,
            acceleration=self.acceleration[self.window],
            velocity=None if self.velocity is None else self.velocity[self.window],
            displacement=None if self.displacement is None else self.displacement[self.window],
            lead=0,
            trail=0,
        )

    def after(self, step: str, what: str, values: Mapping[str, Value] | None = None, **changes: Any) -> Motion:
        """Return the motion as a step left it, with one more entry in its history.

        Parameters
        ----------
        step, what, values
            The entry; see `Entry`.
        **changes
            The fields the step changed.
        """
        entry = Entry(step, self.component, what, values or {})
        return replace(self, history=self.history.add(entry), **changes)


def _same(one: NDArray | None, two: NDArray | None) -> bool:
    if one is None or two is None:
        return one is two
    return one.shape == two.shape and one.tobytes() == two.tobytes()

"""The page of a suite: target, suite, mean and factors, and why each record was chosen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from markupsafe import Markup

from .. import __version__
from ..foundation.cautions import CAUTIONS
from ..foundation.files import write_whole
from ..foundation.units import acceleration_unit, in_unit, label
from ..suite import Comparison, Selection
from .page import Picture, templates
from .suite_figure import suite_figure
from .svg import Sheet
from .tables import SEVERITIES, band_words, number

if TYPE_CHECKING:
    import pandas as pd

    from ..spectra import TargetSpectrum
    from ..suite import SuiteSpectra

__all__ = ["suite_facts", "suite_page", "suite_rows", "write_suite_page"]


@dataclass(frozen=True)
class Row:
    """A record of the suite as a page says it: texts, and what they are sorted by."""

    record: str
    texts: tuple[str, ...]
    sorted_by: tuple[float | str, ...]
    usable: bool


def suite_page(
    suite: SuiteSpectra,
    target: TargetSpectrum,
    found: Comparison | Selection,
    unit: str = "g",
    catalogue: pd.DataFrame | None = None,
) -> str:
    """Return the page of a suite as HTML.

    Parameters
    ----------
    suite : SuiteSpectra
    target : TargetSpectrum
    found : Comparison or Selection
        Of this suite against this target.
    unit : {"m/s2", "cm/s2", "g"}
        Of acceleration.
    catalogue : pandas.DataFrame, optional
        From `Archive.catalogue`: it says the worst finding and the state of each record.

    Returns
    -------
    str
        How it was asked for, the spectra of all records times their factors with mean and target, a table of the
        records that sorts, with the reason for each that was chosen, those left out, the mean by period, the cautions.
        Each record is named at its line where they are not too many, and when its line or row is pointed at. It needs
        no other file and no network, and holds all but the sorting without script.

    Raises
    ------
    InputError
        `unit` is not one of acceleration.
    """
    unit = acceleration_unit(unit)
    columns, rows = suite_rows(found, catalogue)
    factors = dict(zip(found.table["record"], found.table["factor"], strict=True))
    sheet = Sheet(1, 1, 8.0, 4.8, margins=(0.62, 0.12, 0.12, 0.42))
    suite_figure(suite, target, factors, found.period_range, unit, axes=sheet.panels[0])
    caption = (
        "Thin: each record times its factor, where it is usable. Thick: their mean, with its limits of 5 and 95 %. "
        "Dashed: the target. Shaded: the range of periods."
    )
    what = f"{suite.component}, {100 * suite.damping:g} % damping"
    return templates().get_template("suite.html").render(
        title=f"{len(rows)} record{'s' if len(rows) != 1 else ''} against {target.name}",
        chosen=isinstance(found, Selection),
        facts=suite_facts(suite, target, found, unit),
        columns=columns,
        rows=rows,
        left_out=found.left_out,
        first=f"{found.period_range[0]:g}",
        last=f"{found.period_range[1]:g}",
        picture=Picture(Markup(sheet.svg("suite", f"Scaled spectra, mean and target. {caption}")), caption),
        by_period=_by_period(found, unit),
        unit=label(unit),
        what=what,
        cautions=[*CAUTIONS, target.caution],
        made_with=__version__,
    )  # fmt: skip


def write_suite_page(
    suite: SuiteSpectra,
    target: TargetSpectrum,
    found: Comparison | Selection,
    path: str | Path,
    unit: str = "g",
    catalogue: pd.DataFrame | None = None,
) -> Path:
    """Write the page of a suite, whole or not at all; see `suite_page`.

    Raises
    ------
    ArchiveError
        The file cannot be written.
    InputError
        `unit` is not one of acceleration.
    """
    path = Path(path)
    write_whole(path, suite_page(suite, target, found, unit, catalogue).encode(), replace=True)
    return path


def suite_facts(
    suite: SuiteSpectra, target: TargetSpectrum, found: Comparison | Selection, unit: str
) -> list[tuple[str, str]]:
    """Return what was asked and what came of the suite as a whole, each with its name."""
    ratio = found.mean / found.target
    low, high, top = int(ratio.argmin()), int(ratio.argmax()), int(found.mean.argmax())
    mean, least, most = (float(its[top]) * in_unit(unit) for its in (found.mean, found.mean_low, found.mean_high))
    facts = [
        ("Target", target.name),
        ("Spectra", f"PSA of {suite.component}, {100 * suite.damping:g} % damping"),
        ("Periods", f"{found.period_range[0]:g} to {found.period_range[1]:g} s"),
        (
            "Mean to target",
            f"{ratio[low]:.2f} at {found.periods[low]:g} s to {ratio[high]:.2f} at {found.periods[high]:g} s",
        ),
        (
            "Largest PSA of the mean",
            f"{number(mean)} {label(unit)} at {found.periods[top]:g} s"
            + (f", 5 to 95 %: {band_words(mean, least, most)}" if np.isfinite(found.mean_low[top]) else ""),
        ),
    ]
    if np.isfinite(found.spread).any():
        wanted = target.spread_at(found.periods)
        asked = "" if wanted is None else f"; that of the target {wanted.min():.2f} to {wanted.max():.2f}"
        facts.append(("Spread of ln PSA", f"{np.nanmin(found.spread):.2f} to {np.nanmax(found.spread):.2f}{asked}"))
    if isinstance(found, Selection):
        rules = found.rules
        capped = [
            f"at most {most} of one {what}"
            for most, what in ((rules.per_event, "earthquake"), (rules.per_station, "station"))
            if most
        ]
        facts += [
            (
                "Rules",
                f"factors from {rules.factors[0]:g} to {rules.factors[1]:g}; the mean of ln PSA within "
                f"{rules.tolerance:g} of the target, and at most {100 * rules.below:g} % below it"
                + (f"; its spread within {100 * rules.spread:g} % of the target's" if target.spread is not None else "")
                + "".join(f"; {one}" for one in capped),
            ),
            (
                "Choice",
                f"of {found.considered} usable records; their shape misfits sum to {found.cost:.4g}, at most "
                f"{100 * found.gap:.1f} % above the smallest possible",
            ),
        ]
    return facts


def suite_rows(
    found: Comparison | Selection, catalogue: pd.DataFrame | None = None
) -> tuple[list[tuple[str, str]], list[Row]]:
    """Return the columns of the table, each with its kind, and a row a record."""
    misfit = ("shape_misfit", "Shape misfit") if isinstance(found, Selection) else ("misfit", "Misfit of ln PSA")
    columns = [
        ("Record", "record"), ("Earthquake", "text"), ("Station", "text"), ("Factor", "number"), (misfit[1], "number"),
        ("Lowest to target", "number"),
    ]  # fmt: skip
    known: Mapping[str, Any] = {}
    if catalogue is not None:
        known = catalogue.set_index("record").to_dict("index")
        columns = [("Worst finding", "severity"), *columns, ("State", "text")]
    if isinstance(found, Selection):
        columns.append(("Why", "words"))
    rows = []
    for row in found.table.to_dict("records"):
        band = [float(row["factor_low"]), float(row["factor_high"])]
        limits = f" ({band_words(row['factor'], *band)})" if np.isfinite(band).all() else ""
        usable = bool(row.get("usable", True))
        texts = [
            row["record"], row["event"] or "–", row["station"] or "–", f"{number(row['factor'])}{limits}",
            number(row[misfit[0]]), f"{row['lowest_ratio']:.2f} at {row['lowest_at_s']:g} s{'' if usable else ' †'}",
        ]  # fmt: skip
        keys: list[float | str] = [
            row["record"], row["event"], row["station"], float(row["factor"]), float(row[misfit[0]]),
            float(row["lowest_ratio"]),
        ]  # fmt: skip
        if catalogue is not None:
            its = known.get(row["record"], {})
            said = [str(its.get("worst_finding") or "none"), str(its.get("state") or "–")]
            texts = [said[0], *texts, said[1]]
            keys = [float(("none", *reversed(SEVERITIES)).index(said[0])), *keys, said[1]]
        if isinstance(found, Selection):
            texts.append(row["reason"])
            keys.append(row["reason"])
        rows.append(Row(row["record"], tuple(texts), tuple(keys), usable))
    return columns, rows


def _by_period(found: Comparison | Selection, unit: str) -> list[tuple[str, ...]]:
    """Return target, mean, its limits, ratio and spread at each period."""
    factor = in_unit(unit)
    return [
        (
            f"{period:g}", number(goal * factor), number(mean * factor),
            band_words(mean * factor, low * factor, high * factor) if np.isfinite(low) else "–",
            f"{mean / goal:.3f}", "–" if np.isnan(spread) else f"{spread:.3f}",
        )
        for period, goal, mean, low, high, spread in zip(
            found.periods, found.target, found.mean, found.mean_low, found.mean_high, found.spread, strict=True
        )
    ]  # fmt: skip

"""Names beside points and at the ends of lines: none on another, none outside, also where stations are many."""

from __future__ import annotations

import html
import itertools
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from strongmotion import Archive, Settings, process, read
from strongmotion.event import study_archive
from strongmotion.report import map_figure, section_figure, shaking_figure, write_event
from strongmotion.report.labels import quietest_corner, spread, write_names
from strongmotion.report.style import STYLES, quieten
from strongmotion.report.svg import Sheet

LOOK = STYLES["light"]
FOLDER = Path(__file__).parents[1] / "demo_records"


@given(st.lists(st.floats(0, 10), max_size=20), st.floats(0.01, 1))
def test_places_are_apart_in_order_and_inside(values, gap):
    places = spread(values, gap, 0.0, 10.0)
    kept = min(gap, 10.0 / (len(values) + 1))
    order = np.argsort(values, kind="stable")
    assert (np.diff(np.array(places)[order]) >= kept * (1 - 1e-9)).all()
    assert all(-1e-9 <= place <= 10.0 + 1e-9 for place in places)
    if len(values) > 1 and np.diff(np.sort(values)).min() > kept and min(values) > kept and max(values) < 10 - kept:
        np.testing.assert_allclose(places, values)


def drawn_texts(figure, monkeypatch):
    drawn, draw = [], Text.draw

    def noted(self, renderer, *rest):
        if self.get_visible() and self.get_text().strip():
            drawn.append((self.get_text(), Text.get_window_extent(self, renderer)))  # without the line to the point
        draw(self, renderer, *rest)

    with monkeypatch.context() as patched:
        patched.setattr(Text, "draw", noted)
        figure.draw(FigureCanvasAgg(figure).get_renderer())
    return drawn


def assert_apart(texts):
    for (one, first), (two, second) in itertools.combinations(texts, 2):
        across = min(first.x1, second.x1) - max(first.x0, second.x0)
        up = min(first.y1, second.y1) - max(first.y0, second.y0)
        # Boxes hold the room of descenders, so lines that are apart may meet by that.
        assert across < 1.0 or up < 4.0, (one, two, across, up)


@pytest.mark.parametrize("seed", range(3))
def test_names_of_a_crowd_are_apart(seed, monkeypatch):
    x, y = np.random.default_rng(seed).normal(0, 1, (2, 25)).tolist()
    names = [f"ST{k:02d}" for k in range(25)]
    figure = Figure((7.0, 7.0), layout="constrained")
    axes = figure.subplots()
    axes.plot(x, y, "^")
    left_out = write_names(axes, x, y, names, 8, LOOK)
    assert left_out == []
    texts = [(text, box) for text, box in drawn_texts(figure, monkeypatch) if text in names]
    assert sorted(text for text, _ in texts) == names
    assert_apart(texts)

    sheet = Sheet(1, 1, 5.0, 4.9)
    (panel,) = sheet.panels
    panel.plot(x, y, "o")
    quieten(panel, LOOK)
    again = write_names(panel, x, y, names, 8, LOOK)
    boxes = panel.taken
    assert len(boxes) + len(again) == 25
    assert len(again) <= 2
    for one, two in itertools.combinations(boxes, 2):
        assert not (one[0] < two[2] - 0.5 and two[0] < one[2] - 0.5 and one[1] < two[3] - 1 and two[1] < one[3] - 1)
    left, foot, right, head = panel.frame
    assert all(left <= box[0] and box[2] <= right and foot - 2 <= box[1] and box[3] <= head + 2 for box in boxes)


def test_a_legend_goes_where_nothing_lies():
    sheet = Sheet(1, 1, 5.0, 4.9)
    (panel,) = sheet.panels
    panel.set(xlim=(-1, 1), ylim=(-1, 1))
    for x, y, corner in ((-0.8, -0.8, "lower left"), (0.8, 0.8, "upper right")):
        assert quietest_corner(panel, [x], [y]) != corner
    assert quietest_corner(panel, [-0.8, 0.8, 0.8], [0.8, 0.8, -0.8]) == "lower left"


@pytest.fixture(scope="module")
def many(tmp_path_factory):
    """Return the event of the demo with 14 more stations about it, close to each other near the epicentre."""
    archive = Archive(tmp_path_factory.mktemp("labels") / "archive", create=True)
    for path in sorted([*FOLDER.glob("*.csv"), *FOLDER.glob("*.txt")]):
        archive.add(process(read(path), Settings.from_dict({"spectra": {"periods": [1.0]}})))
    event = study_archive(archive)
    rng, point = np.random.default_rng(1), event.location.point
    rows = [row for _, row in event.stations.iterrows()]
    readings = list(event.readings)
    for k in range(14):
        row = rows[k % 6].copy()
        readings.append(replace(next(one for one in readings if one.record == row["record"]), record=f"R{k}"))
        distance, azimuth = float(np.exp(rng.uniform(np.log(5), np.log(90)))), rng.uniform(0, 2 * np.pi)
        row["record"], row["station"], row["epicentral_distance_km"] = f"R{k}", f"ST{k:02d}", distance
        row["latitude_deg"] = point.latitude + distance * np.cos(azimuth) / 111.2
        row["longitude_deg"] = point.longitude + distance * np.sin(azimuth) / 111.2 / np.cos(np.radians(point.latitude))
        row["pga_m_s2"] = 10 / distance**1.3 * np.exp(rng.normal(0, 0.5))
        row["pgv_m_s"] = row["pga_m_s2"] / 12
        row["intensity"] = 8.0 + np.log(row["pgv_m_s"])
        rows.append(row)
    return replace(event, stations=pd.DataFrame(rows).reset_index(drop=True), readings=tuple(readings))


@pytest.mark.parametrize("draw", [map_figure, section_figure, shaking_figure])
def test_figures_of_an_event_are_legible_with_twenty_stations(draw, many, monkeypatch):
    figure = draw(many)
    # In the section the distance stands behind the name.
    texts = [(text.partition("  ")[0], box) for text, box in drawn_texts(figure, monkeypatch)]
    stations = set(many.stations["station"])
    shown = [text for text, _ in texts if text in stations]
    for name in stations - {"BELL"}:
        panels = 3 if draw is shaking_figure else 1
        assert shown.count(name) == panels, name
    assert_apart([(text, box) for text, box in texts if text in stations])
    assert all(figure.bbox.x0 <= box.x0 and box.x1 <= figure.bbox.x1 for text, box in texts if text in stations)


@pytest.mark.parametrize(("unit", "factor", "said"), [("g", 1 / 9.80665, "g"), ("cm/s2", 100.0, "cm/s²")])
def test_an_event_is_written_in_the_unit_asked(many, tmp_path, unit, factor, said):
    written = write_event(many, tmp_path, unit)
    assert written[-1].name == "event.html"
    column = f"pga_{unit.replace('/', '_')}"
    table = pd.read_csv(tmp_path / "stations.csv", comment="#")
    np.testing.assert_allclose(table[column], many.stations["pga_m_s2"] * factor, rtol=1e-5)
    assert "pga_m_s2" not in table
    assert shaking_figure(many, unit=unit).axes[0].get_ylabel().endswith(f", {said}")
    page = html.unescape(written[-1].read_text(encoding="utf-8"))
    assert f"PGA, {said}</th>" in page
    assert page.index("Stations, their distances") < page.index("Peaks against distance") < page.index("<h2>Stations")
    assert page.count("<img") == 3
    assert "img-src data:" in page
    assert "script-src 'none'" in page
    assert "<script" not in page
    nearest = many.stations.sort_values("epicentral_distance_km")["station"].iloc[0]
    assert page.index(f"<bdi>{nearest}</bdi>") < page.index("<bdi>HEATH</bdi>")

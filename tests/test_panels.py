"""Panels that write SVG: the same data, limits, labels and places as Matplotlib draws, in a small share of its time."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from strongmotion import Component, Record, Station, process
from strongmotion.report import FIGURES, draw
from strongmotion.report.style import STYLES, logarithmic, quieten
from strongmotion.report.svg import Sheet

PANELS = {"motion": 9, "raw": 3, "offset": 3, "particle": 3, "processing": 6, "rotation": 2}
SVG = "{http://www.w3.org/2000/svg}"
LOOK = STYLES["light"]


def places(path):
    """Return the points of a path: the first, and from it step by step."""
    begin, _, steps = path.partition("l")
    numbers = np.array([float(one) for one in re.findall(r"-?[\d.]+", steps)])
    return np.cumsum(np.vstack(([float(one) for one in begin.split()], numbers.reshape(-1, 2))), axis=0)


@pytest.fixture(scope="module")
def result():
    generator = np.random.default_rng(3)
    time = np.arange(6000) * 0.01
    pulse = np.where(time > 15, np.sin(7 * time) * np.exp(-0.3 * np.abs(time - 18)), 0.0)
    parts = [
        Component(name, k * pulse + generator.normal(0, 1e-3, 6000), 0.01)
        for k, name in enumerate(("H1", "H2", "V"), 1)
    ]
    return process(Record(tuple(parts), Station("QUAY", "XX")))


def sheet_of(name):
    count = PANELS.get(name, 1)
    columns = 3 if name in ("motion", "processing", "particle") else 1
    return Sheet(count // columns, columns, 8.0, 6.0, share=name != "particle")


@pytest.mark.parametrize("name", [entry.name for entry in FIGURES])
def test_panels_hold_what_axes_hold(result, name):
    sheet = sheet_of(name)
    drawn = draw(result, name)
    draw(result, name, axes=sheet.panels if len(sheet.panels) > 1 else sheet.panels[0])
    assert len(drawn.axes) == len(sheet.panels)
    for axes, panel in zip(drawn.axes, sheet.panels, strict=True):
        assert [line.get_label() for line in panel.lines if line.get_label()] == [
            line.get_label() for line in axes.lines if not line.get_label().startswith("_child")
        ]
        for line, drawn_line in zip(axes.lines, panel.lines, strict=True):
            np.testing.assert_array_equal(np.asarray(line.get_ydata(), float), drawn_line.y)
        assert panel.get_xlim() == pytest.approx(axes.get_xlim(), rel=0.2)
        if name != "processing":  # whose ratios share one scale in a figure, and without other keys on a page
            assert panel.get_ylim() == pytest.approx(axes.get_ylim(), rel=0.2)
        assert panel._labels == {"x": axes.get_xlabel(), "y": axes.get_ylabel(), "title": axes.get_title()}


@pytest.mark.parametrize("name", [entry.name for entry in FIGURES])
def test_what_is_written_is_xml_with_every_text(result, name):
    sheet = sheet_of(name)
    draw(result, name, axes=sheet.panels if len(sheet.panels) > 1 else sheet.panels[0])
    root = ElementTree.fromstring(sheet.svg("key", "A title & more"))
    texts = {text.text for text in root.iter(f"{SVG}text")}
    for panel in sheet.panels:
        assert {name for name in panel._labels.values() if name} <= texts
    assert root.find(f"{SVG}title").text == "A title & more"
    assert all(clip.get("id").startswith("key") for clip in root.iter(f"{SVG}clipPath"))


@pytest.mark.parametrize("scale", ["linear", "log"])
def test_lines_stand_where_matplotlib_puts_them(scale):
    x, y = np.array([1.0, 3.0, 10.0]), np.array([0.2, 5.0, 1.0])
    sheet = Sheet(1, 1, 5.0, 4.0)
    figure = Figure(figsize=(5.0, 4.0), dpi=72)
    (panel,) = sheet.panels
    left, top, width, height = panel._box
    axes = figure.add_axes((left / 360, 1 - (top + height) / 288, width / 360, height / 288))
    for target in (panel, axes):
        if scale == "log":
            logarithmic(target)
        target.plot(x, y, color="#123456", linewidth=1.25)
        target.set_xlim(0.5, 20.0)
        target.set_ylim(0.1, 10.0)
        quieten(target, LOOK, nbins=None)
    (path,) = re.findall(r'<path d="M([^"]*)" stroke="#123456" stroke-width="1.25"', sheet.svg("k", "t"))
    written = places(path)
    expected = axes.transData.transform(np.column_stack((x, y)))
    np.testing.assert_allclose(written[:, 0], expected[:, 0], atol=0.06)
    np.testing.assert_allclose(written[:, 1], 288 - expected[:, 1], atol=0.06)


def test_a_long_trace_is_thinned_and_keeps_its_peaks():
    n = 200_000
    values = np.random.default_rng(2).normal(size=n)
    values[123_456], values[77_777] = 30.0, -20.0
    sheet = Sheet(1, 1, 5.0, 4.0)
    (panel,) = sheet.panels
    panel.plot(np.arange(n), values, color="#123456")
    quieten(panel, LOOK)
    (path,) = re.findall(r'<path d="M([^"]*)" stroke="#123456"', sheet.svg("k", "t"))
    written = places(path)
    assert len(written) < 1300
    for at in (123_456, 77_777):
        x, y = panel._to_points(np.array([float(at)]), "x")[0], panel._to_points(values[at : at + 1], "y")[0]
        assert np.abs(written - [x, y]).sum(axis=1).min() < 0.3


def test_gaps_break_a_line_and_nothing_known_writes_nothing():
    sheet = Sheet(1, 1, 5.0, 4.0)
    (panel,) = sheet.panels
    panel.plot([0, 1, 2, 3, 4], [0.0, 1.0, np.nan, 1.0, 0.0], color="#123456")
    panel.plot([0, 1], [np.nan, np.nan], color="#654321")
    quieten(panel, LOOK)
    text = sheet.svg("k", "t")
    (path,) = re.findall(r'<path d="([^"]*)" stroke="#123456"', text)
    assert path.count("M") == 2
    assert "nan" not in text
    assert "#654321" not in text


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [(0, 80, ["0", "10"]), (-0.002, 0.002, ["−0.002", "−0.001"]), (0, 1, ["0.0", "0.2"]), (0, 2e7, ["0", "5e+06"])],
)
def test_numbers_on_an_axis_are_round_and_no_more_than_asked_for(low, high, expected):
    (panel,) = Sheet(1, 1, 5.0, 4.0).panels
    panel.set_xlim(low, high)
    places, numbers = panel._places("x")
    if high == 80:
        assert numbers[:2] == expected
    assert len(places) <= 10
    assert all(low - 1e-12 <= place <= high + 1e-12 for place in places)
    assert len(set(numbers)) == len(numbers)
    steps = np.diff(places)
    assert steps == pytest.approx([steps[0]] * len(steps))


def test_legend_names_lines_and_takes_those_of_matplotlib_too():
    sheet = Sheet(1, 1, 5.0, 4.0)
    (panel,) = sheet.panels
    panel.plot([0, 1], [0, 1], color="#123456", label="one & two")
    panel.plot([0, 1], [1, 0], color="#123456", label="_hidden")
    panel.legend(handles=[*panel.lines, Line2D([], [], color="#abcdef", alpha=0.4, label="three")], loc="lower left")
    quieten(panel, LOOK)
    text = sheet.svg("k", "t")
    assert "one &amp; two" in text
    assert "three" in text
    assert "_hidden" not in text
    assert 'stroke="#abcdef" stroke-width="1.5" stroke-opacity="0.4"' in text


def test_hostile_texts_are_escaped():
    sheet = Sheet(1, 1, 5.0, 4.0)
    (panel,) = sheet.panels
    hostile = '</svg><script>alert("x")</script>'
    panel.plot([0, 1], [0, 1], label=hostile)
    panel.legend()
    panel.text(0.5, 0.5, hostile)
    panel.set_title(hostile)
    panel.set_xlabel(hostile)
    quieten(panel, LOOK)
    text = sheet.svg("k", hostile)
    assert "<script" not in text
    ElementTree.fromstring(text)


def test_a_path_that_turns_back_is_thinned_along_its_way_and_keeps_its_ends():
    turns = np.linspace(0.0, 900.0, 150_000)
    x, y = np.cos(turns) * (1 + turns / 900), np.sin(1.1 * turns)
    x[70_000], y[90_000] = 9.0, -7.0
    sheet = Sheet(1, 1, 5.0, 4.0)
    (panel,) = sheet.panels
    panel.plot(x, y, color="#123456")
    quieten(panel, LOOK)
    (path,) = re.findall(r'<path d="M([^"]*)" stroke="#123456"', sheet.svg("k", "t"))
    written = places(path)
    drawn = np.column_stack((panel._to_points(x, "x"), panel._to_points(y, "y")))
    assert 1000 < len(written) < 8100
    for at in (0, 70_000, 90_000, len(x) - 1):
        assert np.abs(written - drawn[at]).sum(axis=1).min() < 0.2
    # Each point written is one of the path's own, to the tenth it is rounded to.
    for point in written[:: len(written) // 50]:
        assert np.abs(drawn - point).max(axis=1).min() < 0.06

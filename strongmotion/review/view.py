"""One record on the screen: traces, spectra, what can be dragged on them, and what moved.

`RecordView` draws a `Session`. Whatever is dragged or typed goes to `Session.change`; the answer is drawn at once,
what the version that was opened holds stays behind it in grey, and the whole job follows in a thread. Traces are
thinned to what the panels can show, with every peak kept, each time the view moves.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
from bokeh.document import Document
from bokeh.layouts import column, row
from bokeh.models import (
    BoxAnnotation,
    BoxZoomTool,
    Button,
    Checkbox,
    ColumnDataSource,
    DataTable,
    Div,
    GridBox,
    NumberFormatter,
    PanTool,
    Range1d,
    ResetTool,
    Select,
    Span,
    Spinner,
    TableColumn,
    WheelZoomTool,
)  # fmt: skip
from numpy.typing import NDArray

from ..chain import to_acceleration
from ..foundation.errors import StrongMotionError
from ..report import peaks_kept
from ..result import RANKED_SEVERITIES, Result
from ..settings import AUTO
from .desk import METHODS, Preview, Session, what_moved
from .look import Look, bare, fill, plain

__all__ = ["RecordView"]

EVERYTHING = "all quantities"
QUANTITIES = (("acceleration", "m/s²"), ("velocity", "m/s"), ("displacement", "m"))

BEYOND = 0.25
"""Part of the view that traces go on for on either side, so that panning finds them drawn."""

CALM = 600
"""Time without a change, ms, after which the whole job is done."""

Floats = NDArray[np.float64]


class RecordView:
    """The view of one record.

    Parameters
    ----------
    session : Session
    look : Look
    doc : Document
        The page it stands on.
    say : callable
        Called with each sentence for the person: ``say(text, alarm)``.
    """

    def __init__(self, session: Session, look: Look, doc: Document, say: Callable[[str, bool], None]) -> None:
        self.session, self.look, self.doc, self.say = session, look, doc, say
        self.names = session.opened.record.names
        self.component = self.names[0]
        self._wanted: dict[str, Any] = {}
        self._setting = self._scheduled = self._moving = False
        self._later: Any = None
        self._threads = ThreadPoolExecutor(1)
        self.span = Range1d(0.0, 1.0)
        self.pixels = 350
        self._build()
        self.load(session)

    def load(self, session: Session) -> None:
        """Put another record of the same components on the screen."""
        self.session = session
        self.result: Result | None = session.opened
        self.compared: Result | None = None
        self._wanted = {}
        self._shown: dict[str, float] = {}  # what the fields say, which is no wish of anybody's
        record = session.opened.record
        self.whole = (0.0, max(record.duration, record.dt))
        self._raw = {motion.component: motion for motion in map(to_acceleration, record)}
        self.span.update(start=self.whole[0], end=self.whole[1])
        self.span.reset_start, self.span.reset_end = self.whole
        self.signal.x_range.update(start=0.01, end=0.55 / record.dt)
        fill(self.model_table, {key: [] for key in self.models.data})
        self.show()
        self._plan()

    # What stands on the screen

    def _build(self) -> None:
        look = self.look
        self.traces: dict[tuple[str, str], dict[str, ColumnDataSource]] = {}
        self.onsets: list[Span] = []
        self.quiet: list[BoxAnnotation] = []
        self.tails: list[BoxAnnotation] = []
        self.kept: dict[str, BoxAnnotation] = {}
        self.panels = []
        for line, (quantity, unit) in enumerate(QUANTITIES):
            for place, name in enumerate(self.names):
                self.panels.append((self._trace(quantity, unit, name), line, place))
        for plot, _, place in self.panels:
            if place == 0:
                plot.on_change("inner_width", self._widened)
        self.grid = GridBox(sizing_mode="stretch_width", spacing=2)
        self.arrange(EVERYTHING)
        self._build_spectra()
        self._build_controls()
        self.findings = column(sizing_mode="stretch_width", spacing=2)
        self.notice = Div(
            visible=False, name="notice", sizing_mode="stretch_width", stylesheets=[look.sheet], css_classes=["notice"]
        )
        lower = GridBox(
            children=[(self.signal, 0, 0), (self.response, 0, 1), (self.particle, 0, 2)],
            sizing_mode="stretch_width", spacing=6,
        )  # fmt: skip
        self.middle = column(self.findings, self.notice, self.grid, lower, sizing_mode="stretch_width", spacing=4)

    def arrange(self, which: str) -> None:
        """Show the traces of all quantities, or those of one quantity, one below the other over the whole width."""
        lone = [line for line, (quantity, _) in enumerate(QUANTITIES) if quantity == which]
        for plot, line, place in self.panels:
            lowest = place == len(self.names) - 1 if lone else line == len(QUANTITIES) - 1
            plot.height = 145 + (23 if lowest else 0)
            plot.styles = {"height": f"calc(max(145px, 14vh) + {23 if lowest else 0}px)"}  # more on high screens
            plot.xaxis.axis_label = "s after the first sample" if lowest else None
            plot.xaxis.major_label_text_font_size = "11.5px" if lowest else "0px"
        self.grid.children = [(plot, place, 0) for plot, line, place in self.panels if [line] == lone] or self.panels

    def next_arrangement(self) -> None:
        """Go on to the next choice of traces."""
        choices = self.arranged.options
        self.arranged.value = choices[(choices.index(self.arranged.value) + 1) % len(choices)]

    def _figure(self, **options: Any) -> Any:
        return self.look.figure(tools=[], **options)

    def _trace(self, quantity: str, unit: str, name: str) -> Any:
        look, colour = self.look, self.look.style.colour(name, self.names.index(name))
        plot = self._figure(x_range=self.span, name=f"{quantity}-{name}")
        plot.title.text = f"{name}  {quantity}, {unit}"
        wheel = WheelZoomTool(dimensions="width")
        plot.add_tools(PanTool(dimensions="width"), wheel, BoxZoomTool(dimensions="width"), ResetTool())
        plot.toolbar.active_scroll = wheel
        sources = {kind: ColumnDataSource({"t": [], "y": []}) for kind in ("old", "raw", "new")}
        grey = look.style.faint
        plot.line("t", "y", source=sources["old"], line_color=grey, line_width=2, name="old")
        if quantity == "acceleration":
            plot.line("t", "y", source=sources["raw"], line_color=look.style.alarm, line_dash="dotted", name="raw")
        plot.line("t", "y", source=sources["new"], line_color=colour, line_width=1.1, name="new")
        self.traces[name, quantity] = sources
        tail = BoxAnnotation(fill_color=look.style.shade, fill_alpha=0.9, line_color=None, level="underlay", left=0,
                             right=0, editable=False)  # fmt: skip
        self.tails.append(tail)
        plot.add_layout(tail)
        if quantity == "displacement":
            box = BoxAnnotation(fill_color=colour, fill_alpha=0.12, line_color=colour, level="underlay", visible=False,
                                editable=False)  # fmt: skip
            self.kept[name] = box
            plot.add_layout(box)
        if quantity == "acceleration":
            window = BoxAnnotation(
                fill_color=look.chosen, fill_alpha=0.6, line_color=look.focus, left=0, right=0, editable=True,
                movable="none", resizable="right", use_handles=False, level="underlay",
            )  # fmt: skip
            window.on_change("right", functools.partial(self._dragged, "quiet"))
            onset = Span(location=0, dimension="height", line_color=look.focus, line_width=3, editable=True,
                         hover_line_width=6)  # fmt: skip
            onset.on_change("location", functools.partial(self._dragged, "onset"))
            self.quiet.append(window)
            self.onsets.append(onset)
            plot.add_layout(window)
            plot.add_layout(onset)
        return plot

    def _build_spectra(self) -> None:
        look, its = self.look, self.look.style
        self.signal = self._figure(
            height=280, x_axis_type="log", y_axis_type="log", name="signal", x_range=Range1d(0.01, 100.0)
        )
        self.signal.xaxis.axis_label = "frequency, Hz"
        self.signal_source = ColumnDataSource({"f": [], "signal": [], "noise": []})
        self.signal_line = self.signal.line("f", "signal", source=self.signal_source, line_width=1.6)
        self.signal.line("f", "noise", source=self.signal_source, line_color=its.faint, line_dash="dashed")
        self.cuts = {}
        for cut in ("low_cut", "high_cut"):
            span = Span(location=1, dimension="height", line_color=look.focus, line_width=3, editable=True,
                        hover_line_width=6, name=cut)  # fmt: skip
            span.on_change("location", functools.partial(self._dragged, cut))
            self.signal.add_layout(span)
            self.cuts[cut] = span
        self.response = self._figure(height=280, x_axis_type="log", y_axis_type="log", name="response")
        self.response.xaxis.axis_label = "period, s"
        self.usable = BoxAnnotation(fill_color=look.chosen, fill_alpha=0.5, line_color=None, level="underlay",
                                    editable=False)  # fmt: skip
        self.response.add_layout(self.usable)
        self.psa = {kind: ColumnDataSource({"T": [], "psa": []}) for kind in ("old", "new")}
        self.psa_band = ColumnDataSource({"T": [], "low": [], "high": []})
        self.response.varea("T", "low", "high", source=self.psa_band, fill_color=its.faint, fill_alpha=0.3)
        self.response.line("T", "psa", source=self.psa["old"], line_color=its.faint, line_width=2.6, line_alpha=0.75)
        self.psa_line = self.response.line("T", "psa", source=self.psa["new"], line_width=1.6, name="psa")
        self.particle = self._figure(height=280, match_aspect=True, name="particle")
        self.path = ColumnDataSource({"x": [], "y": []})
        self.particle.line("x", "y", source=self.path, line_color=its.ink)
        for plot in (self.signal, self.response, self.particle):
            wheel = WheelZoomTool()
            plot.add_tools(wheel, PanTool(), ResetTool())

    def _build_controls(self) -> None:
        sheets = [self.look.sheet]
        wide = {"sizing_mode": "stretch_width", "stylesheets": sheets}
        combined = [f"RotD{n:02d}" for n in (0, 50, 100)] if {"H1", "H2"} <= set(self.names) else []
        self.shown = Select(title="Spectra of", value=self.component, options=[*self.names, *combined], **wide)
        self.shown.on_change("value", lambda attr, old, new: self.choose(str(self.shown.value)))
        self.scope = Select(title="Corners dragged for", value="pair" if combined else "one", **wide,
                            options=[("one", "one component"), ("pair", "both horizontals"), ("all", "all components")]
                            )  # fmt: skip
        self.numbers = {
            "onset": Spinner(title="Onset, s", low=0, step=0.1, name="onset", **wide),
            "quiet": Spinner(title="Quiet until, s", low=0, step=0.1, **wide),
            "low_cut": Spinner(title="Low-cut, Hz (0: none)", low=0, step=0.01, **wide),
            "high_cut": Spinner(title="High-cut, Hz (0: none)", low=0, step=1, **wide),
        }
        for what, spinner in self.numbers.items():
            spinner.on_change("value", functools.partial(self._dragged, what))
        self.models = ColumnDataSource({name: [] for name in ("method", "low", "high", "says")})
        self.models.selected.on_change("indices", self._picked)
        table_sheets = [self.look.table_sheet]
        number = NumberFormatter(format="0.000", nan_format="–")
        self.method = Select(title="Baseline method", value=AUTO, options=list(METHODS), **wide)
        self.method.on_change("value", self._method)
        self.model_table = DataTable(
            source=self.models, index_position=None, height=104, row_height=24, sizing_mode="stretch_width",
            sortable=False, reorderable=False, stylesheets=table_sheets, fit_columns=True, name="models",
            columns=[TableColumn(field="method", title="baseline", width=105),
                     TableColumn(field="low", title="from, m", width=55, formatter=number),
                     TableColumn(field="high", title="to, m", width=55, formatter=number),
                     TableColumn(field="says", title="resolved", width=70)],
        )  # fmt: skip
        self.moved = ColumnDataSource({name: [] for name in ("quantity", "before", "after", "percent")})
        self.moved_table = DataTable(
            source=self.moved, index_position=None, height=272, row_height=24, sizing_mode="stretch_width",
            sortable=False, reorderable=False, stylesheets=table_sheets, fit_columns=True, name="moved",
            columns=[TableColumn(field="quantity", title="what", width=128),
                     TableColumn(field="before", title="before", width=58),
                     TableColumn(field="after", title="now", width=58),
                     TableColumn(field="percent", title="%", width=40)],
        )  # fmt: skip
        self.arranged = Select(title="Traces (m)", value=EVERYTHING, **wide,
                               options=[EVERYTHING, *(quantity for quantity, _ in QUANTITIES)])  # fmt: skip
        self.arranged.on_change("value", lambda attr, old, new: self.arrange(str(self.arranged.value)))
        self.raw = Checkbox(label="Raw samples, mean removed (w)", active=False, stylesheets=sheets)
        self.raw.on_change("active", lambda attr, old, new: self.draw_traces())
        self.back = Button(label="Back to the opened settings (z)", **wide)
        self.back.on_click(self.reset)
        self.heading = Div(text="<h2>What moved</h2>", stylesheets=sheets)
        self.controls = column(
            row(self.shown, self.scope, sizing_mode="stretch_width"),
            row(self.numbers["onset"], self.numbers["quiet"], sizing_mode="stretch_width"),
            row(self.numbers["low_cut"], self.numbers["high_cut"], sizing_mode="stretch_width"),
            self.method, self.model_table, self.arranged, self.raw, self.back, sizing_mode="stretch_width",
            spacing=3,
        )  # fmt: skip
        self.moves = column(self.heading, self.moved_table, sizing_mode="stretch_width", spacing=3)
        for end in ("start", "end"):
            self.span.on_change(end, self._move)

    # What a person does

    def _dragged(self, what: str, attr: str, old: Any, new: Any) -> None:
        if self._setting or new is None:
            return
        try:
            value = float(new)
        except (TypeError, ValueError):
            return
        if math.isfinite(value) and value != self._shown.get(what):
            self.want(what, value)

    def want(self, what: str, value: float | str) -> None:
        """Ask for a change; of many in a row only the last is computed."""
        self._wanted[what] = value
        if not self._scheduled:
            self._scheduled = True
            self.doc.add_next_tick_callback(self._apply)

    def targets(self) -> tuple[str, ...]:
        """Return the components whose corners are changed."""
        if self.scope.value == "all":
            return self.names
        if self.scope.value == "pair" and self.component in ("H1", "H2"):
            return tuple(name for name in self.names if name in ("H1", "H2"))
        return (self.component,)

    def _apply(self) -> None:
        self._scheduled = False
        wanted, self._wanted = self._wanted, {}
        now = self.session.now
        dt = self.session.opened.record.dt
        change: dict[str, Any] = {}
        onset = wanted.get("onset", now.windows.onset * dt)
        if "onset" in wanted:
            change["onset"] = min(max(onset, 0.0), self.whole[1] - 2 * dt)
        if "quiet" in wanted:
            change["margin"] = max(onset - wanted["quiet"], 0.0)
        for cut in ("low_cut", "high_cut"):
            if cut in wanted:
                highest = 0.98 * self.session.now.bands[self.component].nyquist
                change[cut] = dict.fromkeys(self.targets(), min(max(wanted[cut], 0.0), highest))
        if method := wanted.get("method"):
            change["method"] = method
        self.change(**change)

    def change(self, **change: Any) -> None:
        """Change settings, draw what they give, and have the whole job done when things are calm."""
        try:
            self.session.change(**change)
        except StrongMotionError as error:
            self.say(str(error), True)
            self.show()
            return
        self.say("", False)
        self._after_change()

    def _after_change(self) -> None:
        self.result = self.session.opened if not self.session.changed else None
        self.show()
        self._plan()

    def _plan(self) -> None:
        """Have the whole job done once nothing changes for a while."""
        if self._later is not None:
            self.doc.remove_timeout_callback(self._later)
        self._later = self.doc.add_timeout_callback(self._work, CALM)

    def reset(self) -> None:
        """Return to the settings of the opened version."""
        self.session.reset()
        self._after_change()

    def _work(self) -> None:
        self._later = None
        settings, session = self.session.settings, self.session

        def work() -> None:
            if settings != session.settings:  # another change came meanwhile
                return
            try:
                models = session.baselines()
                if settings != session.settings:
                    return
                result = session.full(settings) if session.changed else session.opened
            except StrongMotionError as error:
                self.doc.add_next_tick_callback(functools.partial(self.say, str(error), True))
                return
            self.doc.add_next_tick_callback(functools.partial(self._finished, settings, result, models))

        self._threads.submit(work)

    def _finished(self, settings: Any, result: Result, models: Any) -> None:
        if settings != self.session.settings:
            return
        self.result = result
        self._list_models(models)
        self._draw_response()
        self._list_findings()

    def choose(self, name: str) -> None:
        """Show the spectra of another component or combination."""
        if name in self.names:
            self.component = name
        self.shown.value = name
        self.show()
        self._plan()

    def _method(self, attr: str, old: Any, new: str) -> None:
        if not self._setting:
            self._wanted["method"] = new
            self.want("method", new)

    def _picked(self, attr: str, old: Any, new: list[int]) -> None:
        if new and not self._setting:
            method = self.models.data["method"][new[0]]
            if method in METHODS:
                self.method.value = method

    def next_method(self) -> None:
        """Choose the next baseline method."""
        self.method.value = METHODS[(METHODS.index(self.method.value) + 1) % len(METHODS)]

    def nudge(self, what: str, factor: float = 1.0, add: float = 0.0) -> None:
        """Move what can be dragged by a factor or a step."""
        value = self.numbers[what].value
        if what == "high_cut" and not value:
            value = self.session.now.bands[self.component].nyquist * 0.9
        if what == "low_cut" and not value:
            value = 0.02
        self.want(what, float(value or 0.0) * factor + add)

    def look_at(self, first: float, last: float) -> None:
        """Show a span of time, s."""
        first, last = max(first, self.whole[0] - 1), min(last, self.whole[1] + 1)
        if last - first > 4 * self.session.opened.record.dt:
            self.span.update(start=first, end=last)

    def zoom(self, factor: float, shift: float = 0.0) -> None:
        """Zoom about the middle, and move by a fraction of the view."""
        width = (self.span.end - self.span.start) * factor
        middle = (self.span.end + self.span.start) / 2 + shift * width
        self.look_at(middle - width / 2, middle + width / 2)

    def overlay(self, result: Result | None) -> None:
        """Lay another version behind the present one; None for the opened one."""
        self.compared = result
        self.show()

    def _move(self, attr: str, old: Any, new: Any) -> None:
        if not self._moving:
            self._moving = True
            self.doc.add_timeout_callback(self._moved, 40)

    def _widened(self, attr: str, old: Any, new: Any) -> None:
        if new and abs(new - self.pixels) > 50:
            self.pixels = int(new)
            self._move(attr, old, new)

    def _moved(self) -> None:
        self._moving = False
        self.draw_traces()

    # What is drawn

    def show(self) -> None:
        """Draw the present state of the session."""
        now = self.session.now
        dt = self.session.opened.record.dt
        self.doc.hold("combine")
        self._setting = True
        try:
            band = now.bands[self.component]
            onset = now.windows.onset * dt
            quiet = now.windows.noise * dt
            self._shown = {
                "onset": round(onset, 3), "quiet": round(quiet, 3),
                "low_cut": float(f"{band.low_cut:.4g}"), "high_cut": float(f"{band.high_cut:.4g}"),
            }  # fmt: skip
            for what, value in self._shown.items():
                _put(self.numbers[what], "value", value)
            _put(self.method, "value", self.session.settings.baseline.method)
            for span in self.onsets:
                _put(span, "location", onset)
            for box in self.quiet:
                _put(box, "right", quiet)
            tail = now.windows.quiet_from
            for box in self.tails:
                box.update(left=self.whole[1] if tail is None else tail * dt, right=self.whole[1])
            for name, box in self.kept.items():
                place = now.baseline[name].displacement
                box.visible = place is not None
                if place is not None:
                    start = self.whole[1] if tail is None else tail * dt
                    box.update(left=start, right=self.whole[1], bottom=float(place.low), top=float(place.high))
            self.draw_traces()
            self._draw_signal(now)
            self._draw_response()
            self._list_moves()
            self._list_findings()
            if not self.models.data["method"]:
                self._list_models({now.baseline[self.component].method: now.baseline})
        finally:
            self.doc.unhold()  # changes that were held call back here
            self._setting = False

    def behind(self) -> Any:
        """Return the motions that are drawn behind: of the version laid over, else of the opened one if it differs."""
        if self.compared is not None:
            return self.compared.motion
        return self.session.base.motion if self.session.changed else {}

    def draw_traces(self) -> None:
        """Draw what of the traces is in view."""
        now, behind = self.session.now, self.behind()
        for (name, quantity), sources in self.traces.items():
            pixels = self.pixels
            sources["new"].data = self._thinned(now.motion[name], quantity, pixels)
            old = self._thinned(behind[name], quantity, pixels) if name in behind else _nothing()
            if len(old["t"]) or len(sources["old"].data["t"]):
                sources["old"].data = old
            if quantity == "acceleration" and (self.raw.active or len(sources["raw"].data["t"])):
                raw = self._raw[name]
                values = raw.acceleration - raw.acceleration.mean()
                sources["raw"].data = self._cut(raw.time, values, pixels) if self.raw.active else _nothing()
        self._draw_path()

    def _thinned(self, motion: Any, quantity: str, pixels: int) -> dict[str, Floats]:
        part = motion.window
        time = np.arange(part.stop - part.start) * motion.dt
        return self._cut(time, getattr(motion, quantity)[part], pixels)

    def _cut(self, time: Floats, values: Floats, pixels: int) -> dict[str, Floats]:
        start, end = float(self.span.start), float(self.span.end)
        more = BEYOND * (end - start)
        first, last = np.searchsorted(time, (start - more, end + more))
        part = slice(max(int(first) - 1, 0), int(last) + 1)
        t, y = peaks_kept(time[part], values[part], int(pixels * (1 + 2 * BEYOND)))
        return {"t": t, "y": y}

    def _draw_path(self) -> None:
        now = self.session.now
        one, other = ("H1", "H2") if {"H1", "H2"} <= set(self.names) else (self.names[0], self.names[-1])
        part = now.motion[one].window
        first, last = np.searchsorted(
            np.arange(part.stop - part.start) * now.motion[one].dt, (float(self.span.start), float(self.span.end))
        )
        step = max((int(last) - int(first)) // 3000, 1)
        of = [np.asarray(now.motion[name].displacement)[part][first : last + 1 : step] for name in (one, other)]
        self.path.data = {"x": of[0], "y": of[1]}
        self.particle.title.text = "Particle path, m"
        self.particle.xaxis.axis_label, self.particle.yaxis.axis_label = one, other

    def _draw_signal(self, now: Preview) -> None:
        seen, band = now.compared[self.component], now.bands[self.component]
        noise = seen.noise if seen.noise is not None else np.full_like(seen.signal, np.nan)
        self.signal_source.data = {"f": seen.frequency, "signal": seen.signal, "noise": noise}
        self.signal.title.text = f"{self.component}  signal, noise; m/s"
        self.signal_line.glyph.line_color = self.look.style.colour(self.component, self.names.index(self.component))
        _put(self.cuts["low_cut"], "location", band.low_cut or 0.011)
        _put(self.cuts["high_cut"], "location", band.high_cut or band.nyquist)

    def _draw_response(self) -> None:
        name, now = str(self.shown.value), self.session.now
        kept = self.session.opened.spectra if self.compared is None else self.compared.spectra
        new = _spectrum(self.result, name) if self.result is not None else None
        waiting = ""
        if new is not None:
            _, psa, low, high = new
            self.psa["new"].data = {"T": new[0], "psa": psa}
            self.psa_band.data = {"T": new[0], "low": low, "high": high} if np.isfinite(low).all() else _no_band()
        elif name in now.psa:
            self.psa["new"].data = {"T": now.periods[1:], "psa": now.psa[name][1:]}
            self.psa_band.data = _no_band()
        else:
            waiting = "; computing"
        old = _spectrum(kept, name)
        differs = self.session.changed or self.compared is not None
        self.psa["old"].data = {"T": old[0], "psa": old[1]} if differs else {"T": [], "psa": []}
        band = now.bands.get(name, now.bands.get("horizontal", now.bands[self.component]))
        usable = band.longest_period > band.shortest_period
        longest = band.longest_period if np.isfinite(band.longest_period) and usable else None
        self.usable.update(left=max(band.shortest_period, 1e-3) if usable else None, right=longest, visible=usable)
        self.response.title.text = f"{name}  PSA, m/s²{'' if usable else ', none usable'}{waiting}"
        colour = self.look.style.colour(name) if name in self.names else self.look.style.ink
        self.psa_line.glyph.line_color = colour

    def _list_moves(self) -> None:
        moves = [m for m in what_moved(self.session.base, self.session.now) if m.component == self.component]
        rows = {
            "quantity": [f"{move.quantity}, {move.unit}" for move in moves],
            "before": [_number(move.before) for move in moves],
            "after": [_number(move.after) for move in moves],
            "percent": [f"{move.percent:+.1f}" if math.isfinite(move.percent) else "–" for move in moves],
        }
        fill(self.moved_table, rows)
        self.heading.text = f"<h2>What moved in {self.component}</h2>"

    def _list_models(self, models: Any) -> None:
        rows = []
        for method, by in models.items():
            its = by[self.component]
            place = its.displacement
            resolved = "–" if place is None else "yes" if place.resolved else "no"
            ends = (math.nan, math.nan) if place is None else (float(place.low), float(place.high))
            rows.append((method, *ends, resolved))
            if method == self.session.now.baseline[self.component].method:
                # Further models of the baseline, where the chain weighs some.
                for model in getattr(its, "models", ()):
                    low, high = (float(getattr(model, end, math.nan)) for end in ("low", "high"))
                    weight = getattr(model, "weight", math.nan)
                    rows.append((f"– {getattr(model, 'name', '')}", low, high, f"w {weight:.2f}"))
        self._setting, before = True, self._setting
        keys = ("method", "low", "high", "says")
        fill(self.model_table, {key: [line[i] for line in rows] for i, key in enumerate(keys)})
        self._setting = before

    def all_findings(self) -> list[Any]:
        """Return the findings of the present state, the most severe first."""
        found = (self.result or self.session.opened).findings
        return sorted(found, key=lambda finding: -RANKED_SEVERITIES.index(finding.severity))

    def _list_findings(self) -> None:
        found = self.all_findings()
        labels = [
            " · ".join(bare(part, 60) for part in (f.severity, f.name, f.component, f.where) if part) for f in found
        ]
        if [getattr(button, "label", None) for button in self._buttons()] == labels:
            return
        buttons = []
        for i, label in enumerate(labels):
            button = Button(label=label, stylesheets=[self.look.sheet], css_classes=["finding"])
            button.on_click(functools.partial(self.lead_to, i))
            buttons.append(button)
        if not buttons:
            self.findings.children = [Div(text="No problems found.", stylesheets=[self.look.sheet])]
        else:
            self.findings.children = [row(*buttons, styles={"flex-wrap": "wrap"}, sizing_mode="stretch_width")]
        self.notice.update(text="", visible=False)

    def _buttons(self) -> list[Any]:
        inner = self.findings.children
        return list(getattr(inner[0], "children", [])) if inner else []

    def lead_to(self, at: int) -> None:
        """Show a finding's place, and say what it means."""
        found = self.all_findings()
        if not found:
            return
        finding = found[at % len(found)]
        if finding.component in self.names:
            self.choose(finding.component)
        if finding.span is not None:
            first, last = finding.span
            margin = max(0.5 * (last - first), 1.0)
            self.look_at(first - margin, last + margin)
        parts = (plain(part, 400) for part in (finding.what, finding.effect, finding.remedy))
        text = ". ".join(f"{part[:1].upper()}{part[1:]}" for part in parts if part)
        self.notice.update(text=f"<p>{text}.</p>", visible=True)


def _put(model: Any, attribute: str, value: Any) -> None:
    if getattr(model, attribute) != value:
        setattr(model, attribute, value)


def _nothing() -> dict[str, Floats]:
    return {"t": np.empty(0), "y": np.empty(0)}


def _no_band() -> dict[str, Floats]:
    return {"T": np.empty(0), "low": np.empty(0), "high": np.empty(0)}


def _number(value: float) -> str:
    return "none" if math.isinf(value) else f"{value:.4g}"


def _spectrum(result: Any, name: str) -> tuple[Floats, Floats, Floats, Floats]:
    """Return periods, PSA and its band at the first damping, without period 0."""
    table = getattr(result, "spectra", result)
    its = table[(table["component"] == name) & (table["damping"] == table["damping"].iloc[0]) & (table["period"] > 0)]
    return tuple(its[key].to_numpy(dtype=float) for key in ("period", "psa", "psa_low", "psa_high"))

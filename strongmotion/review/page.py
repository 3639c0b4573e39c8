"""The page of the desk: the list, one record, and the decision; all of it by mouse or by keys."""

from __future__ import annotations

import functools
import logging
from collections.abc import Callable
from typing import Any

import numpy as np
from bokeh.document import Document
from bokeh.layouts import column, row
from bokeh.models import (
    Button,
    ColumnDataSource,
    CustomJS,
    DataTable,
    Div,
    GlobalInlineStyleSheet,
    Select,
    TableColumn,
    TextAreaInput,
    TextInput,
)  # fmt: skip

from ..archive import STATES, Archive
from ..foundation.cautions import CAUTION
from ..foundation.errors import StrongMotionError
from ..result import Result
from .desk import Move, Queue, Session
from .look import Look, bare, fill, plain
from .view import RecordView

__all__ = ["Desk", "show_record"]

KEYS = (
    ("j, k", "next, previous record"), ("n", "next record that nobody has decided"), ("a", "accept"), ("r", "reject"),
    ("l", "leave to look at later"), ("u", "undo the last decision"), ("o", "open the record again"),
    ("e", "write the reason (Escape leaves a field)"), ("f", "next finding, shown in its place"),
    ("1 2 3 ...", "component"), ("+ −", "zoom"), ("← →", "move along the record"), ("0", "whole record"),
    ("s", "zoom to the strong shaking"), (", .", "onset earlier, later by 0.1 s"),
    ("; :", "quiet window shorter, longer"),
    ("[ ]", "low-cut down, up by 5 %"), ("{ }", "high-cut down, up by 5 %"), ("b", "next baseline method"),
    ("z", "back to the opened settings"),
    ("m", "all traces, or one quantity in full width"), ("w", "raw samples"),
    ("v", "lay the next older version behind"),
    ("d", "light or dark"), ("?", "this help"),
)  # fmt: skip

LISTEN = """
const typing = () => { const at = (e => { while (e && e.shadowRoot && e.shadowRoot.activeElement)
  e = e.shadowRoot.activeElement; return e })(document.activeElement);
  return at && /^(INPUT|TEXTAREA|SELECT)$/.test(at.tagName) && at.type !== 'checkbox' ? at : null };
let count = 0;
document.documentElement.lang = 'en';
document.addEventListener('keydown', event => {
  if (event.key === 'Tab') { event.stopImmediatePropagation(); return }  // tables keep it to themselves otherwise
  const field = typing();
  if (field) { if (event.key === 'Escape') field.blur(); return }
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  if (event.key === 'Enter' || event.key === ' ') return;
  if (event.key.startsWith('Arrow') && document.activeElement && document.activeElement !== document.body
      && event.key !== 'ArrowLeft' && event.key !== 'ArrowRight') return;
  if (event.key === 'e') { const view = Bokeh.index.find_one_by_id(reason.id);
    if (view) { view.input_el.focus(); event.preventDefault(); return } }
  keys.value = event.key + ' ' + (++count);
}, true);
if (matchMedia('(prefers-color-scheme: dark)').matches) keys.value = 'dark 0';
"""
"""What Bokeh cannot do: hear keys wherever the focus is, and ask the browser for light or dark."""

log = logging.getLogger(__name__)


class _Page:
    """What both pages share: look, messages, keys."""

    def __init__(self, doc: Document) -> None:
        self.doc = doc
        self.look = Look("light")
        self.view: RecordView | None = None
        self.keys = TextInput(visible=False)
        self.keys.on_change("value", lambda attr, old, new: self.guard(self.key, new.rsplit(" ", 1)[0]))
        self.reason = TextInput(title="Reason")
        sheet = GlobalInlineStyleSheet(css="body { margin: 0; }")
        self.root = column(
            name="desk", sizing_mode="stretch_width", stylesheets=[sheet], styles=self.look.page, spacing=4
        )
        doc.title = "Review desk"
        self.at = 0
        doc.js_on_event("document_ready", CustomJS(args={"keys": self.keys, "reason": self.reason}, code=LISTEN))

    def guard(self, action: Callable[..., Any], *given: Any) -> None:
        """Do something, and say what went wrong; no error ends the page."""
        try:
            action(*given)
        except StrongMotionError as error:
            self.say(str(error), True)
        except Exception as error:
            log.exception("the review failed")
            self.say(
                f"The program failed: {type(error).__name__}. Nothing was decided. Open the record again (o).", True
            )

    def say(self, text: str, alarm: bool = False) -> None:
        """Tell the person something."""
        shown = plain(text, 900)
        self.message.text = f'<p class="{"alarm" if alarm else ""}">{"⚠ " if alarm and shown else ""}{shown}</p>'

    def make_message(self) -> None:
        """Make the place of messages, which screen readers read out."""
        self.message = Div(
            sizing_mode="stretch_width", stylesheets=[self.look.sheet], name="message",
            html_attributes={"role": "status", "aria-live": "polite"},
        )  # fmt: skip
        text = "".join(f"<tr><th><kbd>{plain(key)}</kbd></th><td>{plain(what)}</td></tr>" for key, what in KEYS)
        half = text.index("<tr>", len(text) // 2)
        self.help = Div(
            text=f'<div style="display:flex;gap:40px"><table>{text[:half]}</table><table>{text[half:]}</table></div>'
            "<p>Drag the thick blue lines: onset in the accelerations, corners in the spectra; drag the right edge of "
            "the quiet window. The wheel zooms, dragging moves along the record. Grey: the opened version.</p>",
            visible=False, sizing_mode="stretch_width", stylesheets=[self.look.sheet], name="help",
        )  # fmt: skip

    def key(self, key: str) -> None:
        """Do what a key asks for."""
        view = self.view
        if key == "?":
            self.help.visible = not self.help.visible
        elif key == "Escape":
            self.help.visible = False
        elif key == "d" or (key == "dark" and self.look.name == "light"):
            self.look = Look("light" if self.look.name == "dark" else "dark")
            self.root.styles = self.look.page
            self.rebuild()
        elif view is None:
            return
        elif key == "f":
            view.lead_to(self.at)
            self.at += 1
        elif key.isdigit() and 0 < int(key) <= len(view.names):
            view.choose(view.names[int(key) - 1])
        elif key == "0":
            view.look_at(*view.whole)
        elif key == "s":
            first, last = (sample * view.session.opened.record.dt for sample in view.session.now.windows.strong)
            view.look_at(first - 2, last + 2)
        else:
            acts: dict[str, Callable[[], None]] = {
                "+": lambda: view.zoom(0.5), "=": lambda: view.zoom(0.5),
                "-": lambda: view.zoom(2.0), "ArrowLeft": lambda: view.zoom(1.0, -0.25),
                "ArrowRight": lambda: view.zoom(1.0, 0.25),
                ",": lambda: view.nudge("onset", add=-0.1), ".": lambda: view.nudge("onset", add=0.1),
                ";": lambda: view.nudge("quiet", add=-0.5), ":": lambda: view.nudge("quiet", add=0.5),
                "[": lambda: view.nudge("low_cut", 1 / 1.05), "]": lambda: view.nudge("low_cut", 1.05),
                "{": lambda: view.nudge("high_cut", 1 / 1.05), "}": lambda: view.nudge("high_cut", 1.05),
                "b": view.next_method, "m": view.next_arrangement, "z": view.reset,
                "w": lambda: setattr(view.raw, "active", not view.raw.active),
            }  # fmt: skip
            if key in acts:
                acts[key]()

    def rebuild(self) -> None:
        """Build the page anew, as for another look."""
        raise NotImplementedError


class Desk(_Page):
    """The desk over an archive.

    Parameters
    ----------
    doc : Document
    archive : Archive
    by : str
        The reviewer's name, as it was given.
    read_only : bool
    """

    def __init__(self, doc: Document, archive: Archive, by: str = "", read_only: bool = False) -> None:
        super().__init__(doc)
        self.archive, self.read_only = archive, read_only
        self.queue = Queue(archive)
        self.by = TextInput(title="Name", value=by)
        self.note = TextAreaInput(title="Note", rows=2)
        self.session: Session | None = None
        self.overlaid = -1
        self._setting = False
        self.rebuild()
        doc.add_root(self.root)
        doc.add_periodic_callback(lambda: self.guard(self.watch), 3000)
        if self.queue.items:
            self.guard(self.open, self.queue.items[0].record)

    def rebuild(self) -> None:
        """Build all widgets with the present look; the session stays."""
        sheets = [self.look.sheet]
        wide = {"sizing_mode": "stretch_width", "stylesheets": sheets}
        told = getattr(self, "message", None)
        helped = self.help.visible if told else False
        self.make_message()
        self.help.visible = helped
        if told:
            self.message.text = told.text
        for field in (self.by, self.reason, self.note):
            field.update(**wide)
        self.title = Div(stylesheets=sheets, width=290)
        self.progress = Div(stylesheets=sheets, name="progress")
        self.text = TextInput(title="Filter", placeholder="text", **wide)
        self.state = Select(title="State", options=[("", "all"), *((s, s) for s in STATES)], value="", **wide)
        for field in (self.text, self.state):
            field.on_change("value", lambda attr, old, new: self.guard(self.show_list))
        self.source = ColumnDataSource({name: [] for name in ("record", "state", "station", "event", "pga", "found")})
        self.source.selected.on_change("indices", self._picked)
        events = any(item.event for item in self.queue.items)
        self.table = DataTable(
            source=self.source, index_position=None, sizing_mode="stretch_width", row_height=26, fit_columns=True,
            sortable=False, stylesheets=[self.look.table_sheet], name="list", height=370, reorderable=False,
            columns=[TableColumn(field="station", title="station", width=70),
                     *([TableColumn(field="event", title="event", width=60)] if events else []),
                     TableColumn(field="state", title="state", width=76),
                     TableColumn(field="pga", title="PGA m/s²", width=60),
                     TableColumn(field="found", title="findings", width=60)],
        )  # fmt: skip
        self.record_column = column(sizing_mode="stretch_width")
        self.decide_column = column(width=310, spacing=3)
        self.status = Div(stylesheets=sheets, sizing_mode="stretch_width", name="status")
        self.past = Div(stylesheets=sheets, sizing_mode="stretch_width", name="past")
        actions = []
        for label, act in (
            ("Accept (a)", functools.partial(self.decide, "accepted")),
            ("Reject (r)", functools.partial(self.decide, "rejected")),
            ("Later (l)", functools.partial(self.decide, "to look at")),
            ("Undo (u)", self.undo),
        ):
            button = Button(label=label, disabled=self.read_only, **wide)
            button.on_click(functools.partial(self.guard, act))
            actions.append(button)
        self.older = Select(title="Version laid behind (v)", **wide)
        self.older.on_change("value", lambda attr, old, new: self.guard(self._overlay))
        self.group = Select(title="Give the change to all records of", options=["station", "event"], value="station",
                            **wide)  # fmt: skip
        self.try_it = Button(label="Show what it would move", **wide)
        self.try_it.on_click(functools.partial(self.guard, self.share, False))
        self.keep_it = Button(label="Keep it as new versions", disabled=True, **wide)
        self.keep_it.on_click(functools.partial(self.guard, self.share, True))
        self.shared = Div(name="shared", **wide)
        self.decision = column(
            self.status, self.by, self.reason, self.note, row(*actions[:2], sizing_mode="stretch_width"),
            row(*actions[2:], sizing_mode="stretch_width"), sizing_mode="stretch_width", spacing=3,
        )  # fmt: skip
        self.further = column(
            self.older, self.past, self.group, row(self.try_it, self.keep_it, sizing_mode="stretch_width"), self.shared,
            sizing_mode="stretch_width", spacing=3,
        )  # fmt: skip
        self.moved_column = column(sizing_mode="stretch_width")
        left = column(
            self.progress,
            row(self.text, self.state, sizing_mode="stretch_width"),
            self.table,
            self.moved_column,
            width=290,
        )
        self.root.children = [
            row(self.title, self.message, sizing_mode="stretch_width"), self.help,
            row(left, self.record_column, self.decide_column, sizing_mode="stretch_width", spacing=12),
            Div(text=f'<p class="faint">{plain(CAUTION, 600)}</p>', **wide), self.keys,
        ]  # fmt: skip
        where = plain(self.archive.folder.resolve().name)
        self.title.text = (
            f"<h1>Review of {where}{' – read-only' if self.read_only else ''}</h1>"
            "<span class='faint'><kbd>?</kbd> shows all keys</span>"
        )
        self.show_list()
        if self.session is not None:
            self.draw()

    # The list

    def listed(self) -> tuple[Any, ...]:
        """Return what the filter lets through."""
        return self.queue.filtered(str(self.text.value_input or self.text.value or ""), str(self.state.value))

    def show_list(self) -> None:
        """Show the list and the progress."""
        items = self.listed()
        rows = {
            "record": [item.record for item in items],
            "state": [item.problem or item.state for item in items],
            "station": [bare(item.station, 24) for item in items],
            "event": [bare(item.event, 24) for item in items],
            "pga": [f"{item.pga:.3g}" if np.isfinite(item.pga) else "–" for item in items],
            "found": [f"{item.findings}, {item.worst}" if item.findings else "none" for item in items],
        }
        fill(self.table, rows)
        of = len(self.queue.items)
        self.progress.text = f"<h2>{self.queue.decided} of {of} decided</h2>"
        self._mark()

    def _mark(self) -> None:
        record = self.session.record_id if self.session else ""
        ids = self.source.data["record"]
        self._setting = True
        self.source.selected.indices = [ids.index(record)] if record in ids else []
        self._setting = False

    def _picked(self, attr: str, old: Any, new: list[int]) -> None:
        if new and not self._setting:
            record = self.source.data["record"][new[0]]
            if self.session is None or record != self.session.record_id:
                self.guard(self.open, record)

    def open(self, record_id: str) -> None:
        """Put a record on the desk."""
        try:
            self.session = Session.open(self.archive, record_id, str(self.by.value), self.read_only)
        except StrongMotionError as error:
            self.session = self.view = None
            self.record_column.children = []
            self.decide_column.children = self.moved_column.children = []
            self.say(str(error), True)
            self.here = record_id
            ids = self.source.data["record"]
            self._setting = True
            self.source.selected.indices = [ids.index(record_id)] if record_id in ids else []
            self._setting = False
            return
        self.here = record_id
        self.overlaid, self.at = -1, 0
        self.say("")
        self.note.value = ""
        self.draw()

    def draw(self) -> None:
        """Draw the record on the desk."""
        assert self.session is not None
        if self.view is not None and (self.view.look, self.view.names) == (self.look, self.session.opened.record.names):
            self.view.load(self.session)
        else:
            self.view = RecordView(self.session, self.look, self.doc, self.say)
        self.record_column.children = [self.view.middle]
        self.decide_column.children = [self.decision, self.view.controls, self.further]
        self.moved_column.children = [self.view.moves]
        self.stand()
        self._mark()

    def stand(self) -> None:
        """Say how the record stands, and its history."""
        session = self.session
        assert session is not None
        stands = self.archive.standing(session.record_id)
        station = session.opened.record.station
        by = stands.decisions[-1].by if stands.decisions and stands.state != "automatic" else ""
        self.status.text = (
            f"<h2>{plain(station.name or station.code or session.record_id)}</h2><p class='faint'>"
            f"{plain(session.record_id)}</p><p>{plain(stands.state)}{f' by {plain(by)}' if by else ''}; "
            f"version {plain(session.version.name if session.version else '')}</p>"
        )
        rows = "".join(
            f"<tr><td>{plain(time)}</td><td>{plain(who, 40)}: {plain(what, 60)}. {plain(why, 200)}</td></tr>"
            for time, who, what, why in session.history()
        )
        self.past.text = f"<h2>History, UTC</h2><table>{rows}</table>"
        self.older.options = [
            ("", "the opened one"), *((v.name, f"{v.number}, {v.state}, {v.time[:10]}") for v in stands.versions)
        ]  # fmt: skip
        self.older.value = ""
        self.keep_it.disabled = True
        self.shared.text = ""

    def _overlay(self) -> None:
        if self.view is not None and self.session is not None:
            name = str(self.older.value)
            self.view.overlay(self.archive[self.session.record_id, name] if name else None)

    # Decisions

    def why(self) -> str:
        """Return the reason, and the note behind it."""
        reason, note = str(self.reason.value_input or self.reason.value or ""), str(self.note.value or "")
        return f"{reason.strip()}. {note.strip()}" if reason.strip() and note.strip() else reason.strip()

    def decide(self, state: str) -> None:
        """Decide about the record on the desk, and go on to the next."""
        session, view = self.session, self.view
        if session is None or view is None:
            return
        ready = view.result if session.changed else None
        session.decide(state, self.by.value_input or self.by.value, self.why(), ready)
        self.done(f"{session.record_id}: {state}.")

    def done(self, text: str) -> None:
        """Show what was decided; the record stays on the desk, so that it can be undone."""
        self.queue.refresh()
        self.show_list()
        view = self.view
        if view is not None and self.session is not None:
            view.session = self.session
            view.result = view.session.opened
            view.show()
        self.stand()
        self.say(f"{text} Next undecided: n.")

    def undo(self) -> None:
        """Take back the last decision about the record on the desk."""
        if self.session is None:
            return
        if self.session.undo(str(self.by.value_input or self.by.value)):
            self.done(f"{self.session.record_id}: undone.")
        else:
            self.say("There is nothing to undo on this record.")

    def watch(self) -> None:
        """Say when somebody else has decided about the record on the desk."""
        if self.session is not None and (news := self.session.news()):
            self.say(f"{news} Open the record again (o) before you decide.", True)

    def share(self, keep: bool) -> None:
        """Show what the change moves in the other records of the station or event; then keep it there."""
        session = self.session
        assert session is not None
        others = self.queue.alike(session.record_id, str(self.group.value))
        if not others or not session.changed:
            what = "Nothing was changed here." if others else f"No other record is of this {self.group.value}."
            self.shared.text = f"<p>{what}</p>"
            return
        by, why = str(self.by.value_input or self.by.value), self.why()
        answers = session.share(others, by, why, keep)
        rows = "".join(
            f"<tr><td>{plain(record, 60)}</td><td>{plain(_most(answer), 200)}</td></tr>"
            for record, answer in answers.items()
        )
        self.shared.text = f"<p>{'Kept, undecided:' if keep else 'Largest change:'}</p><table>{rows}</table>"
        self.keep_it.disabled = keep or self.read_only
        if keep:
            self.queue.refresh()
            self.show_list()

    def key(self, key: str) -> None:
        """Do what a key asks for."""
        here = getattr(self, "here", "")
        if key in ("j", "k"):
            self.open(self.queue.beside(here, 1 if key == "j" else -1, self.listed()))
        elif key == "n":
            self.open(self.queue.next_undecided(here))
        elif key == "o":
            self.queue.refresh()
            self.show_list()
            self.open(here)
        elif key in ("a", "r", "l"):
            self.decide({"a": "accepted", "r": "rejected", "l": "to look at"}[key])
        elif key == "u":
            self.undo()
        elif key == "v":
            names = [name for name, _ in self.older.options]
            self.older.value = names[(names.index(self.older.value) + 1) % len(names)]
        else:
            super().key(key)


def _most(answer: tuple[Move, ...] | str) -> str:
    if isinstance(answer, str):
        return answer
    told = [move for move in answer if np.isfinite(move.percent)]
    most = max(told, key=lambda move: abs(move.percent))
    return f"{most.component} {most.quantity} {most.percent:+.1f} %"


class _Record(_Page):
    def __init__(self, doc: Document, result: Result) -> None:
        super().__init__(doc)
        self.session = Session(result)
        self.rebuild()
        doc.add_root(self.root)

    def rebuild(self) -> None:
        self.make_message()
        self.view = RecordView(self.session, self.look, self.doc, self.say)
        side = column(self.view.controls, self.view.moves, width=310)
        self.root.children = [
            self.help, self.message, row(self.view.middle, side, sizing_mode="stretch_width", spacing=12), self.keys,
        ]  # fmt: skip


def show_record(doc: Document, result: Result) -> None:
    """Put the view of one result on a page, without decisions."""
    _Record(doc, result)

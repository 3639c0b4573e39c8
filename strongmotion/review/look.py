"""How the desk looks: colours of both papers, style sheets of widgets, and texts that cannot become markup."""

from __future__ import annotations

import html
from typing import Any

from bokeh.models import AllIndices, DataTable, InlineStyleSheet
from bokeh.plotting import figure

from ..foundation.files import printable
from ..report.style import STYLES, Style

__all__ = ["STYLES", "Look", "bare", "fill", "plain"]

LONGEST = 120
"""Letters of a text from a file that are shown."""


def plain(text: Any, longest: int = LONGEST) -> str:
    r"""Return a text from a file as letters that are only shown: no markup, no control marks, not too long.

    Examples
    --------
    >>> plain("<b>QUAY\u202e</b>")
    '&lt;b&gt;QUAY\\u202e&lt;/b&gt;'
    """
    return html.escape(bare(text, longest))


def bare(text: Any, longest: int = LONGEST) -> str:
    """Return the same for what is set as text anyway, such as a cell or a button; dollars start no formula."""
    shown = printable(str(text)[: 4 * longest]).replace("$$", "$ $")
    return shown if len(shown) <= longest else f"{shown[: longest - 1]}…"


def fill(table: DataTable, data: dict[str, Any]) -> None:
    """Show other rows in a table.

    A table with as many rows as before is drawn again only when its view changes, whatever its cells hold.
    """
    table.source.data = data
    table.view.filter = AllIndices()


class Look:
    """Colours and style sheets on light or dark paper.

    Parameters
    ----------
    name : {"light", "dark"}
    """

    def __init__(self, name: str) -> None:
        self.name = name
        self.style: Style = STYLES[name]
        its = self.style
        self.field = "#ffffff" if name == "light" else "#0d0f12"
        self.chosen = "#dcebf7" if name == "light" else "#1e3a52"
        self.focus = "#0b5cad" if name == "light" else "#8cc8ff"
        self.sheet = InlineStyleSheet(
            css=f"""
:host {{ color: {its.ink}; font: 14px/1.35 system-ui, sans-serif; }}
label, .bk-input-group label {{ color: {its.ink}; font-size: 12.5px; }}
.bk-input, select.bk-input, textarea.bk-input {{ background-color: {self.field}; color: {its.ink};
  border: 1px solid {its.faint}; border-radius: 3px; font-size: 13.5px; }}
.bk-btn, .bk-btn.bk-btn-default {{ background: {its.paper}; color: {its.ink}; border: 1px solid {its.faint};
  border-radius: 3px; white-space: normal; text-align: left; font-size: 13.5px; padding: 4px 9px; }}
.bk-btn:hover {{ background: {self.chosen}; color: {its.ink}; }}
.bk-btn.bk-active {{ background: {self.chosen}; color: {its.ink}; box-shadow: inset 0 -3px 0 {self.focus}; }}
.bk-btn[disabled] {{ opacity: 1; color: {its.faint}; border-style: dashed; }}
.bk-btn:focus, .bk-input:focus, :focus-visible {{ outline: 3px solid {self.focus}; outline-offset: 1px; }}
.bk-spin-wrapper .bk-spin-btn {{ background-color: {its.shade}; }}
.bk-input::placeholder {{ color: {its.faint}; opacity: 1; }}
select.bk-input {{ appearance: auto; background-image: none; }}
.bk-spin-btn-up:before {{ border-bottom-color: {its.ink} !important; }}
.bk-spin-btn-down:before {{ border-top-color: {its.ink} !important; }}
h1, h2, td, .bk-btn {{ overflow-wrap: anywhere; }}
h1, h2 {{ margin: 0; font-weight: 600; color: {its.ink}; }}
h1 {{ font-size: 17px; }} h2 {{ font-size: 14px; }}
kbd {{ border: 1px solid {its.faint}; border-radius: 3px; padding: 0 4px; font: 12.5px ui-monospace, monospace; }}
.faint {{ color: {its.faint}; }} .alarm {{ color: {its.alarm}; font-weight: 600; }}
table {{ border-collapse: collapse; font-size: 13px; }} td, th {{ padding: 1px 10px 1px 0; text-align: left; }}
p {{ margin: 3px 0; overflow-wrap: anywhere; }}
"""
        )
        self.table_sheet = InlineStyleSheet(
            css=f"""
:host, .slick-viewport, .grid-canvas {{ background: {its.paper}; color: {its.ink}; font: 13px system-ui, sans-serif; }}
.slick-row, .slick-row.odd, .slick-row.even, .slick-cell {{ background: {its.paper} !important; color: {its.ink};
  border-color: {its.rule} !important; }}
.slick-header, .slick-header-columns, .slick-header-column, .slick-header-column.ui-state-default {{
  background: {its.shade} !important; color: {its.ink}; border-color: {its.rule} !important; font-weight: 600; }}
.slick-cell.selected, .slick-row.selected .slick-cell {{ background: {self.chosen} !important; color: {its.ink}; }}
.slick-cell.active {{ border: 2px solid {self.focus} !important; }}
"""
        )
        self.page = {
            "background": its.paper, "color-scheme": name, "padding": "8px 14px", "min-height": "98vh",
            "box-sizing": "border-box",
        }  # fmt: skip

    def figure(self, **options: Any) -> Any:
        """Return an empty figure of this look."""
        its = self.style
        plot = figure(
            toolbar_location=None, background_fill_color=its.paper, border_fill_color=its.paper,
            outline_line_color=None, sizing_mode="stretch_width", output_backend="canvas", **options,
        )  # fmt: skip
        for axis in plot.axis:
            axis.axis_label_text_color = axis.major_label_text_color = its.ink
            axis.axis_line_color = axis.major_tick_line_color = its.faint
            axis.minor_tick_line_color = None
            axis.axis_label_text_font_style = "normal"
            axis.axis_label_text_font_size = "12px"
            axis.axis_label_standoff = 3
            axis.major_label_text_font_size = "11.5px"
        plot.grid.grid_line_color = its.rule
        plot.title.text_color = its.ink
        plot.title.text_font_size = "12.5px"
        plot.title.standoff = 2
        plot.min_border_left = 52
        plot.title.offset = -46  # from the left edge of the whole figure, since panels are narrow
        if "x_axis_type" not in options:
            plot.xaxis.ticker.desired_num_ticks = plot.yaxis.ticker.desired_num_ticks = 5
        plot.min_border_right = 8
        return plot

r"""The user's layouts: TOML files in the user's folder, recognised like the built-in layouts.

The folder is ``$XDG_CONFIG_HOME/strongmotion/layouts`` or ``~/.config/strongmotion/layouts``, on macOS
``~/Library/Application Support/strongmotion/layouts``, on Windows ``%APPDATA%\strongmotion\layouts``. To share a
layout, copy its file.
"""

from __future__ import annotations

import os
import re
import sys
from pathlib import Path

from ..foundation.errors import SettingsError
from ..foundation.files import write_whole
from .layout import Layout, layout_from_text, load_layout, ready_layouts

MOST_KEPT = 200


def folder() -> Path:
    """Return the folder of the user's layouts, which may not exist."""
    home = Path.home()
    if sys.platform == "win32":
        base = Path(os.environ.get("APPDATA") or home / "AppData" / "Roaming")
    elif sys.platform == "darwin":
        base = home / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_CONFIG_HOME") or home / ".config")
    return base / "strongmotion" / "layouts"


def kept_layouts() -> dict[str, Path]:
    """Return the user's layouts by name."""
    try:
        files = sorted(folder().glob("*.toml"))[:MOST_KEPT]
    except (OSError, RuntimeError):
        return {}
    return {path.stem: path for path in files}


def recognised_layouts() -> list[Layout]:
    """Return the user's layouts that have a `recognise` pattern; invalid layouts are skipped."""
    found = []
    for path in kept_layouts().values():
        try:
            layout = load_layout(path)
        except SettingsError:
            continue
        if layout.recognise is not None and layout.format == "text":
            found.append(layout)
    return found


def named_layout(name: str | Path) -> Layout:
    """Return a layout by its name (the user's or built-in) or by its path."""
    kept = kept_layouts()
    return load_layout(kept[str(name)] if str(name) in kept and str(name) not in ready_layouts() else name)


def keep_layout(text: str, name: str) -> Path:
    """Save a layout in the user's folder, replacing an earlier one with the same name.

    Returns
    -------
    Path
        Its file.

    Raises
    ------
    SettingsError
        The name or the layout is not valid, or the folder cannot be written.
    """
    if not re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]{0,40}", name) or name in ready_layouts():
        raise SettingsError(
            f"{name!r} cannot be a layout's name",
            remedy="Use letters, digits, - and _, and not the name of a built-in layout",
        )
    layout_from_text(text, name)
    path = folder() / f"{name}.toml"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise SettingsError(f"the folder cannot be made: {error.strerror}", source=str(path.parent)) from None
    write_whole(path, text.encode(), replace=True, kind=SettingsError)
    return path

"""A picture of the screen, made by the screen itself."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from textual.app import App

# The framework's picture asks a remote address for its font: ours carries no address.
_FONT_FACE = re.compile(r"@font-face\s*\{[^}]*\}\s*")
# Its frame is one system's window, with three coloured buttons: ours is a frame and a title.
_BUTTONS = re.compile(r"<g [^>]*>\s*(?:<circle [^>]*/>\s*)+</g>\s*")
_COMMENT = re.compile(r"<!-- Generated with [^>]*-->\s*")


def plain_svg(svg: str) -> str:
    """Return a picture without remote fonts or window buttons, in the viewer's own monospace."""
    for unwanted in (_FONT_FACE, _BUTTONS, _COMMENT):
        svg = unwanted.sub("", svg)
    return svg.replace("font-family: Fira Code, monospace", "font-family: monospace")


def save_picture(app: App[None], path: Path, title: str) -> Path:
    """Save what the screen of a running app shows as SVG.

    Args:
        app: The app, running.
        path: Where the picture goes.
        title: What stands in the frame of the picture.

    Returns:
        The path.

    Raises:
        OSError: If it cannot be written.
    """
    path.write_text(plain_svg(app.export_screenshot(title=title)), encoding="utf-8")
    return path

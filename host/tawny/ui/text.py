"""Lines of styled text, cut to the cell: the roles of `app.tcss` spelt for one line."""

from __future__ import annotations

from typing import Literal

from rich.cells import cell_len, set_cell_size
from textual.content import Content

from tawny.ui.marks import Marks

Role = Literal["plain", "quiet", "strong", "amber", "red", "banner", "medium", "old", "tag"]
Part = tuple[str, Role]

_STYLES: dict[Role, str] = {
    "plain": "",
    "quiet": "$quiet",
    "strong": "bold",
    "amber": "bold $amber",
    "red": "bold $red",
    "banner": "bold $banner-text on $banner",
    "medium": "bold $medium-text on $medium",
    "old": "strike $quiet",
    "tag": "bold $background on $foreground",
}


def content(lines: list[list[Part]], marks: Marks) -> Content:
    """Return lines of parts as one piece of content in the characters of the terminal."""
    pieces: list[str | tuple[str, str]] = []
    for number, line in enumerate(lines):
        if number:
            pieces.append("\n")
        pieces.extend((marks.shown(text), _STYLES[role]) for text, role in line if text)
    return Content.assemble(*pieces)


def width(line: list[Part]) -> int:
    """Return the cells that a line takes."""
    return sum(cell_len(text) for text, _role in line)


def pad(text: str, cells: int) -> str:
    """Return a text filled to a width; a longer one keeps its length."""
    return text + " " * (cells - cell_len(text))


def right(text: str, cells: int) -> str:
    """Return a text moved to the right edge of a width."""
    return " " * (cells - cell_len(text)) + text


def cut(line: list[Part], cells: int, marks: Marks) -> list[Part]:
    """Return a line that fits a width, its cut end shown by an ellipsis."""
    if width(line) <= cells:
        return line
    kept: list[Part] = []
    room = cells - 1
    for text, role in line:
        if cell_len(text) >= room:
            kept.append((set_cell_size(text, max(room, 0)) + marks.ellipsis, role))
            break
        kept.append((text, role))
        room -= cell_len(text)
    return kept


def spread(left: list[Part], end: list[Part], cells: int, marks: Marks) -> list[Part]:
    """Return one line with a part at each edge; the left one is cut where both do not fit."""
    room = max(cells - width(end) - 2, 0)
    first = cut(left, room, marks)
    return [
        *first,
        (" " * (cells - width(first) - width(end)), first[-1][1] if first else "plain"),
        *end,
    ]


def wrap(text: str, cells: int) -> list[str]:
    """Return a text in lines of at most a width, broken between words."""
    lines: list[str] = []
    for word in text.split():
        if lines and cell_len(lines[-1]) + 1 + cell_len(word) <= cells:
            lines[-1] += " " + word
        else:
            lines.append(word)
    return lines

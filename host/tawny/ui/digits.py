"""Plain block digits: text to rows of characters, read from two metres.

Two cuts of one rounded face: 6 dots high in 3 rows for 24 lines, 10 dots high in 5 rows for
40 lines; two dots share a cell as half blocks. Where half blocks cannot be shown there is a
third cut, 5 rows of `#`.
"""

from __future__ import annotations

from typing import Literal

Size = Literal["small", "large", "hash"]

_SMALL = {
    "0": " #### |##  ##|##  ##|##  ##|##  ##| #### ",
    "1": "  ##  | ###  |# ##  |  ##  |  ##  |######",
    "2": " #### |##  ##|   ## |  ##  | ##   |######",
    "3": "##### |    ##| #### |    ##|    ##|##### ",
    "4": "   ## |  ### | # ## |#  ## |######|   ## ",
    "5": "######|##    |##### |    ##|    ##|##### ",
    "6": "  ### | ##   |##### |##  ##|##  ##| #### ",
    "7": "######|   ## |   ## |  ##  |  ##  | ##   ",
    "8": " #### |##  ##| #### |##  ##|##  ##| #### ",
    "9": " #### |##  ##|##  ##| #####|   ## | ###  ",
    ":": "  |##|  |  |##|  ",
    ".": "  |  |  |  |  |##",
    ",": "  |  |  |  |##|# ",
    "-": "    |    |####|    |    |    ",
    "–": "    |    |####|    |    |    ",
    " ": "   |   |   |   |   |   ",
}

_LARGE = {
    "0": (
        "  #####  | ####### |###   ###|###   ###|###   ###"
        "|###   ###|###   ###|###   ###| ####### |  #####  "
    ),
    "1": (
        "   ###   |  ####   | #####   |## ###   |   ###   "
        "|   ###   |   ###   |   ###   |#########|#########"
    ),
    "2": (
        "  #####  |#########|###   ###|      ###|     ### "
        "|    ###  |  ####   | ####    |#########|#########"
    ),
    "3": (
        "######## |#########|      ###|     ### |  #####  "
        "|  ###### |      ###|      ###|#########|######## "
    ),
    "4": (
        "     ### |    #### |   ##### |  ## ### | ##  ### "
        "|##   ### |#########|#########|     ### |     ### "
    ),
    "5": (
        "#########|#########|###      |######## |#########"
        "|      ###|      ###|      ###|#########|######## "
    ),
    "6": (
        "   ##### |  ####   | ###     |######## |#########"
        "|###   ###|###   ###|###   ###| ####### |  #####  "
    ),
    "7": (
        "#########|#########|      ###|     ### |     ### "
        "|    ###  |    ###  |   ###   |   ###   |  ###    "
    ),
    "8": (
        "  #####  | ####### |###   ###|###   ###| ####### "
        "| ####### |###   ###|###   ###| ####### |  #####  "
    ),
    "9": (
        "  #####  | ####### |###   ###|###   ###|###   ###"
        "| ########|      ###|     ### |   ####  | #####   "
    ),
    ":": "   |   |###|###|   |   |###|###|   |   ",
    ".": "   |   |   |   |   |   |   |   |###|###",
    ",": "   |   |   |   |   |   |   |###|###|## ",
    "-": "      |      |      |      |######|######|      |      |      |      ",
    "–": "      |      |      |      |######|######|      |      |      |      ",
    " ": "    |    |    |    |    |    |    |    |    |    ",
}

_HASH = {
    "0": " ### |#   #|#   #|#   #| ### ",
    "1": "  #  | ##  |  #  |  #  |#####",
    "2": "#### |    #| ### |#    |#####",
    "3": "#### |    #| ### |    #|#### ",
    "4": "#  # |#  # |#####|   # |   # ",
    "5": "#####|#    |#### |    #|#### ",
    "6": " ### |#    |#### |#   #| ### ",
    "7": "#####|   # |  #  | #   |#    ",
    "8": " ### |#   #| ### |#   #| ### ",
    "9": " ### |#   #| ####|    #| ### ",
    ":": " |#| |#| ",
    ".": " | | | |#",
    ",": " | | |#|#",
    "-": "   |   |###|   |   ",
    "–": "   |   |###|   |   ",
    " ": "  |  |  |  |  ",
}

_FACES = {"small": _SMALL, "large": _LARGE, "hash": _HASH}
_DOTS = {"small": 6, "large": 10, "hash": 5}
_UPPER_HALF = str.maketrans("▀▄", "█ ")
_LOWER_HALF = str.maketrans("▀▄", " █")
_HALF_BLOCKS = {(" ", " "): " ", ("#", " "): "▀", (" ", "#"): "▄", ("#", "#"): "█"}


def height(size: Size) -> int:
    """Return how many rows a size takes."""
    return _DOTS[size] if size == "hash" else _DOTS[size] // 2


def rows(text: str, size: Size) -> list[str]:
    """Return the rows of cells that draw a text of digits and `:.,-`.

    A character without a shape leaves a blank: the figure is cut short, never wrong.

    Args:
        text: Such as "1:02" or "38.0".
        size: "small" is 3 rows, "large" and "hash" are 5.

    Returns:
        As many rows as the size is high, all of one width.
    """
    face = _FACES[size]
    shapes = [face.get(character, face[" "]).split("|") for character in text]
    gap = " " if size != "large" else "  "
    dots = [gap.join(shape[line] for shape in shapes) for line in range(_DOTS[size])]
    if size == "hash":
        return dots
    return [
        "".join(_HALF_BLOCKS[pair] for pair in zip(upper, lower, strict=True))
        for upper, lower in zip(dots[::2], dots[1::2], strict=True)
    ]


def struck(drawn: list[str]) -> list[str]:
    """Return the rows with a line through them: an old figure, never shown as if fresh."""
    middle = len(drawn) // 2
    line = "-" if any("#" in row for row in drawn) else "─"
    return [row.replace(" ", line) if index == middle else row for index, row in enumerate(drawn)]


def doubled(drawn: list[str]) -> list[str]:
    """Return the rows twice as high and twice as wide."""
    larger: list[str] = []
    for row in drawn:
        wide = "".join(cell * 2 for cell in row)
        larger.append(wide.translate(_UPPER_HALF))
        larger.append(wide.translate(_LOWER_HALF))
    return larger

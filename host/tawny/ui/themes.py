"""The colours of the dashboard by their meaning, dark and light.

Calm is neutral: only `amber`, `medium`, `red` and `banner` have a colour that calls, and
each always stands with a word and a shape. Amber and red are apart in lightness too.
"""

from __future__ import annotations

from textual.theme import Theme

DARK = "tawny-dark"
LIGHT = "tawny-light"

THEMES = (
    Theme(
        name=DARK,
        primary="#8fa3b5",
        foreground="#dcdfe2",
        background="#101214",
        surface="#101214",
        panel="#1d2125",
        dark=True,
        text_alpha=1.0,
        variables={
            "quiet": "#9aa1a8",
            "faint": "#5d646b",
            "amber": "#ffb638",
            "red": "#ff7a6b",
            "banner": "#c8291e",
            "banner-text": "#ffffff",
            "medium": "#ffb638",
            "medium-text": "#161000",
            "trend-upper": "#eef0f2",
            "trend-lower": "#83aed2",
        },
    ),
    Theme(
        name=LIGHT,
        primary="#4c6479",
        foreground="#1b1e21",
        background="#f7f6f3",
        surface="#f7f6f3",
        panel="#e6e4df",
        dark=False,
        text_alpha=1.0,
        variables={
            "quiet": "#595f65",
            "faint": "#9aa0a5",
            "amber": "#8f4f00",
            "red": "#b3190e",
            "banner": "#b3190e",
            "banner-text": "#ffffff",
            "medium": "#ffbf57",
            "medium-text": "#161000",
            "trend-upper": "#1b1e21",
            "trend-lower": "#1f6299",
        },
    ),
)

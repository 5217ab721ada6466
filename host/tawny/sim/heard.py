"""What a controller of the press hears at each control step."""

from __future__ import annotations

from typing import NamedTuple


class Heard(NamedTuple):
    """One control step as a controller sees it; pairs are upper half, lower half.

    Attributes:
        now_ms: The clock of the press.
        means_c: Mean of the samples since the last step, corrected as the board corrects them.
        setpoints_c: What each half is to hold.
        duty_most: Most duty that a half may have: 1 closed, less with the mould open, 0 where
            it has been open too long.
        dt_s: Time since the last step.
    """

    now_ms: int
    means_c: tuple[float, float]
    setpoints_c: tuple[float, float]
    duty_most: float
    dt_s: float

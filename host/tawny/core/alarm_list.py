"""Every alarm of the host, rationalised: class, priority, delays, group.

What happened and what to do stand in `tawny.words` under the same code.
"""

from __future__ import annotations

from typing import Final

import msgspec

from tawny.core.alarm_table import AlarmClass
from tawny.core.names import Priority

PLAIN: Final = AlarmClass.PLAIN
LATCHING: Final = AlarmClass.LATCHING
SAFETY: Final = AlarmClass.SAFETY


class AlarmEntry(msgspec.Struct, frozen=True):
    """One alarm as decided beforehand.

    Attributes:
        group: Alarms of one group mark the first of them as first-out.
    """

    priority: Priority
    alarm_class: AlarmClass
    on_delay_s: float
    off_delay_s: float
    group: str


def _entry(
    priority: Priority,
    alarm_class: AlarmClass,
    on_delay_s: float = 0.0,
    off_delay_s: float = 0.0,
    group: str = "process",
) -> AlarmEntry:
    return AlarmEntry(priority, alarm_class, on_delay_s, off_delay_s, group)


HIGH: Final = Priority.HIGH
MEDIUM: Final = Priority.MEDIUM
LOW: Final = Priority.LOW

ALARMS: Final[dict[str, AlarmEntry]] = {
    "overtemp_host": _entry(HIGH, SAFETY, group="heat"),
    "board_tripped": _entry(HIGH, SAFETY, group="heat"),
    "sensor_bad": _entry(HIGH, LATCHING, 0.5, 2.0, group="heat"),
    "limit_chain": _entry(HIGH, SAFETY, group="heat"),
    "heat_off_button": _entry(HIGH, PLAIN, group="heat"),
    "mains_lost": _entry(HIGH, PLAIN, group="heat"),
    "link_lost": _entry(HIGH, PLAIN, group="link"),
    "link_stale": _entry(MEDIUM, PLAIN, group="link"),
    "board_reset": _entry(HIGH, LATCHING, group="link"),
    "wrong_device": _entry(HIGH, PLAIN, group="link"),
    "version_refused": _entry(HIGH, PLAIN, group="link"),
    "non_finite": _entry(HIGH, SAFETY, group="heat"),
    "sensor_loose": _entry(HIGH, SAFETY, group="heat"),
    "sensor_reversed": _entry(HIGH, SAFETY, group="heat"),
    "sensor_stuck": _entry(HIGH, SAFETY, group="heat"),
    "no_rise": _entry(HIGH, SAFETY, group="heat"),
    "heats_unasked": _entry(HIGH, SAFETY, group="heat"),
    "halves_swapped": _entry(HIGH, SAFETY, group="heat"),
    "heater_weak": _entry(LOW, PLAIN, 10.0, 10.0),
    "supply_weak": _entry(LOW, PLAIN, 10.0, 10.0),
    "power_short": _entry(MEDIUM, PLAIN, 10.0, 10.0),
    "disagree": _entry(MEDIUM, PLAIN, 30.0, 10.0),
    "deviation_high": _entry(MEDIUM, PLAIN, 5.0, 10.0),
    "deviation_low": _entry(MEDIUM, PLAIN, 30.0, 10.0),
    "dry_out_stalls": _entry(MEDIUM, PLAIN, 0.0, 0.0),
    "hold_too_long": _entry(MEDIUM, PLAIN, 0.0, 0.0),
    "mould_left_open": _entry(MEDIUM, PLAIN, 0.0, 0.0),
    "fell_fast": _entry(MEDIUM, PLAIN, 0.0, 0.0),
    "presence_due": _entry(MEDIUM, PLAIN, 0.0, 0.0, group="desk"),
    "desk_empty": _entry(HIGH, PLAIN, 0.0, 0.0, group="desk"),
    "store_full": _entry(HIGH, PLAIN, 0.0, 2.0, group="record"),
    "store_stalled": _entry(HIGH, PLAIN, 0.0, 2.0, group="record"),
    "store_failed": _entry(HIGH, PLAIN, 0.0, 2.0, group="record"),
    "interrupted": _entry(HIGH, LATCHING, group="heat"),
    "duty_refused": _entry(MEDIUM, PLAIN, 1.0, 5.0, group="link"),
    "bad_lines": _entry(LOW, PLAIN, 0.0, 10.0, group="link"),
    "loop_late": _entry(MEDIUM, PLAIN, 0.0, 5.0, group="link"),
}

"""What a charge takes from the mould, learned: for each half the heat over the time of a pressing.

Open, both surfaces lose heat to the room; pressed, the charge takes it. Both are kept as rows of
two seconds in duty (1: all that the half's heater gives). After each pressing what was still
unforeseen is added to the rows, earlier by the time that the observer needed to notice it.
"""

from __future__ import annotations

from itertools import accumulate

import msgspec

ROW_S = 2.0
ROWS_MOST = 300  # 10 min; what comes later is as the last row
LATE_S = 4.0  # by which the observer sees heat come and go, the dead time of the reading apart
LATER_SHARE = 0.2  # the least, after many
SMOOTH_PER_ROW = 0.125  # rows to either side that a row is averaged with, for each row before it
FADES = 0.97  # each row beyond what was seen
DIGITS = 3  # of a row: the record keeps them
OPENINGS_KEPT = 9
PRESSED_LEAST_S = 30.0  # less tells nothing of a charge

Rows = tuple[float, ...]


class Demand(msgspec.Struct, frozen=True, gc=False):
    """Of both halves.

    Attributes:
        charge: For which charge it was learned; another one begins anew.
        opened, pressed: Upper and lower, rows from the opening and from the closing on.
        pressings, openings: From how many it was learned.
        opened_s: How long the filling took before the last closings.
    """

    charge: str = ""
    opened: tuple[Rows, Rows] = ((), ())
    pressed: tuple[Rows, Rows] = ((), ())
    pressings: int = 0
    openings: int = 0
    opened_s: tuple[float, ...] = ()

    def usual_filling_s(self) -> float | None:
        """Return the median time from the begin of filling to closing; None: not known."""
        if not self.opened_s:
            return None
        return sorted(self.opened_s)[len(self.opened_s) // 2]


class Watch(msgspec.Struct, frozen=True, gc=False):
    """What was unforeseen since the mould was opened or closed.

    Attributes:
        since_s: Time since then.
        charging_s: Time for which it has been about to be closed on a charge.
        rows: Whole rows of each half so far.
        sums, count: The row that runs.
    """

    since_s: float = 0.0
    charging_s: float = 0.0
    rows: tuple[Rows, Rows] = ((), ())
    sums: tuple[float, float] = (0.0, 0.0)
    count: int = 0


def watched(watch: Watch, unforeseen: tuple[float, float], dt_s: float, *, charging: bool) -> Watch:
    """Return the watch after one step."""
    since_s = watch.since_s + dt_s
    charging_s = watch.charging_s + dt_s if charging else 0.0
    sums = (watch.sums[0] + unforeseen[0], watch.sums[1] + unforeseen[1])
    count = watch.count + 1
    if int(since_s / ROW_S) > len(watch.rows[0]) and len(watch.rows[0]) < ROWS_MOST:
        rows = (
            (*watch.rows[0], sums[0] / count),
            (*watch.rows[1], sums[1] / count),
        )
        return Watch(since_s, charging_s, rows, (0.0, 0.0), 0)
    return Watch(since_s, charging_s, watch.rows, sums, count)


def after_opening(
    demand: Demand, watch: Watch, dead_s: tuple[float, float], *, pressed: bool
) -> Demand:
    """Learn from an opening; one that ended in a closing on a charge also says how long it took.

    Args:
        demand: What was learned so far.
        watch: The opening.
        dead_s: How late each half's reading is.
        pressed: It ended in a closing on a charge.
    """
    opened_s = demand.opened_s
    if pressed:
        opened_s = (*opened_s, watch.charging_s)[-OPENINGS_KEPT:]
    return msgspec.structs.replace(
        demand,
        opened=_learned(demand.opened, watch.rows, dead_s, demand.openings),
        openings=demand.openings + 1,
        opened_s=opened_s,
    )


def after_pressing(
    demand: Demand, watch: Watch, dead_s: tuple[float, float], charge: str
) -> Demand:
    """Learn from a pressing that may teach, as from an opening."""
    if watch.since_s < PRESSED_LEAST_S:
        return demand
    same = charge == demand.charge
    before: tuple[Rows, Rows] = demand.pressed if same else ((), ())
    return msgspec.structs.replace(
        demand,
        charge=charge,
        pressed=_learned(before, watch.rows, dead_s, demand.pressings if same else 0),
        pressings=demand.pressings + 1 if same else 1,
    )


def row_at(rows: Rows, at_s: float) -> float:
    """Return a row's value at a time since its beginning; 0 where nothing is known."""
    if not rows:
        return 0.0
    index = int(at_s / ROW_S)
    return rows[index] if index < len(rows) else rows[-1]


def rows_from(rows: Rows, at_s: float, count: int) -> list[float]:
    """Return so many rows from a time since their beginning on; the last one goes on."""
    if not rows:
        return [0.0] * count
    begin = int(at_s / ROW_S)
    found = list(rows[begin : begin + count])
    return found + [rows[-1]] * (count - len(found))


def _learned(
    before: tuple[Rows, Rows],
    unforeseen: tuple[Rows, Rows],
    dead_s: tuple[float, float],
    times: int,
) -> tuple[Rows, Rows]:
    share = max(1.0 / (times + 1), LATER_SHARE)
    return (
        _one(before[0], unforeseen[0], dead_s[0], share),
        _one(before[1], unforeseen[1], dead_s[1], share),
    )


def _one(before: Rows, unforeseen: Rows, dead_s: float, share: float) -> Rows:
    if not unforeseen:
        return before
    late = round((LATE_S + dead_s) / ROW_S)
    last = len(unforeseen) - 1
    rows = [
        row_at(before, index * ROW_S) + share * unforeseen[min(index + late, last)]
        for index in range(last + 1)
    ]
    end = rows[-1]
    faded = (end * FADES ** (index - last) for index in range(len(rows), len(before)))
    return _smooth((*rows, *faded))


def _smooth(rows: Rows) -> Rows:
    """Return means over a stretch that grows with time: noise would add up, pressing by pressing.

    What a charge takes changes fast at first only.
    """
    sums = (0.0, *accumulate(rows))
    smooth = []
    for index in range(len(rows)):
        wide = min(int(index * SMOOTH_PER_ROW), index, len(rows) - 1 - index)
        mean = (sums[index + wide + 1] - sums[index - wide]) / (2 * wide + 1)
        smooth.append(round(mean, DIGITS))
    return tuple(smooth)

"""What goes into the record as it happens: the trace at rest, in heat-ups, in pressings.

Every event reaches it once, after the step. During a pressing each second of events is spooled,
so that a killed owner loses at most a second; at its end the whole is packed and sealed in one
transaction. Heat-ups are kept at full rate two minutes at a time, the rest at 1 Hz; a short
wait between two phases of full rate does not break it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec

from tawny.core.columns import Scale, encode
from tawny.core.effects import PressingBegan, PressingEnded, SendDuty
from tawny.core.events import AnyEvent, Frame, LinkDown
from tawny.core.names import Phase, Quality
from tawny.core.phases import FULL_RATE
from tawny.core.state import HalfState, State
from tawny.service.sealing import record_of
from tawny.service.window import Row, pack_rows
from tawny.store.codes import pressing_code

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tawny.core.effects import AnyEffect
    from tawny.store.recorder import Recorder

CHUNK_MS = 1000
FULL_SEGMENT_MS = 120_000
REST_SEGMENT_MS = 300_000
REST_AFTER_MS = 30_000
PHASE_CODES = {phase: code for code, phase in enumerate(Phase)}
WHO = "recorder"
REST_SCALES = {
    name: Scale("degC", 10)
    for half in ("upper", "lower")
    for name in (f"{half}_least_dc", f"{half}_mean_dc", f"{half}_most_dc")
} | {"host_ms": Scale("ms")}


class Chunk(msgspec.Struct, frozen=True):
    """One second of an open pressing in the spool; the first one carries the state."""

    rows: tuple[Row, ...]
    state: State | None = None


class Tape:
    """Feeds the recorder; knows nothing of disks."""

    def __init__(self, recorder: Recorder, *, simulated: bool) -> None:
        """Begin with nothing open."""
        self._recorder = recorder
        self._simulated = simulated
        self._number: int | None = None
        self._began: tuple[int, int] = (0, 0)
        self._start_state: State | None = None
        self._rows: list[Row] = []
        self._spooled = 0
        self._chunk_ms = 0
        self._segment_utc_ms = 0
        self._segment_ms = 0
        self._full_ms = 0
        self._whole = False
        self._rest: list[tuple[int | None, ...]] = []
        self._second = _Second()

    @property
    def at_full_rate(self) -> bool:
        """Whether the last event was kept whole, with what the step made of it."""
        return self._whole

    def take(
        self,
        before: State,
        event: AnyEvent,
        after: State,
        effects: Sequence[AnyEffect],
        utc_ms: int,
    ) -> None:
        """Take in one event with what the step made of it."""
        duty: SendDuty | None = None
        end: PressingEnded | None = None
        host_ms = event.host_ms
        for effect in effects:
            if isinstance(effect, SendDuty):
                duty = duty or effect
            elif isinstance(effect, PressingBegan):
                self._close_segment(utc_ms, host_ms)
                self._begin(before, after, utc_ms, host_ms)
            elif isinstance(effect, PressingEnded):
                end = effect
        phase = after.cycle.phase
        self._whole = True
        if self._number is not None:
            self._in_pressing(Row(event, phase, duty), host_ms)
            if end is not None:
                self._seal(end, after, utc_ms, host_ms)
        elif phase in FULL_RATE:
            self._full_ms = host_ms
            self._in_full(Row(event, phase, duty), before, utc_ms, host_ms)
        elif self._rows and host_ms - self._full_ms < REST_AFTER_MS:
            self._in_full(Row(event, phase, duty), before, utc_ms, host_ms)
        else:
            self._whole = False
            self._at_rest(event, after, utc_ms)

    def close(self, utc_ms: int, host_ms: int) -> None:
        """Keep what is open of heat-up and rest; an open pressing stays in the spool."""
        if self._number is None:
            self._close_segment(utc_ms, host_ms)
        elif self._rows[self._spooled :]:
            self._spool()

    def _begin(self, before: State, after: State, utc_ms: int, host_ms: int) -> None:
        number = after.cycle.next_number
        self._number, self._began = number, (utc_ms, host_ms)
        self._start_state, self._rows, self._spooled = before, [], 0
        self._chunk_ms = host_ms
        about = {"number": number, "started_utc_ms": utc_ms, "started_mono_ms": host_ms}
        self._recorder.begin_pressing(pressing_code(number), number, about)

    def _in_pressing(self, row: Row, host_ms: int) -> None:
        self._rows.append(row)
        if host_ms - self._chunk_ms >= CHUNK_MS or self._spooled == 0:
            self._chunk_ms = host_ms
            self._spool()

    def _spool(self) -> None:
        assert self._number is not None  # noqa: S101 - only called within a pressing
        chunk = Chunk(
            rows=tuple(self._rows[self._spooled :]),
            state=self._start_state if self._spooled == 0 else None,
        )
        self._spooled = len(self._rows)
        self._recorder.spool(pressing_code(self._number), msgspec.msgpack.encode(chunk))

    def _seal(self, end: PressingEnded, after: State, utc_ms: int, host_ms: int) -> None:
        assert self._start_state is not None  # noqa: S101 - set when the pressing began
        record = record_of(
            end,
            after,
            started=self._began,
            ended=(utc_ms, host_ms),
            simulated=self._simulated,
        )
        blob = pack_rows(self._start_state, self._rows)
        self._recorder.seal_pressing(record, blob, who=WHO, utc_ms=utc_ms, mono_ms=host_ms)
        self._number, self._start_state, self._rows, self._spooled = None, None, [], 0

    def _in_full(self, row: Row, before: State, utc_ms: int, host_ms: int) -> None:
        if self._rest:
            self._close_segment(utc_ms, host_ms)
        if not self._rows:
            self._start_state = before
            self._segment_utc_ms, self._segment_ms = utc_ms, host_ms
        self._rows.append(row)
        if host_ms - self._segment_ms >= FULL_SEGMENT_MS:
            self._close_segment(utc_ms, host_ms)

    def _at_rest(self, event: AnyEvent, after: State, utc_ms: int) -> None:
        if self._rows:
            self._close_segment(utc_ms, event.host_ms)
        if not isinstance(event, Frame):
            if isinstance(event, LinkDown):  # the trace runs from connect to disconnect
                self._close_segment(utc_ms, event.host_ms)
            return
        if self._second.empty:
            self._segment_utc_ms, self._segment_ms = utc_ms, event.host_ms
        row = self._second.add(after, event.host_ms)
        if row is not None:
            self._rest.append(row)
        if event.host_ms - self._segment_ms >= REST_SEGMENT_MS:
            self._close_segment(utc_ms, event.host_ms)

    def _close_segment(self, utc_ms: int, host_ms: int) -> None:
        if self._rows and self._start_state is not None:
            rate, blob = "full", pack_rows(self._start_state, self._rows)
        elif self._rest:
            rate, blob = "rest", encode(_rest_columns(self._rest), REST_SCALES)
        else:
            return
        self._recorder.put_segment(
            rate,
            self._segment_utc_ms,
            max(utc_ms, self._segment_utc_ms),
            blob,
            who=WHO,
            utc_ms=utc_ms,
            mono_ms=host_ms,
        )
        self._rows, self._rest, self._start_state = [], [], None
        self._second = _Second()


REST_NAMES = (
    "host_ms",
    "upper_least_dc",
    "upper_mean_dc",
    "upper_most_dc",
    "lower_least_dc",
    "lower_mean_dc",
    "lower_most_dc",
    "phase",
    "inputs",
)


def _rest_columns(rows: list[tuple[int | None, ...]]) -> dict[str, list[int | None]]:
    return {name: [row[place] for row in rows] for place, name in enumerate(REST_NAMES)}


class _Second:
    """Least, mean and most of each half over one second."""

    def __init__(self) -> None:
        self._second = -1
        self._values: tuple[list[float], list[float]] = ([], [])

    @property
    def empty(self) -> bool:
        """Whether nothing was taken in yet."""
        return self._second < 0

    def add(self, state: State, host_ms: int) -> tuple[int | None, ...] | None:
        """Take in a frame; return the row of the second that it ended, if it ended one."""
        second = host_ms // 1000
        row = None
        if second != self._second and self._second >= 0:
            row = (
                self._second * 1000,
                *_spread(self._values[0]),
                *_spread(self._values[1]),
                PHASE_CODES[state.cycle.phase],
                0 if state.tele is None else state.tele.inputs,
            )
            self._values = ([], [])
        self._second = second
        for values, half in zip(self._values, (state.upper, state.lower), strict=True):
            _note(values, half)
        return row


def _note(values: list[float], half: HalfState) -> None:
    if half.quality is Quality.GOOD and half.value_c is not None:
        values.append(half.value_c)


def _spread(values: list[float]) -> tuple[int | None, int | None, int | None]:
    if not values:
        return None, None, None
    mean_c = sum(values) / len(values)
    return round(min(values) * 10), round(mean_c * 10), round(max(values) * 10)

"""The full-rate trace: every event of a stretch, packed small, with the state it began from.

`order` has a row for each event: its kind, the host clock, the phase after it. Telemetry, with
the duty lines sent upon it, and the board's slow status are columns of their own, with a row
for each of their kind; the few other events keep their own JSON. Replaying the events from the
state gives the same states, and the same duties to the per mille that the wire carries; a test
does so.
"""

from __future__ import annotations

import zlib
from operator import sub
from typing import TYPE_CHECKING, Final

import msgspec

from tawny.core.columns import Scale, decode, encode
from tawny.core.effects import SendDuty
from tawny.core.events import AnyEvent, BoardStatus, Frame, Tick
from tawny.core.messages import Tele
from tawny.core.names import BoardState, FirstOut, Phase
from tawny.core.registers import RegisterFields, join_register, split_register
from tawny.core.state import State
from tawny.errors import N_, StoreDamagedError, StoreNewerError
from tawny.service.squeeze import expand, squeeze

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

FORMAT: Final = "tawny-window"
VERSION: Final = 1
FRAME, TICK, STATUS, OTHER = 0, 1, 2, 3
ON_MS_WRAP: Final = 65_536
ORDER: Final = ("kind", "host_ms", "phase")
FRAMES: Final = (
    "boot", "board_ms", "n", "ms",
    "upper_above_tc", "upper_word", "upper_tc", "upper_cj", "upper_bits", "upper_count",
    "upper_on_ms",
    "lower_above_tc", "lower_word", "lower_tc", "lower_cj", "lower_bits", "lower_count",
    "lower_on_ms",
    "board_state", "first_out", "inputs", "presses", "force",
    "upper_duty", "upper_setpoint_dc", "lower_duty", "lower_setpoint_dc",
)  # fmt: skip
STATUSES: Final = ("why", "bad_lines", "presence_left_s", "window_left_s", "operations")
SCALES: Final = {
    "host_ms": Scale("ms"),
    "board_ms": Scale("ms"),
    "upper_tc": Scale("degC", 4),
    "lower_tc": Scale("degC", 4),
    "upper_above_tc": Scale("K", 10),
    "lower_above_tc": Scale("K", 10),
    "upper_cj": Scale("degC", 16),
    "lower_cj": Scale("degC", 16),
    "upper_setpoint_dc": Scale("degC", 10),
    "lower_setpoint_dc": Scale("degC", 10),
    "upper_duty": Scale("1", 1000),
    "lower_duty": Scale("1", 1000),
}
_WORDS: Final = {"bad": 1, "none": 2}
_WORD_OF: Final = {code: word for word, code in _WORDS.items()}
_PHASES: Final = tuple(Phase)
_PHASE_CODES: Final = {phase: code for code, phase in enumerate(Phase)}
_STATES: Final = tuple(state.value for state in BoardState)
_STATE_CODES: Final = {word: code for code, word in enumerate(_STATES)}
_CAUSES: Final = tuple(cause.value for cause in FirstOut)
_CAUSE_CODES: Final = {word: code for code, word in enumerate(_CAUSES)}
_NO_DUTY: Final = (None, None, None, None)

_Cells = tuple[int | None, ...]
_Others = list[tuple[AnyEvent, SendDuty | None]]


class _Box(msgspec.Struct, frozen=True):
    format: str
    version: int
    state: bytes
    order: bytes
    frames: bytes
    status: bytes
    words: list[str]  # what `why` of `status` counts in
    others: bytes


class Row(msgspec.Struct, frozen=True):
    """One event with what the step made of it.

    Attributes:
        phase: After the event.
        duty: The duty line sent then, if one was.
    """

    event: AnyEvent
    phase: Phase
    duty: SendDuty | None


class Opened(msgspec.Struct, frozen=True):
    """An unpacked window; its duties are as the wire carried them, to the per mille."""

    state: State
    rows: tuple[Row, ...]


def pack_rows(state: State, rows: Iterable[Row]) -> bytes:
    """Return a window as bytes."""
    order: list[_Cells] = []
    frames: list[_Cells] = []
    status: list[_Cells] = []
    words: list[str] = []
    others: _Others = []
    for row in rows:
        event, kind = row.event, OTHER
        if isinstance(event, Frame):
            kind = FRAME
            frames.append(_frame_cells(event, row.duty))
        elif row.duty is not None:
            others.append((event, row.duty))  # heat off, at once
        elif isinstance(event, Tick):
            kind = TICK
        elif isinstance(event, BoardStatus):
            kind = STATUS
            status.append(_status_cells(event, words))
        else:
            others.append((event, None))
        order.append((kind, event.host_ms, _PHASE_CODES[row.phase]))
    return msgspec.msgpack.encode(
        _Box(
            format=FORMAT,
            version=VERSION,
            state=squeeze(msgspec.json.encode(state)),
            order=_columns(ORDER, order),
            frames=_columns(FRAMES, frames),
            status=_columns(STATUSES, status),
            words=words,
            others=squeeze(msgspec.json.encode(others)),
        )
    )


def _columns(names: Sequence[str], rows: Sequence[_Cells]) -> bytes:
    turned = zip(*rows, strict=True) if rows else ((),) * len(names)
    values = dict(zip(names, map(list, turned), strict=True))
    for name in ("upper_on_ms", "lower_on_ms"):
        if name in values:
            values[name] = _run_on(values[name])
    return encode(values, SCALES)


def _run_on(counts: Sequence[int | None]) -> list[int | None]:
    """Let the counter of on-time run on where it wrapped: its steps then pack smaller."""
    whole = [count or 0 for count in counts]
    total = whole[0] if whole else 0
    run: list[int | None] = [total] if whole else []
    for step in map(sub, whole[1:], whole):
        total += step % ON_MS_WRAP
        run.append(total)
    return run


def _frame_cells(event: Frame, duty: SendDuty | None) -> _Cells:
    tele = event.tele
    upper, lower = split_register(tele.ur), split_register(tele.lr)
    return (
        event.boot, event.board_ms, tele.n, tele.ms,
        *_above(tele.u, upper.thermocouple), *upper, tele.un, tele.uo,
        *_above(tele.l, lower.thermocouple), *lower, tele.ln, tele.lo,
        _STATE_CODES[tele.st], _CAUSE_CODES[tele.fo], tele.inputs, tele.k, tele.f,
        *(_NO_DUTY if duty is None else _duty_cells(duty)),
    )  # fmt: skip


def _above(value: int | str, thermocouple: int) -> tuple[int | None, int]:
    """Return a temperature above the converter's own linear one, in tenths, and its word.

    The two move together, so that their distance packs into a third of the temperature itself.
    """
    if isinstance(value, int):
        return value - _linear_dc(thermocouple), 0
    return None, _WORDS[value]


def _linear_dc(thermocouple: int) -> int:
    """Return quarters of a degree as tenths, rounded down."""
    return thermocouple * 5 // 2


def _duty_cells(duty: SendDuty) -> _Cells:
    return (
        round(duty.upper * 1000),
        round(duty.upper_setpoint_c * 10),
        round(duty.lower * 1000),
        round(duty.lower_setpoint_c * 10),
    )


def _status_cells(event: BoardStatus, words: list[str]) -> _Cells:
    if event.why not in words:
        words.append(event.why)
    return (
        words.index(event.why),
        event.bad_lines,
        event.presence_left_s,
        event.window_left_s,
        event.operations,
    )


def unpack(blob: bytes) -> Opened:
    """Return what a window holds.

    Raises:
        StoreNewerError: If a later program wrote it.
        StoreDamagedError: If it is not a window.
    """
    try:
        box = msgspec.msgpack.decode(blob, type=_Box)
    except msgspec.MsgspecError as error:
        raise _damaged(str(error)) from error
    if box.format != FORMAT or box.version > VERSION:
        raise StoreNewerError(
            N_("a trace has format {format} {version}, known up to {known}; update this program"),
            format=box.format,
            version=box.version,
            known=VERSION,
        )
    try:
        return Opened(
            state=msgspec.json.decode(expand(box.state), type=State), rows=tuple(_rows(box))
        )
    except (msgspec.MsgspecError, zlib.error, LookupError, ValueError, StopIteration) as error:
        raise _damaged(str(error)) from error


def _damaged(why: str) -> StoreDamagedError:
    return StoreDamagedError(
        N_("a trace cannot be read ({why}); keep the file for repair"), why=why
    )


def _rows(box: _Box) -> list[Row]:
    frames, status = _cells(box.frames, FRAMES), _cells(box.status, STATUSES)
    others = iter(msgspec.json.decode(expand(box.others), type=_Others))
    rows: list[Row] = []
    for kind, host_ms, phase in _cells(box.order, ORDER):
        event: AnyEvent
        duty: SendDuty | None = None
        at_ms = host_ms or 0
        if kind == FRAME:
            event, duty = _frame(at_ms, next(frames))
        elif kind == TICK:
            event = Tick(host_ms=at_ms)
        elif kind == STATUS:
            event = _status(at_ms, next(status), box.words)
        else:
            event, duty = next(others)
        rows.append(Row(event, _PHASES[phase or 0], duty))
    return rows


def _cells(blob: bytes, names: Sequence[str]) -> Iterator[_Cells]:
    values = decode(blob).values
    return zip(*(values[name] for name in names), strict=True)


def _frame(host_ms: int, cells: _Cells) -> tuple[Frame, SendDuty | None]:
    whole = [cell or 0 for cell in cells]  # none: no temperature, which its word tells; no duty
    tele = Tele(
        n=whole[2],
        ms=whole[3],
        u=_temperature(*whole[4:7]),
        ur=join_register(RegisterFields(*whole[6:9])),
        un=whole[9],
        uo=whole[10] % ON_MS_WRAP,
        l=_temperature(*whole[11:14]),
        lr=join_register(RegisterFields(*whole[13:16])),
        ln=whole[16],
        lo=whole[17] % ON_MS_WRAP,
        st=_STATES[whole[18]],
        fo=_CAUSES[whole[19]],
        inputs=whole[20],
        k=whole[21],
        f=whole[22],
    )
    duty = None if cells[23] is None else _duty(*whole[23:27])
    return Frame(host_ms=host_ms, boot=whole[0], board_ms=whole[1], tele=tele), duty


def _temperature(above: int, word: int, thermocouple: int) -> int | str:
    return _WORD_OF[word] if word else above + _linear_dc(thermocouple)


def _duty(upper: int, upper_setpoint_dc: int, lower: int, lower_setpoint_dc: int) -> SendDuty:
    return SendDuty(upper / 1000, upper_setpoint_dc / 10, lower / 1000, lower_setpoint_dc / 10)


def _status(host_ms: int, cells: _Cells, words: Sequence[str]) -> BoardStatus:
    why, bad_lines, presence_left_s, window_left_s, operations = (cell or 0 for cell in cells)
    return BoardStatus(
        host_ms=host_ms,
        why=words[why],
        bad_lines=bad_lines,
        presence_left_s=presence_left_s,
        window_left_s=window_left_s,
        operations=operations,
    )

"""The full-rate trace: every event of a stretch, packed small, with the state it began from.

    {"format": "tawny-window", "version": 1, "state": ..., "columns": ..., "others": ...}

A frame becomes one row of whole-number columns, with what the step then commanded; every other
event keeps its own JSON beside its row number. Replaying the events from the state gives the
same states and duties; a test does so.
"""

from __future__ import annotations

import zlib
from typing import TYPE_CHECKING, Final

import msgspec

from tawny.core.columns import Columns, Scale, decode, encode
from tawny.core.effects import SendDuty
from tawny.core.events import AnyEvent, Frame, Tick
from tawny.core.messages import Tele
from tawny.core.names import BoardState, FirstOut, Phase
from tawny.core.registers import RegisterFields, join_register, split_register
from tawny.core.state import State
from tawny.errors import N_, StoreDamagedError, StoreNewerError

if TYPE_CHECKING:
    from collections.abc import Iterable

FORMAT: Final = "tawny-window"
VERSION: Final = 1
FRAME, TICK, OTHER = 0, 1, 2
WORDS: Final = {"bad": 1, "none": 2}
PHASES: Final = tuple(Phase)
STATES: Final = tuple(state.value for state in BoardState)
CAUSES: Final = tuple(cause.value for cause in FirstOut)
SCALES: Final = {
    "host_ms": Scale("ms"),
    "board_ms": Scale("ms"),
    "upper_dc": Scale("degC", 10),
    "lower_dc": Scale("degC", 10),
    "upper_tc": Scale("degC", 4),
    "lower_tc": Scale("degC", 4),
    "upper_cj": Scale("degC", 16),
    "lower_cj": Scale("degC", 16),
    "upper_setpoint_dc": Scale("degC", 10),
    "lower_setpoint_dc": Scale("degC", 10),
    "upper_duty": Scale("1", 10_000),
    "lower_duty": Scale("1", 10_000),
}
COLUMNS: Final = (
    "kind", "host_ms", "boot", "board_ms", "n", "ms",
    "upper_dc", "upper_word", "upper_tc", "upper_cj", "upper_bits", "upper_count", "upper_on_ms",
    "lower_dc", "lower_word", "lower_tc", "lower_cj", "lower_bits", "lower_count", "lower_on_ms",
    "board_state", "first_out", "inputs", "presses", "force",
    "phase", "upper_duty", "lower_duty", "upper_setpoint_dc", "lower_setpoint_dc",
)  # fmt: skip


class _Box(msgspec.Struct, frozen=True):
    format: str
    version: int
    state: bytes
    columns: bytes
    others: bytes


class Row(msgspec.Struct, frozen=True):
    """One event with what the step made of it.

    Attributes:
        duty: The duty line sent then, if one was.
    """

    event: AnyEvent
    phase: Phase
    duty: SendDuty | None


class Opened(msgspec.Struct, frozen=True):
    """An unpacked window."""

    state: State
    events: tuple[AnyEvent, ...]
    columns: Columns


def pack_rows(state: State, rows: Iterable[Row]) -> bytes:
    """Return a window as bytes."""
    values: dict[str, list[int | None]] = {name: [] for name in COLUMNS}
    appenders = [values[name].append for name in COLUMNS]
    others: list[tuple[int, AnyEvent]] = []
    for place, row in enumerate(rows):
        event = row.event
        if isinstance(event, Frame):
            cells = _frame_cells(event, row)
        else:
            tick = isinstance(event, Tick)
            if not tick:
                others.append((place, event))
            cells = (TICK if tick else OTHER, event.host_ms, *_NOTHING, PHASES.index(row.phase))
            cells += (None, None, None, None)
        for append, cell in zip(appenders, cells, strict=True):
            append(cell)
    box = _Box(
        format=FORMAT,
        version=VERSION,
        state=zlib.compress(msgspec.json.encode(state), 9),
        columns=encode(values, SCALES),
        others=zlib.compress(msgspec.json.encode(others), 9),
    )
    return msgspec.msgpack.encode(box)


_NOTHING: Final = (None,) * 23


def _frame_cells(event: Frame, row: Row) -> tuple[int | None, ...]:
    tele, duty = event.tele, row.duty
    upper, lower = split_register(tele.ur), split_register(tele.lr)
    return (
        FRAME, event.host_ms, event.boot, event.board_ms, tele.n, tele.ms,
        *_temperature(tele.u), upper[0], upper[1], upper[2], tele.un, tele.uo,
        *_temperature(tele.l), lower[0], lower[1], lower[2], tele.ln, tele.lo,
        STATES.index(tele.st), CAUSES.index(tele.fo), tele.inputs, tele.k, tele.f,
        PHASES.index(row.phase),
        None if duty is None else round(duty.upper * 10_000),
        None if duty is None else round(duty.lower * 10_000),
        None if duty is None else round(duty.upper_setpoint_c * 10),
        None if duty is None else round(duty.lower_setpoint_c * 10),
    )  # fmt: skip


def _temperature(value: int | str) -> tuple[int | None, int]:
    return (value, 0) if isinstance(value, int) else (None, WORDS[value])


def unpack(blob: bytes) -> Opened:
    """Return what a window holds.

    Raises:
        StoreNewerError: If a later program wrote it.
        StoreDamagedError: If it is not a window.
    """
    try:
        box = msgspec.msgpack.decode(blob, type=_Box)
    except msgspec.DecodeError as error:
        raise StoreDamagedError(
            N_("a trace cannot be read ({why}); keep the file for repair"), why=str(error)
        ) from error
    if box.format != FORMAT or box.version > VERSION:
        raise StoreNewerError(
            N_(
                "a trace has format {format} {version}, this program reads up to {known}; update it"
            ),
            format=box.format,
            version=box.version,
            known=VERSION,
        )
    state = msgspec.json.decode(zlib.decompress(box.state), type=State)
    others = dict(msgspec.json.decode(zlib.decompress(box.others), type=list[tuple[int, AnyEvent]]))
    columns = decode(box.columns)
    values = [columns.values[name] for name in COLUMNS]
    events = tuple(
        _event(place, cells, others) for place, cells in enumerate(zip(*values, strict=True))
    )
    return Opened(state=state, events=events, columns=columns)


def _event(place: int, cells: tuple[int | None, ...], others: dict[int, AnyEvent]) -> AnyEvent:
    kind, host_ms = cells[0], cells[1] or 0
    if kind == TICK:
        return Tick(host_ms=host_ms)
    if kind == OTHER:
        return others[place]
    whole = [0 if cell is None else cell for cell in cells]
    tele = Tele(
        n=whole[4],
        ms=whole[5],
        u=_word_or(whole[6], whole[7]),
        ur=join_register(RegisterFields(whole[8], whole[9], whole[10])),
        un=whole[11],
        uo=whole[12],
        l=_word_or(whole[13], whole[14]),
        lr=join_register(RegisterFields(whole[15], whole[16], whole[17])),
        ln=whole[18],
        lo=whole[19],
        st=STATES[whole[20]],
        fo=CAUSES[whole[21]],
        inputs=whole[22],
        k=whole[23],
        f=whole[24],
    )
    return Frame(host_ms=host_ms, boot=whole[2], board_ms=whole[3], tele=tele)


def _word_or(value: int, word: int) -> int | str:
    return value if word == 0 else next(text for text, code in WORDS.items() if code == word)

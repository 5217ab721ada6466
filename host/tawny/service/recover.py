"""What an earlier owner left behind: an open pressing, sealed as interrupted; an open rescue card.

The spool holds the state the pressing began from and every event since; replaying them
gives the state of its last second, and with it the figures and the rescue card.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import msgspec
from msgspec.structs import replace

from tawny.core.loss import card_for
from tawny.core.names import Result
from tawny.core.pressing import ended
from tawny.core.snapshot import Code
from tawny.core.step import step
from tawny.errors import N_, StoreDamagedError
from tawny.service.sealing import record_of
from tawny.service.tape import WHO, Chunk
from tawny.service.window import pack_rows, unpack
from tawny.store.codes import pressing_code

if TYPE_CHECKING:
    from tawny.core.snapshot import RescueView
    from tawny.core.state import State
    from tawny.service.window import Row
    from tawny.store.spool import Leftover
    from tawny.store.store import Store


def seal_leftovers(store: Store, utc_ms: int, host_ms: int) -> RescueView | None:
    """Seal every open pressing of an earlier owner; return the rescue card that is still due."""
    for leftover in store.spooled():
        _seal(store, leftover, utc_ms, host_ms)
    return card_left_open(store)


def card_left_open(store: Store) -> RescueView | None:
    """Return the rescue card of the last pressing, if it was cut short and never worked through.

    Whoever switches on again must not take the mould for empty only because the program ended.
    """
    number = store.next_pressing_number() - 1
    if number < 1:
        return None
    code = pressing_code(number)
    sealed = store.pressing(code)
    record = sealed.record
    if record.result is Result.COMPLETE:
        return None
    ticked = [
        msgspec.json.decode(entry.payload, type=_Tick)
        for entry in store.entries(sealed.entry.seq, kinds=("rescue",))
    ]
    ticked = [tick for tick in ticked if tick.pressing == str(number)]
    if any(tick.last for tick in ticked):
        return None
    opened = unpack(store.trace(code))
    state = opened.state
    for row in opened.rows:
        state, _ = step(state, row.event)
    card = state.cycle.rescue or card_for(state, Code("owner_gone"))
    if card is None:
        return None
    done = tuple(tick.step for tick in ticked if tick.step in card.steps)
    return replace(card, ticked=done, since_utc_ms=record.ended_utc_ms)


class _Tick(msgspec.Struct, frozen=True):
    """What the journal keeps of one ticked step."""

    pressing: str
    step: str
    last: bool


def _seal(store: Store, leftover: Leftover, utc_ms: int, host_ms: int) -> None:
    start, rows = _rows(leftover)
    state = start
    for row in rows:
        state, _ = step(state, row.event)
    if state.cycle.pressing is None:
        raise StoreDamagedError(
            N_("pressing {pressing} was left open without its beginning; keep the file for repair"),
            pressing=leftover.pressing_id,
        )
    started_utc_ms = _whole(leftover, "started_utc_ms", utc_ms)
    started_ms = _whole(leftover, "started_mono_ms", host_ms)
    last_ms = rows[-1].event.host_ms if rows else started_ms
    lasted_ms = max(last_ms - started_ms, 0)
    record = record_of(
        ended(state, Result.INTERRUPTED),
        state,
        started=(started_utc_ms, started_ms),
        ended=(started_utc_ms + lasted_ms, last_ms),
        simulated=store.simulated,
    )
    store.seal_pressing(record, pack_rows(start, rows), who=WHO, utc_ms=utc_ms, mono_ms=host_ms)


def _whole(leftover: Leftover, name: str, otherwise: int) -> int:
    value = leftover.about.get(name)
    return value if isinstance(value, int) else otherwise


def _rows(leftover: Leftover) -> tuple[State, list[Row]]:
    try:
        chunks = [msgspec.msgpack.decode(data, type=Chunk) for data in leftover.chunks]
    except msgspec.MsgspecError as error:
        raise StoreDamagedError(
            N_("pressing {pressing} was left open and cannot be read ({why}); keep the file"),
            pressing=leftover.pressing_id,
            why=error,
        ) from error
    start = next((chunk.state for chunk in chunks if chunk.state is not None), None)
    if start is None:
        raise StoreDamagedError(
            N_("pressing {pressing} was left open without its beginning; keep the file for repair"),
            pressing=leftover.pressing_id,
        )
    return start, [row for chunk in chunks for row in chunk.rows]

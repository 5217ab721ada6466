"""From the record to one part's trace in the units of people."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tawny.core.events import Asked, BoardSaid, Frame
from tawny.core.intents import Mark
from tawny.core.names import Result
from tawny.core.trace import PartTrace, Samples
from tawny.errors import N_, InputError, StoreDamagedError
from tawny.service.window import ON_MS_WRAP, unpack

if TYPE_CHECKING:
    from tawny.core.effects import SendDuty
    from tawny.core.events import AnyEvent
    from tawny.core.record import PressingRecord
    from tawny.service.window import Opened
    from tawny.store.reader import Reader


def part_trace(reader: Reader, part_id: str) -> PartTrace:
    """Return a part with its pressing's trace.

    Args:
        part_id: Its short code, as a person types it.

    Raises:
        InputError: If there is no such part, or it was cut short before its first sample.
        StoreDamagedError: If its trace cannot be read.
    """
    part = reader.part(part_id)
    sealed = reader.pressing(part.pressing_id)
    opened = unpack(reader.trace(part.pressing_id))
    return PartTrace(
        part_id=part.part_id,
        cavity=part.cavity,
        record=sealed.record,
        samples=samples_of(opened, sealed.record),
        workshop=opened.state.press.workshop,
        trip_c=opened.state.link.trip_c,
        entry_hash=sealed.entry.hash.hex(),
        last_hash=reader.last_hash(),
    )


def samples_of(opened: Opened, record: PressingRecord) -> Samples:
    """Return the frames of a window as columns; a second frame of one moment is left out."""
    rows: list[tuple[object, ...]] = []
    start_ms: int | None = None
    last_ms = -1
    sent: SendDuty | None = None
    before: Frame | None = None
    pending: list[str] = []
    for row in opened.rows:
        event, sent = row.event, row.duty or sent
        if not isinstance(event, Frame):
            code = _code(event)
            if code:
                pending.append(code)
            continue
        moment_ms = event.board_ms if before is None or before.boot == event.boot else last_ms + 200
        start_ms = moment_ms if start_ms is None else start_ms
        if moment_ms <= last_ms:
            continue
        tele = event.tele
        rows.append(
            (
                (moment_ms - start_ms) / 1000.0,
                record.started_utc_ms + event.host_ms - record.started_mono_ms,
                row.phase,
                _c(tele.u),
                _c(tele.l),
                None if sent is None else sent.upper_setpoint_c or None,
                None if sent is None else sent.lower_setpoint_c or None,
                None if sent is None else sent.upper,
                None if sent is None else sent.lower,
                _share(before, event, "uo", moment_ms - last_ms),
                _share(before, event, "lo", moment_ms - last_ms),
                " ".join(pending),
            )
        )
        before, last_ms, pending = event, moment_ms, []
    if not rows and record.result is not Result.COMPLETE:
        raise InputError(
            N_(
                "pressing {pressing} was cut short before its first sample: there is no trace of it"
            ),
            pressing=record.pressing_id,
        )
    if not rows:
        raise StoreDamagedError(
            N_("the trace of pressing {pressing} holds no sample"), pressing=record.pressing_id
        )
    return Samples(**dict(zip(Samples.__struct_fields__, zip(*rows, strict=True), strict=True)))


def _code(event: AnyEvent) -> str:
    if isinstance(event, Asked) and isinstance(event.intent, Mark):
        return "breath"
    if isinstance(event, BoardSaid):
        return event.code
    return ""


def _c(value: int | str) -> float | None:
    return value / 10.0 if isinstance(value, int) else None


def _share(before: Frame | None, event: Frame, name: str, passed_ms: int) -> float | None:
    """Return the delivered share since the frame before; unknown over a restart or a gap."""
    if before is None or before.boot != event.boot or not 0 < passed_ms <= ON_MS_WRAP // 2:
        return None
    on_ms = (getattr(event.tele, name) - getattr(before.tele, name)) % ON_MS_WRAP
    return min(float(on_ms) / passed_ms, 1.0)

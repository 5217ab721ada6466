"""The window: every event of a stretch goes in and comes out as it was, and takes little room."""

from __future__ import annotations

import hashlib
import random
import zlib

import msgspec
import pytest

from core_events import make_state
from tawny.core.effects import SendDuty
from tawny.core.events import (
    AnyEvent,
    Arming,
    Asked,
    BoardRestarted,
    BoardSaid,
    BoardStatus,
    Frame,
    LinkDown,
    Tick,
)
from tawny.core.intents import HeatOff, Mark
from tawny.core.messages import Tele
from tawny.core.names import BoardState, FirstOut, Phase
from tawny.core.registers import RegisterFields, join_register
from tawny.core.snapshot import Code
from tawny.errors import StoreDamagedError, StoreNewerError
from tawny.service import squeeze
from tawny.service.window import Row, pack_rows, unpack

ON_MS_WRAP = 1 << 16
STATE = make_state()


def frame(host_ms: int, **changes: object) -> Frame:
    """Return telemetry of a moment, with what the changes say."""
    fields: dict[str, object] = {
        "n": host_ms // 200 % ON_MS_WRAP,
        "ms": host_ms,
        "u": 1800,
        "ur": join_register(RegisterFields(714, 419, 0)),
        "un": host_ms // 200 % ON_MS_WRAP,
        "uo": host_ms * 3 % ON_MS_WRAP,
        "l": 1796,
        "lr": join_register(RegisterFields(712, 425, 0)),
        "ln": host_ms // 200 % ON_MS_WRAP,
        "lo": host_ms * 2 % ON_MS_WRAP,
        "st": "armed",
        "fo": "none",
        "inputs": 0x60,
        "k": 0,
        "f": 0,
    }
    tele = Tele(**(fields | changes))  # type: ignore[arg-type]
    return Frame(host_ms=host_ms, boot=1, board_ms=host_ms, tele=tele)


def there_and_back(rows: list[Row]) -> list[Row]:
    """Return rows after packing and unpacking."""
    return list(unpack(pack_rows(STATE, rows)).rows)


def test_window_gives_back_every_kind_of_event_in_order() -> None:
    """Frames, ticks, the board's status and all others, with phase and duty of each."""
    heat_off = SendDuty(0.0, 0.0, 0.0, 0.0)
    events: list[tuple[AnyEvent, Phase, SendDuty | None]] = [
        (frame(1000), Phase.FILL, None),
        (Tick(host_ms=1000), Phase.FILL, None),
        (frame(1200), Phase.FILL, SendDuty(0.337, 180.0, 1.0, 179.5)),
        (BoardStatus(1250, "none", 0, 1799, 60, 3), Phase.FILL, None),
        (Asked(host_ms=1251, who="Ada", intent=Mark()), Phase.BREATHE, None),
        (BoardSaid(host_ms=1300, code="charge", value_c=180.1), Phase.BREATHE, None),
        (BoardStatus(2250, "button", 7, 0, 0, 4), Phase.BREATHE, None),
        (Arming(host_ms=2260, step="asked"), Phase.BREATHE, None),
        (LinkDown(host_ms=2300, reason=Code("link_lost", {"silence_s": 3.0})), Phase.COOL, None),
        (BoardRestarted(host_ms=2400, boot=2, cause="power"), Phase.COOL, None),
        (Asked(host_ms=2500, who="Ada", intent=HeatOff()), Phase.COOL, heat_off),
    ]
    rows = [Row(event, phase, duty) for event, phase, duty in events]

    assert there_and_back(rows) == rows


def test_window_keeps_the_state_it_began_from() -> None:
    """The state comes back equal, whatever its size."""
    assert unpack(pack_rows(STATE, [])).state == STATE


@pytest.mark.parametrize("word", ["bad", "none"])
def test_window_keeps_words_that_stand_for_no_temperature(word: str) -> None:
    """A half without a temperature keeps its word and its raw register, amid good ones."""
    broken = frame(1200, u=word, ur=0xFFFF_FFFF)
    rows = [Row(event, Phase.HOLD, None) for event in (frame(1000), broken, frame(1400))]

    assert there_and_back(rows) == rows


def test_window_keeps_any_telemetry_that_the_wire_can_carry() -> None:
    """Random values of every field, counters that wrap or jump back, each state and cause."""
    chance = random.Random(3)  # noqa: S311 - test data
    states, causes = [one.value for one in BoardState], [one.value for one in FirstOut]
    rows = [
        Row(
            frame(
                1000 + place,
                n=chance.randrange(1 << 16),
                ms=chance.randrange(1 << 32),
                u=chance.randrange(-1 << 15, 1 << 15),
                ur=chance.randrange(1 << 32),
                uo=chance.randrange(ON_MS_WRAP),
                l=chance.randrange(-1 << 15, 1 << 15),
                lr=chance.randrange(1 << 32),
                lo=chance.randrange(ON_MS_WRAP),
                st=chance.choice(states),
                fo=chance.choice(causes),
                inputs=chance.randrange(1 << 16),
                k=chance.randrange(256),
                f=chance.randrange(1 << 16),
            ),
            chance.choice(list(Phase)),
            None,
        )
        for place in range(300)
    ]

    assert there_and_back(rows) == rows


def test_window_says_of_foreign_or_cut_bytes_that_they_are_damaged() -> None:
    """Neither half a window nor another's bytes opens, nor one whose columns were cut."""
    whole = pack_rows(STATE, [Row(frame(1000), Phase.HOLD, None)])
    cut = msgspec.msgpack.decode(whole)
    cut["frames"] = cut["frames"][:-9]
    other = msgspec.msgpack.decode(whole)
    other["state"] = zlib.compress(b"{}")
    short = msgspec.msgpack.decode(whole)
    short["frames"] = short["status"]
    for blob in (whole[:-5], b"x", *map(msgspec.msgpack.encode, (cut, other, short))):
        with pytest.raises(StoreDamagedError):
            unpack(blob)


def test_window_of_a_later_version_is_refused() -> None:
    """A later layout is not guessed at."""
    later = msgspec.msgpack.decode(pack_rows(STATE, []))
    later["version"] = 2
    with pytest.raises(StoreNewerError, match="update this program"):
        unpack(msgspec.msgpack.encode(later))


def test_squeezed_words_of_version_1_never_change() -> None:
    """Windows of version 1 open only with these very bytes."""
    assert hashlib.sha256(squeeze.known()).hexdigest() == (
        "40a0b913bf1040e5ab14d4b966f61c8122c03573c7d40e56474da90067c28025"
    )


def test_squeezed_state_takes_far_less_room_than_deflated_alone() -> None:
    """The known names save at least a third of what deflating alone leaves."""
    plain = msgspec.json.encode(STATE)

    assert squeeze.expand(squeeze.squeeze(plain)) == plain
    assert len(squeeze.squeeze(plain)) <= 2 / 3 * len(zlib.compress(plain, 9))

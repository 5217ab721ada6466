"""Who sits at the desk, whose intents are taken, and when it is empty."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path

import msgspec
import pytest

from desk_house import House, desk_at, within
from tawny.core import intents
from tawny.core.effects import Answered
from tawny.core.names import Phase
from tawny.core.snapshot import (
    Code,
)
from tawny.desk import messages as d
from tawny.desk.seat import Desk
from tawny.desk.server import ASKS_MOST


@pytest.fixture
async def house(tmp_path: Path) -> AsyncIterator[House]:
    """An owner's desk in a folder of its own."""
    async with desk_at(tmp_path / "desk.sock") as made:
        yield made


def test_desk_is_empty_from_the_start_and_while_nobody_sits() -> None:
    """Its emptiness is counted from when the owner began."""
    desk = Desk(100.0)

    assert desk.look(100.0) == ("", 0.0, 0)
    assert desk.empty_s(160.0) == 60.0
    assert desk.free(100.0)


def test_desk_is_empty_when_its_viewer_has_not_pinged_for_2_s() -> None:
    """Counted from its last ping; the next ping fills it again."""
    desk = Desk(0.0)
    desk.sit("ana", 100.0)
    assert desk.empty_s(102.0) == 0.0
    assert not desk.free(102.0)
    assert desk.empty_s(102.1) == pytest.approx(2.1)
    assert desk.free(102.1)
    assert desk.holder == "ana"
    desk.ping("ana", 110.0)

    assert desk.empty_s(111.0) == 0.0


def test_desk_is_empty_at_once_when_its_viewer_leaves() -> None:
    """Since it was last seen; another viewer's pings or leaving change nothing."""
    desk = Desk(0.0)
    desk.sit("ana", 100.0)
    desk.ping("ben", 101.0)
    desk.leave("ben")
    assert desk.holder == "ana"
    desk.ping("ana", 101.0)
    desk.leave("ana")

    assert desk.look(101.5) == ("", pytest.approx(0.5), 0)


def test_desk_goes_to_whoever_takes_it() -> None:
    """One alone sits there."""
    desk = Desk(0.0)
    desk.sit("ana", 1.0)
    desk.sit("ben", 2.0)
    desk.ping("ana", 3.5)

    assert desk.holder == "ben"
    assert desk.empty_s(4.5) == pytest.approx(2.5)


# The socket.


async def test_desk_answers_each_intent_with_what_the_core_said(house: House) -> None:
    """Accepted, or refused with the core's own reason; the core hears who asked."""
    client, _ = await house.viewer("ana")
    assert (await client.ask(intents.Arm())).accepted
    house.source.answer = Answered(accepted=False, reason=Code("not_ready", {"lock_reason": "x"}))
    answer = await client.ask(intents.Advance(seen=Phase.FILL))

    assert (answer.accepted, answer.reason) == (False, Code("not_ready", {"lock_reason": "x"}))
    assert house.source.asked == [
        ("ana", intents.Arm()),
        ("ana", intents.Advance(seen=Phase.FILL)),
    ]


async def test_desk_refuses_whoever_is_not_there_but_for_heat_off(house: House) -> None:
    """Doubt goes to heat off: that is taken from anybody."""
    await house.viewer("ana")
    ben, _ = await house.viewer("ben")
    for intent in (intents.Arm(), intents.Quit(), intents.Acknowledge(), intents.Confirm()):
        answer = await ben.ask(intent)
        assert (answer.accepted, answer.reason) == (False, Code("not_at_desk"))
    assert house.source.asked == []

    assert (await ben.ask(intents.HeatOff())).accepted
    assert house.source.asked == [("ben", intents.HeatOff())]
    assert house.server.desk()[0] == "ana"


async def test_desk_is_taken_over_on_asking(house: House) -> None:
    """The one there now loses it, and may take it back."""
    ana, _ = await house.viewer("ana")
    ben, _ = await house.viewer("ben")
    assert (await ben.ask(intents.TakeDesk())).accepted
    assert house.server.desk()[0] == "ben"

    assert not (await ana.ask(intents.Arm())).accepted
    assert (await ben.ask(intents.Arm())).accepted
    assert (await ana.ask(intents.TakeDesk())).accepted
    assert house.server.desk()[0] == "ana"


async def test_desk_seats_the_first_who_wants_it_and_no_onlooker(house: House) -> None:
    """A viewer that only watches leaves the desk empty."""
    await house.viewer("wall", desk=False)
    assert house.server.desk()[0] == ""
    await house.viewer("ana")
    await house.viewer("ben")

    assert house.server.desk() == ("ana", 0.0, 3)


async def test_desk_that_is_empty_seats_whoever_acts(house: House) -> None:
    """With nobody there, a viewer that asks for something has sat down."""
    ana, _ = await house.viewer("ana")
    ben, _ = await house.viewer("ben")
    await ana.close()
    await house.until(lambda: house.server.desk()[0] == "")

    assert (await ben.ask(intents.Confirm())).accepted
    assert house.server.desk()[0] == "ben"


async def test_desk_seats_a_newcomer_when_the_one_there_hangs(house: House) -> None:
    """A terminal that hangs does not keep the operator out."""
    ana, _ = await house.viewer("ana")
    ana._tasks[1].cancel()  # noqa: SLF001 - stops pinging, as a stopped process does
    house.clock.now_s += 2.5
    assert house.server.desk() == ("ana", 2.5, 1)
    await house.viewer("ana")

    assert house.server.desk() == ("ana (2)", 0.0, 2)


async def test_desk_hears_pings_while_the_viewer_takes_messages(house: House) -> None:
    """A viewer that draws is there; one that no longer takes its messages is not."""
    client, _ = await house.viewer("ana")
    house.clock.now_s += 10.0
    await house.until(lambda: house.server.desk()[1] == 0.0)
    client._alive_s -= 100.0  # noqa: SLF001 - as if nothing had been drawn for long
    house.clock.now_s += 10.0
    await asyncio.sleep(1.2)
    assert house.server.desk()[1] == pytest.approx(10.0)
    client.alive()

    await house.until(lambda: house.server.desk()[1] == 0.0)


async def test_desk_counts_its_emptiness_from_a_dropped_line(house: House) -> None:
    """A closed terminal or a dropped connection: empty since then."""
    client, _ = await house.viewer("ana")
    await client.close()
    await house.until(lambda: house.server.desk()[2] == 0)
    house.clock.now_s += 10.0

    assert house.server.desk() == ("", pytest.approx(10.0), 0)
    assert house.server.desk_empty_s(house.clock.now_s) == pytest.approx(10.0)


async def test_desk_viewer_that_goes_does_not_cancel_what_is_being_answered(house: House) -> None:
    """The service thread sets its answer later, and must not stumble over it."""
    house.source.answer = None
    client, _ = await house.viewer("ana")
    asking = asyncio.create_task(client.ask(intents.Arm()))
    await house.until(lambda: len(house.source.open) == 1)
    await client.close()
    with pytest.raises(ConnectionResetError):
        await asking
    await house.until(lambda: house.server.desk()[2] == 0)
    (future,) = house.source.open

    assert not future.cancelled()
    future.set_result(Answered(accepted=True))


async def test_desk_bounds_what_one_viewer_may_leave_open_but_never_heat_off(
    house: House,
) -> None:
    """A held key fills no queue; heat off goes through all the same."""
    house.source.answer = None
    reader, writer = await house.raw()
    writer.write(b'{"type":"hello","version":1,"name":"ana","desk":true}\n')
    await within(reader.readline())
    for number in range(ASKS_MOST + 5):
        writer.write(msgspec.json.encode(d.Ask(number, intents.Mark())) + b"\n")
    writer.write(msgspec.json.encode(d.Ask(99, intents.HeatOff())) + b"\n")
    await house.until(lambda: len(house.source.asked) == ASKS_MOST + 1)
    writer.close()

    assert house.source.asked[-1] == ("ana", intents.HeatOff())
    for future in house.source.open:
        future.set_result(Answered(accepted=True))


# Viewers that hang.


async def test_desk_refuses_what_was_meant_long_ago_but_never_heat_off(house: House) -> None:
    """What lay in the line while the owner stood still acts on nothing, unless towards off."""
    client, _ = await house.viewer("ana")
    sent_s = house.clock.now_s
    client._clock_s = lambda: sent_s  # noqa: SLF001 - as if sent before the owner stood still
    house.clock.now_s += 2.9
    assert (await client.ask(intents.Mark())).accepted
    house.clock.now_s += 0.2
    late = await client.ask(intents.Mark())
    assert (late.accepted, late.reason) == (False, Code("too_late"))
    assert (await client.ask(intents.HeatOff())).accepted
    assert (await client.ask(intents.Quit())).accepted

    asked = [intent for _, intent in house.source.asked]
    assert asked == [intents.Mark(), intents.HeatOff(), intents.Quit()]

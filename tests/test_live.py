"""The real processes, at a pace: a viewer comes and goes, plugs are pulled, owners die."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from live_press import LivePress, tawny
from tawny.core.intents import Advance, HeatOff, Quit
from tawny.core.names import BoardState, LinkStatus, Phase, Result
from tawny.store.codes import pressing_code
from tawny.store.reader import Reader

RECONNECT_S = 12.0


@pytest.fixture
async def live(tmp_path: Path) -> AsyncIterator[LivePress]:
    """Yield a press with its board and owner running and a viewer at the desk."""
    press = LivePress(tmp_path)
    press.start_board()
    press.start_owner()
    try:
        await press.look()
        yield press
    finally:
        await press.leave()
        press.stop()


async def fill(press: LivePress) -> None:
    """Go on from idle until a charge lies in the hot mould."""
    await press.start_the_day()
    await press.until(lambda snapshot: snapshot.phase is Phase.READY)
    while (seen := await press.until(lambda _: True)).phase is not Phase.FILL:
        await press.ask(Advance(seen=seen.phase))
        # A person does not drum on the bar: the next tap comes two seconds of the press later.
        await press.until(lambda snapshot, at_s=seen.host_s: snapshot.host_s > at_s + 2.0)


async def test_viewer_killed_in_mid_press_finds_the_pressing_going_on(live: LivePress) -> None:
    """A screen that dies costs the press nothing; a new one sees the same pressing."""
    await fill(live)
    before = await live.until(lambda snapshot: snapshot.pressing_id != "")
    await live.leave()
    await live.look()
    after = await live.until(lambda snapshot: snapshot.pressing_id != "")

    assert after.pressing_id == before.pressing_id
    assert after.armed


async def test_board_killed_in_mid_press_is_noticed_and_comes_back(live: LivePress) -> None:
    """Alarm, sealed pressing, rescue card; back within 12 s with its cause, heating nothing."""
    await fill(live)
    live.kill_board()
    killed_s = time.monotonic()
    await live.until(lambda snapshot: snapshot.link.status is not LinkStatus.UP)
    noticed_s = time.monotonic() - killed_s
    lost = await live.until(lambda snapshot: snapshot.rescue is not None)

    assert noticed_s <= 1.5
    assert {alarm.alarm for alarm in lost.alarms} & {"link_lost", "link_stale"}
    assert lost.phase is Phase.COOL
    live.start_board()
    started_s = time.monotonic()
    back = await live.until(lambda snapshot: snapshot.link.status is LinkStatus.UP)
    assert time.monotonic() - started_s <= RECONNECT_S
    assert back.link.reset_cause.value == "power"
    assert not back.armed
    assert not back.heat
    again = await live.until(lambda snapshot: snapshot.board.state is BoardState.READY)
    assert not again.heat
    with Reader.open(live.home.root) as reader:
        assert reader.pressing(pressing_code(1)).record.result is Result.INTERRUPTED


async def test_owner_killed_in_mid_press_is_sealed_by_the_next(live: LivePress) -> None:
    """The board switches off by itself; the next owner seals, and shows what lies inside."""
    await fill(live)
    await live.until(lambda snapshot: snapshot.phase_elapsed_s > 2.0)
    live.kill_owner()
    await live.leave()
    live.start_owner()
    await live.look()
    shown = await live.until(lambda snapshot: snapshot.link.status is LinkStatus.UP)

    assert shown.rescue is not None
    assert shown.rescue.pressing == pressing_code(1)
    assert not shown.armed
    with Reader.open(live.home.root) as reader:
        assert reader.pressing(pressing_code(1)).record.result is Result.INTERRUPTED
        assert reader.verify().sound


async def test_heat_off_and_quit_end_the_owner_in_good_order(live: LivePress) -> None:
    """Quitting commands heat off, says goodbye and leaves a whole record."""
    await live.start_the_day()
    assert await live.ask(HeatOff())
    await live.until(lambda snapshot: not snapshot.armed)
    assert await live.ask(Quit())
    assert live.owner is not None
    assert live.owner.wait(10) == 0
    with Reader.open(live.home.root) as reader:
        assert reader.verify().sound


async def test_second_owner_is_refused_with_one_sentence(live: LivePress) -> None:
    """Two owners of one home folder cannot be: the second says who holds it and ends with 2."""
    second = await asyncio.create_subprocess_exec(
        *tawny("serve", "--home", str(live.home.root), "--port", "/dev/null"),
        stderr=asyncio.subprocess.PIPE,
    )
    _, said = await second.communicate()

    assert live.owner is not None
    assert second.returncode == 2
    assert str(live.owner.pid) in said.decode()
    assert len(said.decode().strip().splitlines()) == 1


async def test_lost_board_is_on_screen_within_a_second_and_a_half_at_real_pace(
    tmp_path: Path,
) -> None:
    """At the pace of the world: marked old in 1.5 s, alarmed and given up in 4 s."""
    press = LivePress(tmp_path, pace=1.0)
    press.start_board()
    press.start_owner()
    try:
        await press.look()
        await press.start_the_day()
        press.kill_board()
        killed_s = time.monotonic()
        await press.until(lambda snapshot: snapshot.upper.quality.value != "good")
        assert time.monotonic() - killed_s <= 1.5
        lost = await press.until(lambda snapshot: snapshot.phase is Phase.COOL)
        assert time.monotonic() - killed_s <= 4.0
        assert "link_lost" in {alarm.alarm for alarm in lost.alarms}
    finally:
        await press.leave()
        press.stop()

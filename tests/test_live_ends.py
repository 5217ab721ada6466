"""The real processes come to an end: signals, faults, standstills, an empty desk."""

from __future__ import annotations

import asyncio
import signal
import subprocess
import sys
import time
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from faulty_owner import DESK_FAULT, FAULT
from live_press import LivePress, tawny
from tawny.core.intents import Advance, Prepare
from tawny.core.names import BoardState, LinkStatus, Phase, Result
from tawny.core.snapshot import Code
from tawny.store.codes import pressing_code
from tawny.store.reader import Reader

FAULTY_OWNER = str(Path(__file__).with_name("faulty_owner.py"))


async def to_hold(press: LivePress) -> None:
    """Go on from idle, a tap every two seconds of the press, until the mould is closed."""
    await press.start_the_day()
    await press.until(lambda snapshot: snapshot.phase is Phase.READY)
    while (seen := await press.until(lambda _: True)).phase not in (Phase.BREATHE, Phase.HOLD):
        await press.ask(Advance(seen=seen.phase))
        await press.until(lambda snapshot, at_s=seen.host_s: snapshot.host_s > at_s + 2.0)


@pytest.fixture
async def live(tmp_path: Path) -> AsyncIterator[LivePress]:
    """Yield a press with its board running; the owner is the test's to start."""
    press = LivePress(tmp_path)
    press.start_board()
    try:
        yield press
    finally:
        await press.leave()
        press.stop()


async def test_sigterm_in_mid_press_is_heat_off_sealed_and_code_0(live: LivePress) -> None:
    """The board is told, not left to its time-outs; the record is whole within seconds."""
    live.start_owner()
    await live.look()
    await to_hold(live)
    assert live.owner is not None
    live.owner.send_signal(signal.SIGTERM)
    signalled_s = time.monotonic()
    assert await asyncio.to_thread(live.owner.wait, 10) == 0

    assert time.monotonic() - signalled_s <= 5.0
    assert live.board_log()[-1] == "disarmed"
    assert "silence" not in live.board_log()
    with Reader.open(live.home.root) as reader:
        record = reader.pressing(pressing_code(1)).record
        assert record.result is Result.ABORTED
        assert reader.verify().sound
    await live.until(lambda _: live.goodbye is not None)
    assert live.goodbye is not None
    assert live.goodbye.reason == Code("owner_ended")


async def test_fault_in_mid_press_is_heat_off_a_sentence_and_code_1(live: LivePress) -> None:
    """The board is told; the viewer too; one sentence is left, and the pressing for the next."""
    live.start_owner(program=[sys.executable, FAULTY_OWNER, str(live.home.root)])
    await live.look()
    await to_hold(live)
    (live.home.root / FAULT).touch()
    assert live.owner is not None
    _, said = await asyncio.to_thread(live.owner.communicate, timeout=10)

    assert live.owner.returncode == 1
    (sentence,) = said.decode().splitlines()
    assert sentence.startswith("a fault in the program: ZeroDivisionError: no such thing")
    (kept,) = live.home.crashes.iterdir()
    assert str(kept) in sentence
    assert "in faulty" in kept.read_text(encoding="utf-8")
    assert live.board_log()[-1] == "disarmed"
    assert "silence" not in live.board_log()
    await live.until(lambda _: live.goodbye is not None)
    assert live.goodbye is not None
    assert live.goodbye.reason == Code("owner_failed")

    await live.leave()
    live.start_owner()
    await live.look()
    shown = await live.until(lambda snapshot: snapshot.rescue is not None)
    assert not shown.armed
    with Reader.open(live.home.root) as reader:
        record = reader.pressing(pressing_code(1)).record
        assert record.result is Result.INTERRUPTED
        assert record.phase_at_end in (Phase.BREATHE, Phase.HOLD)


async def test_fault_of_the_desk_in_mid_press_is_heat_off_and_sealed(live: LivePress) -> None:
    """What serves the viewers fails: the press is switched off in good order, code 1."""
    live.start_owner(program=[sys.executable, FAULTY_OWNER, str(live.home.root)])
    await live.look()
    await to_hold(live)
    (live.home.root / DESK_FAULT).touch()
    assert live.owner is not None
    _, said = await asyncio.to_thread(live.owner.communicate, timeout=15)

    assert live.owner.returncode == 1
    assert "ZeroDivisionError: no such desk" in said.decode()
    assert live.board_log()[-1] == "disarmed"
    assert "silence" not in live.board_log()
    with Reader.open(live.home.root) as reader:
        assert reader.pressing(pressing_code(1)).record.result is Result.ABORTED


async def test_owner_that_stood_still_acts_on_nothing_of_before(tmp_path: Path) -> None:
    """Stopped for 5 s in mid press: the board disarms itself, and only a new arming heats."""
    press = LivePress(tmp_path, pace=1.0)
    press.start_board("175 degC")
    press.start_owner()
    try:
        await press.look()
        await press.start_the_day()
        assert press.owner is not None
        press.owner.send_signal(signal.SIGSTOP)
        asked = asyncio.create_task(press.ask(Prepare(empty=True, dry=True, let_down=True)))
        await asyncio.sleep(4.0)
        press.owner.send_signal(signal.SIGCONT)
        assert not await asked
        shown = await press.until(lambda snapshot: snapshot.phase is Phase.COOL, 5.0)
        assert not shown.heat
        assert press.board_log()[-1] == "silence"

        await press.until(
            lambda snapshot: (
                snapshot.link.status is LinkStatus.UP and snapshot.board.state is BoardState.READY
            )
        )
        await asyncio.sleep(3.0)
        assert press.board_log().count("armed") == 1
        assert press.snapshot is not None
        assert not press.snapshot.armed
        assert not press.snapshot.heat
    finally:
        await press.leave()
        press.stop()


def beside(press: LivePress, *words: str) -> subprocess.CompletedProcess[str]:
    """Run a command of the same home while its owner runs."""
    return subprocess.run(
        tawny(*words, "--home", str(press.home.root)),
        capture_output=True,
        text=True,
        check=False,
    )


async def test_part_is_shown_and_exported_while_the_owner_runs(live: LivePress) -> None:
    """Readers never wait for the owner, nor it for them; an interrupted part is told as one."""
    live.start_owner()
    await live.look()
    await to_hold(live)
    live.kill_board()
    await live.until(lambda snapshot: snapshot.rescue is not None and bool(snapshot.last_parts))
    assert live.snapshot is not None
    part = live.snapshot.last_parts[0].part_id
    shown = await asyncio.to_thread(beside, live, "show", part, "--json")
    assert shown.returncode == 0, shown.stderr
    assert '"interrupted"' in shown.stdout
    for form in ("csv", "json"):
        to = live.home.root / f"out-{form}"
        done = await asyncio.to_thread(
            beside, live, "export", part, "--format", form, "--to", str(to)
        )
        assert done.returncode == 0, done.stderr
        assert any(found.suffix == f".{form}" for found in to.iterdir())
    assert live.owner is not None
    assert live.owner.poll() is None


@pytest.mark.slow
async def test_empty_desk_is_an_alarm_at_10_s_and_heat_off_at_60_s(live: LivePress) -> None:
    """Closed and come back: the hold goes on. A viewer that hangs: heat off and sealed."""
    live.start_owner()
    await live.look()
    onlooker = LivePress(live.home.root)
    await onlooker.look(desk=False)
    try:
        await live.start_the_day()
        await live.leave()
        left_s = time.monotonic()
        shown = await onlooker.until(
            lambda snapshot: "desk_empty" in {alarm.alarm for alarm in snapshot.alarms}
        )
        assert 9.0 <= time.monotonic() - left_s <= 13.0
        assert shown.heat
        assert live.scene()["sound"] == "alarm"
        await live.look()
        shown = await onlooker.until(
            lambda snapshot: (
                "desk_empty"
                not in {one.alarm for one in snapshot.alarms if one.state.value == "active"}
            )
        )
        assert shown.phase is not Phase.COOL
        assert shown.armed

        await live.leave()
        hung = await asyncio.create_subprocess_exec(
            sys.executable, "tests/live_press.py", str(live.home.root)
        )
        try:
            await onlooker.until(lambda snapshot: snapshot.desk_viewer.startswith("hung"))
            hung.send_signal(signal.SIGSTOP)
            hung_s = time.monotonic()
            await onlooker.until(
                lambda snapshot: (
                    "desk_empty"
                    in {one.alarm for one in snapshot.alarms if one.state.value == "active"}
                )
            )
            assert 8.0 <= time.monotonic() - hung_s <= 13.0
            shown = await onlooker.until(lambda snapshot: not snapshot.armed, 70.0)
            assert 57.0 <= time.monotonic() - hung_s <= 64.0
            assert shown.phase is Phase.COOL
            assert live.board_log()[-1] == "disarmed"
        finally:
            hung.kill()
            await hung.wait()
    finally:
        await onlooker.leave()

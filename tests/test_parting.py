"""How an owner ends: on purpose, by a signal, by a fault. Its board is told to heat no more."""

from __future__ import annotations

from pathlib import Path
from queue import Queue

from rig import Rig
from tawny.core.intents import Quit
from tawny.core.names import BoardState, Phase, Result
from tawny.link.reader import Heard, Line
from tawny.service.clock import HostClock
from tawny.service.live import Owner
from tawny.store.codes import pressing_code


def test_parting_reaches_a_board_that_still_owes_an_answer(tmp_path: Path) -> None:
    """Quit while a duty line is out: the goodbye waits for its turn, and is not forgotten."""
    rig = Rig(tmp_path, start_c=170.0, person=1)
    rig.until(Phase.SOAK)
    rig.working = False
    for _ in range(20):
        rig.lockstep.step()
        if not rig.session._outbox.idle:  # noqa: SLF001 - the line that is out
            break
    assert rig.world.board.state is BoardState.ARMED
    assert rig.ask(Quit())
    rig.close()

    assert rig.press.parted
    assert rig.world.board.state is not BoardState.ARMED
    assert not rig.world.board.contactor
    assert [entry.code for entry in rig.world.board.memory.contents.log][-1] == "disarmed"


class _Since(HostClock):
    """The clock of the world, going on from where the virtual one stood."""

    def __init__(self, from_ms: int) -> None:
        super().__init__()
        self._from_ms = from_ms - super().now_ms()

    def now_ms(self) -> int:
        """Return the host clock now."""
        return super().now_ms() + self._from_ms


def test_parting_after_a_fault_sends_nothing_but_heat_off(tmp_path: Path) -> None:
    """The thread ends with its failure kept; the board is off; the pressing lies in the spool."""
    rig = Rig(tmp_path, start_c=175.0, person=1)
    rig.until(Phase.HOLD)
    rig.run(10.2)
    clock, inbox = _Since(rig.lockstep.now_ms), Queue[Heard]()
    sent: list[bytes] = []

    def write(data: bytes) -> None:
        """Hand a line to the board, and what it says to the owner's queue."""
        sent.append(data)
        rig.world.receive(data, rig.lockstep.now_ms)
        rig.world.advance(rig.lockstep.now_ms + 50)
        for line in rig.world.take().splitlines():
            inbox.put(Line(clock.now_ms(), line))

    def fail(_host_ms: int) -> None:
        message = "no such thing"
        raise ZeroDivisionError(message)

    rig.press._write = write  # noqa: SLF001 - the one wire the press is given
    rig.press.tick = fail  # type: ignore[method-assign] # a fault in the program
    owner = Owner(rig.press, clock, inbox)
    owner.start()
    assert owner.ended.wait(5.0)
    owner.join(5.0)

    assert isinstance(owner.failure, ZeroDivisionError)
    assert [line.split(b" ", 1)[0] for data in sent for line in data.splitlines()] == [b"bye"]
    assert rig.press.parted
    assert rig.world.board.state is not BoardState.ARMED
    last_ms = rig.press.state.host_ms
    rig.recorder.close()
    with Rig(tmp_path) as again:
        record = again.store.pressing(pressing_code(1)).record
        assert record.result is Result.INTERRUPTED
        assert record.ended_mono_ms == last_ms
        assert again.press.snapshot(0).rescue is not None

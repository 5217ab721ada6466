"""The session with the board on a fake clock, against a board that follows the protocol's page."""

from __future__ import annotations

from collections import deque
from itertools import pairwise

import pytest

from session_bench import Bench, of
from tawny.core import messages as m
from tawny.core.names import LinkStatus
from tawny.core.snapshot import Code
from tawny.core.wire import encode
from tawny.link import events as e


@pytest.fixture
def bench() -> Bench:
    """A fresh bench."""
    return Bench()


def test_session_sends_nothing_before_the_board_was_heard(bench: Bench) -> None:
    """An opening may reset the board, so the host waits for a good line."""
    bench.silent = True
    bench.session.opened(bench.now_s)
    bench.run(4.0)

    assert bench.sent == []
    assert bench.session.status is LinkStatus.GREETING


def test_session_asks_for_identity_limits_and_mould_before_anything_else(bench: Bench) -> None:
    """hello, limits, mould; then up; and no telemetry reaches the caller before."""
    bench.session.opened(bench.now_s)
    bench.run(1.0)

    assert bench.kinds() == ["Hello", "LimitsAsk", "MouldAsk"]
    assert isinstance(bench.events[0], e.Up)
    assert bench.events[0].here.board == "5448a1b2c3d40917"
    assert bench.events[0].limits.ceil == 2300
    assert bench.events[0].mould.ur == 412
    assert bench.sent[2][1] == m.MouldAsk("3fa1", bench.sent[2][1].q, 0)
    telemetry = of(e.Telemetry, bench.events)
    assert telemetry
    assert bench.events.index(telemetry[0]) > 0


def test_session_takes_no_request_before_it_is_up(bench: Bench) -> None:
    """Nothing can be asked of a board whose identity is not confirmed."""
    bench.session.opened(bench.now_s)

    assert not bench.session.arm()
    assert not bench.session.charge()
    assert not bench.session.send_duty(0.5, 180.0, 0.5, 180.0, bench.now_s)
    assert bench.session.take() == b""


def test_session_holds_telemetry_back_until_the_handshake_is_whole(bench: Bench) -> None:
    """A known identity alone is not enough: limits and mould come first."""
    bench.mute = (m.LimitsAsk,)
    bench.session.opened(bench.now_s)
    bench.run(1.0)
    assert bench.session.here is not None
    assert bench.events == []
    bench.mute = ()
    bench.run(1.0)

    assert isinstance(bench.events[0], e.Up)


def test_session_that_is_closed_takes_nothing(bench: Bench) -> None:
    """What still waited in the queue when the port went is neither used nor counted."""
    bench.come_up()
    bench.session.lost(bench.now_s, Code("port_gone"))
    for line in (b"noise", encode(bench.tele())[:-1], encode(m.Done(1))[:-1]):
        assert bench.session.receive(line, bench.now_s) == []

    assert bench.session.take() == b""
    assert (bench.session.bad_lines, bench.session.stray_lines) == (0, 0)
    assert bench.session.status is LinkStatus.CLOSED


def test_session_greets_at_the_banner_of_a_board_that_the_opening_reset(bench: Bench) -> None:
    """The banner is a good line; the greeting follows at once, and it is no reset in session."""
    bench.session.opened(bench.now_s)
    bench.now_s += 2.0
    bench.say(m.Boot(41, "button", "9d2f0c11", "none"))

    assert bench.kinds() == ["Hello", "LimitsAsk", "MouldAsk"]
    assert of(e.BoardReset, bench.events) == []


@pytest.mark.parametrize(("version", "update"), [(0, "board"), (2, "host")])
def test_session_refuses_another_major_version_and_says_which_to_update(
    bench: Bench, version: int, update: str
) -> None:
    """The older of the two must be updated; the board is not used and not asked again."""
    bench.version = version
    bench.session.opened(bench.now_s)
    bench.run(20.0)

    assert bench.events == [
        e.Down(
            Code(
                "version_refused",
                {"board_version": version, "host_version": 1, "update": update},
            ),
            refused=True,
        )
    ]
    assert bench.kinds() == ["Hello"]
    assert bench.session.status is LinkStatus.REFUSED


def test_session_greets_a_refused_board_again_after_it_restarts(bench: Bench) -> None:
    """A board with new firmware is used without touching the host."""
    bench.version = 2
    bench.session.opened(bench.now_s)
    bench.run(1.0)
    bench.version = 1
    bench.say(m.Boot(42, "power", "9d2f0c12", "none"))

    assert bench.session.status is LinkStatus.UP


def test_session_calls_a_device_that_talks_something_else_a_wrong_device(bench: Bench) -> None:
    """Bytes but no good line within 5 s: not used, said once; and garbage makes no event."""
    bench.silent = True
    bench.session.opened(bench.now_s)
    for _ in range(60):
        bench.run(0.1)
        assert bench.session.receive(b"$GPGGA,garbage", bench.now_s) == []
        bench.session.dropped(1, bench.now_s)

    assert bench.events == [e.Down(Code("wrong_device"), refused=True)]
    assert bench.session.status is LinkStatus.REFUSED
    assert bench.session.bad_lines == 120
    assert bench.sent == []


def test_session_says_that_no_board_is_there_when_nothing_comes(bench: Bench) -> None:
    """A silent port is another sentence than a wrong device; a board that wakes up is used."""
    bench.silent = True
    bench.session.opened(bench.now_s)
    bench.run(8.0)
    assert bench.events == [e.Down(Code("no_board"))]
    bench.silent = False
    bench.run(1.0)

    assert bench.session.status is LinkStatus.UP


def test_session_waits_while_the_board_is_busy_with_the_old_session(bench: Bench) -> None:
    """A host that restarted waits up to 12 s, asking once a second."""
    bench.refuse[m.Hello] = deque(["busy"] * 10)
    bench.session.opened(bench.now_s)
    bench.run(11.5)

    assert bench.session.status is LinkStatus.UP
    assert of(e.Down, bench.events) == []
    hellos = [at_s for at_s, request in bench.sent if isinstance(request, m.Hello)]
    assert len(hellos) == 11
    assert all(later - earlier >= 1.0 for earlier, later in pairwise(hellos))


def test_session_says_so_when_another_host_holds_the_board(bench: Bench) -> None:
    """Busy for longer than a dead session can be: another host, and said once."""
    bench.refuse[m.Hello] = deque(["busy"] * 100)
    bench.session.opened(bench.now_s)
    bench.run(20.0)

    (down,) = of(e.Down, bench.events)
    assert isinstance(down, e.Down)
    assert down.reason.code == "board_busy"

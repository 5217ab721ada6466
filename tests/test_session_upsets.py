"""What a session makes of resets, silence, garbage and changes at the board."""

from __future__ import annotations

from itertools import pairwise
from zlib import crc32

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from session_bench import Bench, of
from tawny.core import messages as m
from tawny.core.names import Half, LinkStatus
from tawny.core.snapshot import Code
from tawny.errors import InputError
from tawny.link import events as e


@pytest.fixture
def bench() -> Bench:
    """A fresh bench."""
    return Bench()


def test_session_tells_a_reset_in_mid_session_and_greets_again(bench: Bench) -> None:
    """The banner: told with boot and cause, then up again with the new identity."""
    bench.come_up()
    bench.boot, bench.token, bench.ms, bench.n = 42, "77aa", 212, 0
    events = bench.say(m.Boot(42, "brownout", "9d2f0c11", "none"))
    bench.run(1.0)

    assert of(e.BoardReset, events) == [e.BoardReset(42, "brownout")]
    (up,) = of(e.Up, bench.events)
    assert isinstance(up, e.Up)
    assert up.here.boot == 42
    later = of(e.Telemetry, bench.events)[-1]
    assert isinstance(later, e.Telemetry)
    assert (later.boot, later.board_ms) == (42, bench.ms)


def test_session_finds_a_reset_whose_banner_was_lost_by_the_refused_token(bench: Bench) -> None:
    """The duty line's token is refused; the new `here` carries another boot."""
    bench.come_up()
    bench.boot, bench.token = 42, "77aa"
    bench.session.send_duty(0.4, 180.0, 0.3, 180.0, bench.now_s)
    bench.run(0.5)

    assert of(e.BoardReset, bench.events) == [e.BoardReset(42, "power")]
    assert of(e.Refusal, bench.events) == []
    assert bench.session.status is LinkStatus.UP


def test_session_finds_a_reset_by_a_clock_that_went_back(bench: Bench) -> None:
    """Telemetry of the new boot is held back until the board said which boot it is."""
    bench.come_up()
    bench.boot, bench.token, bench.ms, bench.n = 42, "77aa", 200, 0
    bench.run(1.0)

    assert of(e.BoardReset, bench.events) == [e.BoardReset(42, "power")]
    assert {event.boot for event in of(e.Telemetry, bench.events)} == {42}  # type: ignore[attr-defined]


def test_session_goes_on_when_the_clock_jumped_within_one_session(bench: Bench) -> None:
    """The token still holds: no reset, and the time goes on from what the board says."""
    bench.come_up()
    bench.ms = 900_000
    bench.run(1.0)

    assert of(e.BoardReset, bench.events) == []
    last = of(e.Telemetry, bench.events)[-1]
    assert isinstance(last, e.Telemetry)
    assert last.board_ms == bench.ms


def test_session_unwraps_the_clock_of_the_board(bench: Bench) -> None:
    """After 2^32 ms the time goes on growing."""
    bench.ms = 2**32 - 1000
    bench.come_up()
    bench.run(3.0)

    times = [event.board_ms for event in of(e.Telemetry, bench.events)]  # type: ignore[attr-defined]
    assert all(later - earlier == 200 for earlier, later in pairwise(times))
    assert times[-1] > 2**32


def test_session_is_stale_after_1_s_and_lost_after_3_s_of_silence(bench: Bench) -> None:
    """1.0 s without a good line is stale; bad lines do not count as life."""
    bench.come_up()
    last_s = bench.now_s
    bench.silent = True
    bench.session.poll(last_s + 1.0)
    assert bench.session.status is LinkStatus.UP
    bench.session.poll(last_s + 1.01)
    assert bench.session.status is LinkStatus.STALE
    bench.session.receive(b"tele n=1", last_s + 2.0)
    assert bench.session.status is LinkStatus.STALE
    events = bench.session.poll(last_s + 3.0)

    assert [event.reason.code for event in of(e.Down, events)] == ["link_lost"]  # type: ignore[attr-defined]
    assert bench.session.status is LinkStatus.GREETING


def test_session_counts_bad_lines_and_flags_more_than_100_a_second(bench: Bench) -> None:
    """The flag falls after a quiet second; unknown kinds and stray replies are counted apart."""
    bench.come_up()
    for count in range(101):
        assert not bench.session.noisy, count
        bench.session.receive(b"noise", bench.now_s)
    assert bench.session.noisy
    assert bench.session.bad_lines == 101
    body = b"weather ms=1"
    bench.session.receive(b"%b crc=%08x" % (body, crc32(body)), bench.now_s)
    bench.say(m.Done(4711), m.Challenge(4711, "00000000"))
    bench.run(2.5)

    assert not bench.session.noisy
    assert bench.session.bad_lines == 101
    assert bench.session.unknown_lines == 1
    assert bench.session.stray_lines == 2


def test_session_ignores_a_reply_of_the_wrong_kind(bench: Bench) -> None:
    """A `done` for a question is no answer: counted, and the request ends as unanswered."""
    bench.come_up()
    bench.mute = (m.Message,)
    bench.session.read_log(3)
    bench.run(0.1)
    bench.say(m.Done(bench.sent[0][1].q))

    assert of(e.LogRead, bench.events) == []
    assert bench.session.stray_lines == 1


def test_session_reads_limits_and_mould_again_after_a_change(bench: Bench) -> None:
    """A selected slot, stored values or another trip point show in what the host knows."""
    for ask in (
        lambda s: s.use_mould(2),
        lambda s: s.store_mould(1, Half.UPPER, 0.412, 18.3, 1140.0),
        lambda s: s.reduce_trip(200.0),
    ):
        bench = Bench()
        bench.come_up()
        assert ask(bench.session)
        bench.run(1.0)

        assert len(of(e.Answered, bench.events)) == 1
        assert len(of(e.LimitsRead, bench.events)) == 1
        assert len(of(e.MouldRead, bench.events)) == 1


def test_session_sends_a_mould_in_the_units_of_the_wire(bench: Bench) -> None:
    """K/s in thousandths, lag in tenths of a second, heat-up time in seconds."""
    bench.come_up()
    bench.session.store_mould(1, Half.LOWER, 0.412, 18.3, 1140.0)
    bench.session.reduce_trip(200.0)
    bench.run(1.0)

    store, trip = bench.sent[0][1], next(r for _, r in bench.sent if isinstance(r, m.TripSet))
    assert store == m.StoreMould("3fa1", store.q, 1, "lower", 412, 183, 1140)
    assert trip.c == 2000


@pytest.mark.parametrize(
    "ask",
    [
        lambda s: s.use_mould(0),
        lambda s: s.use_mould(9),
        lambda s: s.read_mould(9),
        lambda s: s.store_mould(1, Half.UPPER, 0.0, 18.3, 1140.0),
        lambda s: s.store_mould(1, Half.UPPER, float("nan"), 18.3, 1140.0),
        lambda s: s.store_mould(1, Half.UPPER, 5.1, 18.3, 1140.0),
        lambda s: s.store_mould(1, Half.UPPER, 0.4, 301.0, 1140.0),
        lambda s: s.store_mould(1, Half.UPPER, 0.4, 18.3, 59.0),
        lambda s: s.reduce_trip(59.9),
        lambda s: s.reduce_trip(230.1),
        lambda s: s.reduce_trip(float("nan")),
        lambda s: s.signal("red", "off"),
        lambda s: s.signal("on", "loud"),
    ],
)
def test_session_refuses_a_request_that_the_protocol_forbids(bench: Bench, ask: object) -> None:
    """The caller gets a sentence; nothing is sent and nothing is clipped."""
    bench.come_up()
    with pytest.raises(InputError):
        ask(bench.session)  # type: ignore[operator]
    bench.run(0.3)

    assert bench.sent == []


def test_session_ends_with_bye(bench: Bench) -> None:
    """Heat off at the board; afterwards the session is closed."""
    bench.come_up()
    assert bench.session.bye()
    bench.run(0.1)

    assert bench.kinds() == ["Bye"]
    assert of(e.Down, bench.events) == [e.Down(Code("bye"))]
    assert bench.session.status is LinkStatus.CLOSED


def test_session_ends_with_bye_also_when_the_board_has_ended_it_before(bench: Bench) -> None:
    """A token that no longer counts needs no new greeting on the way out."""
    bench.come_up()
    bench.token = "77aa"  # noqa: S105 - the number of a session
    bench.session.bye()
    bench.run(1.0)

    assert bench.kinds() == ["Bye"]
    assert bench.session.status is LinkStatus.CLOSED


def test_session_tells_a_lost_port_once_per_reason_and_starts_afresh(bench: Bench) -> None:
    """Each failed attempt to open gives the same reason and no further event."""
    bench.come_up()
    gone = Code("port_gone", {"port": "/dev/ttyUSB0"})
    assert bench.session.lost(bench.now_s, gone) == [e.Down(gone)]
    assert bench.session.lost(bench.now_s + 1.0, gone) == []
    absent = Code("port_absent", {"port": "/dev/ttyUSB0"})
    assert bench.session.lost(bench.now_s + 2.0, absent) == [e.Down(absent)]
    assert bench.session.status is LinkStatus.CLOSED
    bench.session.opened(bench.now_s + 3.0)
    bench.now_s += 3.0
    bench.run(1.0)

    assert bench.session.status is LinkStatus.UP
    assert of(e.BoardReset, bench.events) == []


def test_session_is_up_within_12_s_of_a_board_that_restarted(bench: Bench) -> None:
    """Port gone, port back, telemetry: the greeting follows at once."""
    bench.come_up()
    bench.session.lost(bench.now_s, Code("port_gone"))
    bench.boot, bench.token, bench.ms = 42, "77aa", 0
    bench.session.opened(bench.now_s)
    bench.run(0.5)

    assert isinstance(of(e.Up, bench.events)[0], e.Up)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.binary(max_size=120).map(lambda data: data.replace(b"\n", b"")), max_size=40))
def test_session_gives_no_event_for_garbage(lines: list[bytes]) -> None:
    """Whatever bytes come, an established session stays up and tells nothing of them."""
    bench = Bench()
    bench.come_up()
    for line in lines:
        assert bench.session.receive(line, bench.now_s) == []

    assert bench.session.up
    assert bench.session.bad_lines == len(lines)

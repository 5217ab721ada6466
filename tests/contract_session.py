"""Sections 1 to 3 and 5 of the wire contract: line, session, log. For any board."""

from __future__ import annotations

import pytest

from board_rig import Bench, Rig
from tawny.core import messages as m
from tawny.core import wire
from tawny.core.names import ResetCause


def body_line(body: str) -> bytes:
    """A line of these fields with its CRC."""
    data = body.encode("ascii")
    return b"%b crc=%08x\n" % (data, wire.crc_of(data))


def vars_of(message: m.Message) -> list[object]:
    """The fields of a message in the order of the wire."""
    return [getattr(message, name) for name in message.__struct_fields__]


class SessionContract:
    """One host at a time, each request one reply."""

    def test_board_greets_with_its_identity(self, rig: Rig) -> None:
        """`hello` is answered with versions, build, boot, cause, latch and a token."""
        bench = Bench(rig)
        bench.run(1.6, None)
        here = bench.hello()
        assert isinstance(here, m.Here)
        boot = bench.last(m.Boot)
        assert (here.v, here.mv, here.latch) == (m.PROTOCOL_MAJOR, m.PROTOCOL_MINOR, "none")
        assert (here.boot, here.build, here.cause) == (boot.boot, boot.build, "power")
        assert here.s != "0000"

    def test_board_says_boot_once_and_first(self, rig: Rig) -> None:
        """The banner comes before anything else, and only at a start."""
        bench = Bench(rig)
        bench.run(5.0, None)
        assert isinstance(bench.heard[0], m.Boot)
        assert sum(isinstance(said, m.Boot) for said in bench.heard) == 1

    def test_board_refuses_a_second_session(self, rig: Rig) -> None:
        """While a session is alive another `hello` is refused and the first goes on."""
        bench = Bench(rig).greet()
        token = bench.token
        assert bench.why(m.Hello(7, m.PROTOCOL_MAJOR, "00000001")) == "busy"
        assert bench.token == token
        assert bench.duty((0, 0)) == ""

    def test_board_frees_the_token_on_bye(self, rig: Rig) -> None:
        """After `bye` a new session begins at once, with another token."""
        bench = Bench(rig).greet()
        token = bench.token
        assert bench.why(bench.request(m.Bye)) == ""
        assert bench.lock_reason() == "session"
        assert isinstance(bench.hello(), m.Here)
        assert bench.token != token

    def test_board_of_another_major_starts_no_session(self, rig: Rig) -> None:
        """A `hello` of major 2 gets `s=0000`, also beside a live session, and telemetry goes on."""
        bench = Bench(rig)
        bench.run(1.6, None)
        reply = bench.ask(m.Hello(9, 2, "00000001"))
        assert isinstance(reply, m.Here)
        assert (reply.s, reply.v) == ("0000", m.PROTOCOL_MAJOR)
        assert bench.why(m.LimitsAsk("0000", 10)) == "token"
        before = bench.tele.n
        bench.run(1.0, None)
        assert bench.tele.n == before + 5
        bench.greet()
        other = bench.ask(m.Hello(9, 2, "00000001"))
        assert isinstance(other, m.Here)
        assert bench.duty((0, 0)) == ""

    def test_board_tokens_do_not_return_soon(self, rig: Rig) -> None:
        """Over 40 sessions and several resets no token comes twice."""
        tokens = []
        for number in range(40):
            if number % 10 == 9:
                rig.restart(ResetCause.POWER)
            bench = Bench(rig)
            bench.run(1.6, None)
            bench.hello()
            tokens.append(bench.token)
            bench.ask(bench.request(m.Bye))
        assert len(set(tokens)) == 40
        assert "0000" not in tokens

    def test_board_refuses_another_token(self, rig: Rig) -> None:
        """A request with another token changes nothing, not even the sequence."""
        bench = Bench(rig).greet()
        assert bench.why(m.Disarm("0000", bench.q + 5)) == "token"
        assert bench.duty((0, 0)) == ""

    @pytest.mark.parametrize(
        ("ahead", "why"),
        [(0, "old"), (1, ""), (32767, ""), (32768, "old"), (65535, "old"), (-1, "old")],
    )
    def test_board_takes_only_newer_numbers(self, rig: Rig, ahead: int, why: str) -> None:
        """`q` is newer when it is 1 to 32767 ahead, modulo 65536."""
        bench = Bench(rig).greet()
        assert bench.why(m.LimitsAsk(bench.token, (bench.q + ahead) & 0xFFFF)) == why

    def test_board_sequence_wraps(self, rig: Rig) -> None:
        """After 65535 comes 0."""
        bench = Bench(rig)
        bench.run(1.6, None)
        bench.q = 65533
        bench.hello()
        for _ in range(4):
            assert bench.why(bench.request(m.LimitsAsk)) == ""
        assert bench.q == 2

    def test_board_refused_request_moves_the_sequence(self, rig: Rig) -> None:
        """A number that was refused for its state is used up all the same."""
        bench = Bench(rig).greet()
        assert bench.why(bench.request(m.Charge)) == "state"
        assert bench.why(m.LimitsAsk(bench.token, bench.q)) == "old"

    def test_board_old_request_changes_nothing(self, rig: Rig) -> None:
        """A repeated `bye` of an older number does not end the session."""
        bench = Bench(rig).greet()
        assert bench.why(m.Bye(bench.token, bench.q)) == "old"
        assert bench.duty((0, 0)) == ""

    def test_board_session_lives_10_s_without_duty(self, rig: Rig) -> None:
        """It is alive at 9.9 s of silence and free at 10.1 s."""
        bench = Bench(rig).greet()
        bench.duty((0, 0))
        bench.run(9.9, None)
        assert bench.why(m.Hello(1, m.PROTOCOL_MAJOR, "00000001")) == "busy"
        bench.run(0.2, None)
        assert "released" in bench.codes()
        assert isinstance(bench.hello(), m.Here)

    def test_board_session_needs_no_duty_in_its_first_10_s(self, rig: Rig) -> None:
        """From `hello` on the first line may take 10 s."""
        bench = Bench(rig)
        bench.run(1.6, None)
        bench.hello()
        bench.run(9.9, None)
        assert bench.duty((0, 0)) == ""
        bench.run(9.9, None)
        assert bench.duty((0, 0)) == ""


class LineContract:
    """Broken lines are dropped and counted, never acted on."""

    @pytest.mark.parametrize("spoil", ["crc", "capital", "space", "order", "extra", "cr", "long"])
    def test_board_drops_a_broken_line(self, rig: Rig, spoil: str) -> None:
        """No reply, no effect, and the count goes up by one."""
        bench = Bench(rig).greet().arm()
        good = f"disarm s={bench.token} q={bench.next_q()}"
        spoilt = {
            "crc": good.encode() + b" crc=00000000\n",
            "capital": body_line(good.replace("disarm", "Disarm")),
            "space": body_line(good.replace(" q", "  q")),
            "order": body_line(f"disarm q={bench.q} s={bench.token}"),
            "extra": body_line(good + " z=1"),
            "cr": body_line(good).replace(b"\n", b"\r\n"),
            "long": body_line(good + " abcde=0123456789012345" * 3),
        }[spoil]
        before = bench.last(m.Stat).bad
        bench.forget()
        rig.write(spoilt)
        assert all(isinstance(said, m.Tele | m.Stat | m.Event) for said in bench.listen())
        bench.run(1.1)
        assert bench.last(m.Stat).bad == before + 1
        assert bench.state == "armed"

    def test_board_counts_an_unknown_kind_apart(self, rig: Rig) -> None:
        """A good line of an unknown kind is ignored."""
        bench = Bench(rig).greet()
        rig.write(body_line(f"dance s={bench.token} q={bench.next_q()}"))
        bench.run(1.1)
        assert (bench.last(m.Stat).unk, bench.last(m.Stat).bad) == (1, 0)
        assert bench.state == "ready"

    @pytest.mark.parametrize(("pause_ms", "taken"), [(40, True), (60, False)])
    def test_board_drops_a_line_that_stands_unfinished(
        self,
        rig: Rig,
        pause_ms: int,
        taken: bool,  # noqa: FBT001 - a parameter
    ) -> None:
        """50 ms without a byte end an unfinished line."""
        bench = Bench(rig).greet()
        bench.run(2.0)
        line = wire.encode(bench.request(m.LimitsAsk))
        rig.write(line[:20])
        rig.advance(pause_ms)
        rig.write(line[20:])
        said = bench.listen()
        assert any(isinstance(one, m.Limits) for one in said) == taken

    def test_board_survives_bytes_of_any_kind(self, rig: Rig) -> None:
        """Every byte value, and a megabyte without an end, leave the board alive."""
        bench = Bench(rig).greet()
        rig.write(bytes(range(256)) * 40)
        bench.run(0.1, None)
        rig.write(b"x" * 1_000_000 + b"\n")
        bench.run(11.0, None)  # a megabyte takes minutes: the session is over in any case
        assert isinstance(bench.hello(), m.Here)
        bench.run(0.4)
        assert bench.duty((0, 0)) == ""


class LogContract:
    """The event log of 64 entries."""

    def test_board_log_reads_back_what_was_said(self, rig: Rig) -> None:
        """Each event's number fetches the same entry, and 0 the newest."""
        bench = Bench(rig).greet().arm()
        bench.ask(bench.request(m.Disarm))
        events = [said for said in bench.heard if isinstance(said, m.Event)]
        assert [event.code for event in events] == ["boot", "armed", "disarmed"]
        for event in events:
            entry = bench.ask(bench.request(m.LogAsk, event.i))
            assert entry == m.Entry(bench.q, *vars_of(event), events[-1].i)
        newest = bench.ask(bench.request(m.LogAsk, 0))
        assert isinstance(newest, m.Entry)
        assert newest.i == newest.last == events[-1].i
        assert bench.why(bench.request(m.LogAsk, events[-1].i + 1)) == "empty"

    def test_board_log_keeps_64_through_resets(self, rig: Rig) -> None:
        """The 65th entry pushes the first one out; a reset keeps them."""
        bench = Bench(rig).greet()
        first = bench.last(m.Event).i
        for step in range(64):
            bench.ask(bench.request(m.TripSet, 2149 - step))
            bench.run(0.2)
        assert bench.why(bench.request(m.LogAsk, first)) == "empty"
        assert bench.why(bench.request(m.LogAsk, first + 1)) == ""
        rig.restart(ResetCause.WATCHDOG)
        bench = Bench(rig).greet()
        entry = bench.ask(bench.request(m.LogAsk, first + 2))
        assert isinstance(entry, m.Entry)
        assert entry.code == "tripset"
        assert entry.last == first + 65

    def test_board_logs_nothing_where_nothing_changes(self, rig: Rig) -> None:
        """Trip point and mould that are in use already: taken, and no entry is pushed out."""
        bench = Bench(rig).greet()
        last = bench.last(m.Event).i
        assert bench.why(bench.request(m.TripSet, 2150)) == ""
        assert bench.why(bench.request(m.Use, 1)) == ""
        bench.run(0.4)
        assert bench.last(m.Event).i == last

    def test_board_counts_its_boots_and_says_their_cause(self, rig: Rig) -> None:
        """Every start adds one, with its cause in banner and greeting."""
        bench = Bench(rig).greet()
        boot = bench.last(m.Boot).boot
        for cause in ResetCause:
            boot += 1
            rig.restart(cause)
            bench = Bench(rig).greet()
            here = bench.last(m.Here)
            assert (here.boot, here.cause) == (boot, cause.value)
            assert (bench.last(m.Boot).boot, bench.last(m.Boot).cause) == (boot, cause.value)

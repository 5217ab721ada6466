"""Bad input on the real line of the compiled image, armed and heating: none is acted on."""

from __future__ import annotations

from itertools import pairwise
from random import Random

import pytest

from board_rig import Bench
from elf_rig import ElfRig
from image_rig import BYTE_CYCLES, DUTY_EACH_MS, Host
from tawny.core import messages as m
from tawny.core import wire
from tawny.core.framing import Framer
from tawny.core.names import ResetCause
from tawny.sim.chip import CYCLES_PER_MS, Pin
from wire_lines import VECTORS, raw_of, sealed

DUTY = (300, 300)
WARM_C = 100.0
PASS_MOST = 500  # hundredths of a millisecond
EXPIRY_MS = 1500
IDLE_MS = 60.0  # a line that stands unfinished for 50 ms is dropped
UNASKED = (m.Tele, m.Stat, m.Event, m.Boot)


class Line(Host):
    """A host whose session a test may put words into the mouth of."""

    @property
    def token(self) -> str:
        """Of its session."""
        return self._token

    @property
    def echo(self) -> int:
        """The newest telemetry counter."""
        return self._echo

    def next_q(self) -> int:
        """Return a newer number."""
        self._q = (self._q + 1) & 0xFFFF
        return self._q


@pytest.fixture
def host() -> Line:
    """A host at an armed board that heats both halves with a duty of 0.3."""
    rig = ElfRig()
    bench = Bench(rig, WARM_C, WARM_C).greet().arm()
    bench.run(0.4, DUTY)
    line = Line(bench, rig)
    line.duty = DUTY
    line.live(1500)
    return line


def counts(host: Line) -> tuple[int, int]:
    """Return the lines dropped, and those of unknown kind, by the next status."""
    before = host.last(m.Stat).ms
    host.live(1100)
    stat = host.last(m.Stat)
    assert stat.ms > before
    return stat.bad, stat.unk


def put(host: Line, data: bytes) -> None:
    """Put bytes on the line, behind what is on it."""
    assert host.chip.hear(data) == len(data)


def cross(host: Line, data: bytes) -> None:
    """Put a line on the line and let it arrive, and stand alone if it has no end."""
    put(host, data)
    host.live((len(data) * BYTE_CYCLES) / CYCLES_PER_MS + 1.0)


def replies(host: Line, since: int = 0) -> list[m.FromBoard]:
    """Return what was said when asked."""
    return [said for _, said in host.heard[since:] if not isinstance(said, UNASKED)]


def on_ms(host: Line) -> tuple[int, int]:
    """Return how long each heater's pin has been high, in ms."""
    upper = host.chip.call("on_cycles", Pin.HEATER_UPPER)
    lower = host.chip.call("on_cycles", Pin.HEATER_LOWER)
    return round(upper / CYCLES_PER_MS), round(lower / CYCLES_PER_MS)


def heats_as_asked(host: Line) -> None:
    """Three more seconds give each heater 0.3 of them, and the board is armed."""
    before = on_ms(host)
    host.live(3000)
    for earlier, later in zip(before, on_ms(host), strict=True):
        assert later - earlier == pytest.approx(900, abs=310)
    assert host.last(m.Tele).st == "armed"
    assert host.codes().count("armed") <= 1


def test_bad_input_broken_vectors_are_counted_and_change_nothing(host: Line) -> None:
    """Every broken line of the vectors, between duty lines: dropped, counted, unanswered."""
    broken = [one for one in VECTORS if one["direction"] == "to_board" and one["expected"] != "ok"]
    unknown = [one for one in broken if one["expected"] == "kind"]
    bad, unk = counts(host)
    asked, heard = host.q, len(host.heard)
    for vector in broken:
        cross(host, raw_of(vector) + b"\n")
    assert counts(host) == (bad + len(broken) - len(unknown), unk + len(unknown))
    answered = replies(host, heard)
    assert len(answered) in {host.q - asked, host.q - asked + 1}
    assert all(isinstance(said, m.Done) for said in answered)
    heats_as_asked(host)


NUMBERS = (
    b"+300", b"3e2", b"0x12c", b"300.0", b"0300", b"-0", b"-300", b"NaN", b"nan", b"inf", b"1_0",
    b"", b" 300", b"1000000", b"\xef\xbc\x93\xef\xbc\x90\xef\xbc\x90", b"\xd9\xa3\xd9\xa0\xd9\xa0",
)  # fmt: skip


def test_bad_input_text_that_is_like_a_number_is_none(host: Line) -> None:
    """With the right CRC and in any field of a duty line that would be taken, it is dropped."""
    bad, unk = counts(host)
    host.duty = None
    sent = 0
    for field in range(1, 8):
        for text in NUMBERS:
            host.live(20)
            line = wire.encode(m.Duty(host.token, host.next_q(), 9, 9, 9, 9, host.echo, 150))
            fields = line.rsplit(b" ", 1)[0].split(b" ")
            name = fields[field + 1].split(b"=")[0]
            fields[field + 1] = name + b"=" + text
            cross(host, sealed(b" ".join(fields)) + b"\n")
            sent += 1
            if sent % 10 == 0:
                host.send_duty(DUTY)
    host.duty = DUTY
    host.live(500)
    after = counts(host)
    assert after == (bad + sent, unk)
    assert not any(isinstance(said, m.Refused) for said in replies(host))
    heats_as_asked(host)


def test_bad_input_line_without_an_end_is_dropped_and_what_follows_is_heard(host: Line) -> None:
    """4000 bytes without an LF count once; the duty expires meanwhile, the next line heats."""
    bad, unk = counts(host)
    host.duty = None
    put(host, b"duty s=" + b"0" * 8000)
    host.live(1750)
    assert not any(host.level(pin) for pin in (Pin.HEATER_UPPER, Pin.HEATER_LOWER))
    before = on_ms(host)
    host.live(350)
    assert on_ms(host) == before
    put(host, b"\n")
    host.duty = DUTY
    host.live(600)
    assert counts(host) == (bad + 1, unk)
    heats_as_asked(host)


def test_bad_input_line_that_stands_unfinished_spoils_no_other(host: Line) -> None:
    """Cut anywhere and left for 50 ms, a duty line is dropped and the next one taken."""
    bad, unk = counts(host)
    host.duty = None
    host.live(50)
    heard, asked = len(host.heard), host.q
    line = wire.encode(m.Duty(host.token, 1, 1000, 2000, 1000, 2000, 0, EXPIRY_MS))
    cuts = range(1, len(line) - 1, 4)
    for length in cuts:
        cross(host, line[:length])
        host.live(IDLE_MS)
        host.send_duty(DUTY)
        host.live(110)
    answered = replies(host, heard)
    assert answered == [m.Done(q) for q in range(asked + 1, asked + 1 + len(cuts))]
    host.duty = DUTY
    assert counts(host) == (bad + len(cuts), unk)
    heats_as_asked(host)


def record(host: Line) -> list[bytes]:
    """Live on for 3 s with a charge and a signal; return the session's lines from its hello on."""
    sent: list[bytes] = [wire.encode(m.Hello(100, m.PROTOCOL_MAJOR, "7a3c90de"))]
    for number in range(1, 40):
        q = (host.q + number) & 0xFFFF
        duty = m.Duty(host.token, q, 1000, 2000, 1000, 2000, host.echo, EXPIRY_MS)
        ask: m.ToBoard = duty if number % 3 else m.ArmAsk(host.token, q)
        sent.append(wire.encode(ask))
    return sent


@pytest.mark.parametrize("end", ["restart", "bye"])
def test_bad_input_replayed_session_heats_nothing(host: Line, end: str) -> None:
    """A whole session again, hello and all, after a restart or its end: 0 lines are acted on."""
    captured = record(host)
    host.duty = None
    if end == "bye":
        host.send(m.Bye)
        host.live(200)
    else:
        host.rig.restart(ResetCause.BUTTON)
        host.chip.call("set_line", 0)
        host.start_over()
        host.live(2500)
    before, heard = host.driven(), len(host.heard)
    for line in captured:
        cross(host, line)
        host.live(60)
    answered = replies(host, heard)
    assert len(answered) == len(captured)
    assert [type(said) for said in answered[:1]] == [m.Here]
    assert {said.why for said in answered[1:] if isinstance(said, m.Refused)} == {"token"}
    assert all(isinstance(said, m.Refused) for said in answered[1:])
    assert host.driven() == before
    assert "armed" not in {tele.st for _, tele in host.heard[heard:] if isinstance(tele, m.Tele)}


def test_bad_input_duty_lines_out_of_order_are_taken_only_when_newer(host: Line) -> None:
    """Reordered and doubled, a line is taken just where its number is newer than the last."""
    rng = Random(7)  # noqa: S311 - chance, not secrets
    host.duty = None
    host.live(50)
    last = host.q
    for _ in range(12):
        lines = [(host.next_q(), rng.randint(0, 1000)) for _ in range(4)]
        batch = rng.sample(lines + rng.choices(lines, k=2), 6)
        for q, duty in batch:
            heard = len(host.heard)
            setpoint = 2000 if duty else 0
            ask = m.Duty(host.token, q, duty, setpoint, duty, setpoint, host.echo, EXPIRY_MS)
            put(host, wire.encode(ask))
            host.live(110)
            said = replies(host, heard)
            is_newer = 1 <= (q - last) % 65536 <= 32767
            assert said == [m.Done(q) if is_newer else m.Refused(q, "old")]
            if is_newer:
                last = q
    assert host.last(m.Tele).st == "armed"


def test_bad_input_second_host_gets_nothing_and_takes_nothing(host: Line) -> None:
    """Its hello is busy, its guesses at a token are refused, in between the first one's lines."""
    rng = Random(11)  # noqa: S311 - chance, not secrets
    before = on_ms(host)
    began, heard, asked, others = host.now, len(host.heard), host.q, 0
    token = f"{(int(host.token, 16) ^ 0x5A5A) or 1:04x}"
    for _ in range(120):
        q = rng.randrange(65536)
        other: m.ToBoard = rng.choice((
            m.Hello(q, m.PROTOCOL_MAJOR, "0badcafe"),
            m.Duty(token, q, 1000, 2000, 1000, 2000, host.echo, EXPIRY_MS),
            m.Duty(token, q, 0, 0, 0, 0, host.echo, EXPIRY_MS),
            m.Disarm(token, q), m.Bye(token, q), m.ArmAsk(token, q), m.Charge(token, q),
        ))  # fmt: skip
        put(host, wire.encode(other))
        others += 1
        host.live(rng.choice((60, 90, 120)))
        assert host.last(m.Tele).st == "armed"
    host.live(200)
    answered = replies(host, heard)
    assert len(answered) == others + host.q - asked
    refused = [said for said in answered if isinstance(said, m.Refused)]
    assert len(refused) == others
    assert {said.why for said in refused} == {"busy", "token"}
    spent_ms = (host.now - began) / CYCLES_PER_MS
    for earlier, later in zip(before, on_ms(host), strict=True):
        assert later - earlier == pytest.approx(0.3 * spent_ms, abs=310)
    heats_as_asked(host)


@pytest.mark.parametrize("major", [0, 2, 255])
def test_bad_input_other_version_is_named_and_changes_nothing(host: Line, major: int) -> None:
    """A hello of another major version is answered without a token, and the session lives on."""
    heard = len(host.heard)
    put(host, wire.encode(m.Hello(9, major, "7a3c90de")))
    host.live(100)
    here = [said for said in replies(host, heard) if isinstance(said, m.Here)]
    assert [(said.v, said.s) for said in here] == [(1, "0000")]
    heats_as_asked(host)


def test_bad_input_flood_at_the_full_rate_delays_no_pass(host: Line) -> None:
    """Good lines back to back for 5 s: at most one reply each, passes and telemetry in time."""
    host.duty = None
    heard, sent = len(host.heard), []
    began = host.now
    while host.now - began < 5000 * CYCLES_PER_MS:
        batch = b""
        for number in range(12):
            q = host.next_q()
            sent.append(q)
            setpoint = 2000
            ask: m.ToBoard = (
                m.Duty(host.token, q, 300, setpoint, 300, setpoint, host.echo, EXPIRY_MS)
                if number == 0
                else m.LimitsAsk(host.token, q)
            )
            batch += wire.encode(ask)
        put(host, batch)
        while host.chip.call("unheard") > 20:
            host.live(5)
    host.live(200)
    answered = [said.q for said in replies(host, heard) if hasattr(said, "q")]
    assert len(answered) > 100
    assert len(set(answered)) == len(answered)
    assert set(answered) <= set(sent)
    since = [said for _, said in host.heard[heard:]]
    assert all(said.longest <= PASS_MOST for said in since if isinstance(said, m.Stat))
    teles = [said.ms for said in since if isinstance(said, m.Tele)]
    assert len(teles) > 20
    assert {later - earlier for earlier, later in pairwise(teles)} == {200}
    host.duty = DUTY
    host.live(1000)
    heats_as_asked(host)


def spoil(data: bytes, rate: float, rng: Random) -> bytes:
    """Turn bits over, each with this chance."""
    spoilt = bytearray(data)
    for bit in range(8 * len(spoilt)):
        if rng.random() < rate:
            spoilt[bit // 8] ^= 1 << bit % 8
    return bytes(spoilt)


@pytest.mark.parametrize("rate", [1e-4, 1e-3, 1e-2])
def test_bad_input_noise_never_heats(host: Line, rate: float) -> None:
    """A minute of bit errors: the board takes what a reference takes of the bytes, no more."""
    rng = Random(int(1 / rate))  # noqa: S311 - chance, not secrets
    bad, unk = counts(host)
    host.duty = None
    until_ms, counted, taken = 0.0, 0, 0
    for number in range(60_000 // DUTY_EACH_MS):
        ask = m.Duty(host.token, host.next_q(), 300, 2000, 300, 2000, host.echo, EXPIRY_MS)
        data = spoil(wire.encode(ask), rate, rng)
        framer = Framer(m.TO_BOARD_MOST_BYTES)
        told = [wire.decode_to_board(piece) for piece in framer.feed(data)]
        counted += sum(isinstance(one, wire.Fault) for one in told) + framer.idle(IDLE_MS)
        good = [one for one in told if not isinstance(one, wire.Fault)]
        heard = len(host.heard)
        put(host, data)
        for _ in range(DUTY_EACH_MS // 25):
            host.live(25)
            now_ms = host.now / CYCLES_PER_MS
            if any(isinstance(said, m.Done) for said in replies(host, heard)) and good:
                good, taken, until_ms = [], taken + 1, now_ms + EXPIRY_MS
            hot = any(host.level(pin) for pin in (Pin.HEATER_UPPER, Pin.HEATER_LOWER))
            assert not hot or good or now_ms <= until_ms + IDLE_MS or number < 4
        answered = [getattr(said, "q", None) for said in replies(host, heard)]
        assert answered == [one.q for one in told if not isinstance(one, wire.Fault)]
        host.set_c(WARM_C + (number // 40) % 2)
    assert (taken > 0) == (rate < 1e-2)
    assert counts(host) == (bad + counted, unk)

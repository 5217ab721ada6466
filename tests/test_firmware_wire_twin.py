"""The board's receiver against the host's codec, over whatever may come down the line."""

from __future__ import annotations

from hypothesis import example, given, settings
from hypothesis import strategies as st

from tawny.core import messages as m
from tawny.core.wire import Fault, decode_to_board, encode
from tawny.sim.voice import Ear
from wire_board import Receiver, fault_of
from wire_lines import MESSAGES, sealed

UNHURRIED = settings(deadline=None)
REQUEST = MESSAGES["to_board"].map(encode)
GAPS_MS = st.sampled_from([0, 0, 0, 0, 1, 25, 48, 49, 50, 51, 1000, 2**31, 2**32 - 1])


@st.composite
def harmed(draw: st.DrawFn) -> bytes:
    """A good line with bytes changed, lost, doubled or put in, a bit flipped, or cut short."""
    line = bytearray(draw(REQUEST))
    for _ in range(draw(st.integers(1, 3))):
        at = draw(st.integers(0, max(0, len(line) - 1)))
        how = draw(st.integers(0, 5))
        if how == 0 and line:
            line[at] ^= 1 << draw(st.integers(0, 7))
        elif how == 1:
            line[at : at + 1] = draw(st.binary(max_size=2))
        elif how == 2:
            line[at:at] = draw(st.sampled_from([b" ", b"=", b"-", b"0", b"\n", b"\r", b"a"]))
        elif how == 3:
            del line[at:]
        elif how == 4:
            del line[at : at + draw(st.integers(1, 12))]
        else:
            line[at:at] = line[at : at + draw(st.integers(1, 8))]
    return bytes(line)


@st.composite
def ill_sealed(draw: st.DrawFn) -> bytes:
    """A line with a right CRC over a body that was changed first: only the grammar can see it."""
    body = draw(REQUEST)[: -len(" crc=00000000\n")].decode("ascii")
    kind, *pairs = body.split(" ")
    at = draw(st.integers(0, len(pairs) - 1))
    name, _, value = pairs[at].partition("=")
    texts = st.sampled_from(
        ["0", "00", "0" + value, value + "0", "-" + value, "-0", "-1", "-4000", "-4001", "9999",
         "10000", "255", "256", "1000", "1001", "2000", "2001", "65535", "65536", "4294967295",
         "4294967296", "65536000000000000", "bad", "none", "upper", "uppe", "blink", value[:-1]]
    )  # fmt: skip
    how = draw(st.integers(0, 5))
    if how <= 1:
        pairs[at] = f"{name}={draw(texts | st.from_regex(r'[a-z0-9-]{1,17}', fullmatch=True))}"
    elif how == 2:
        del pairs[at]
    elif how == 3:
        pairs.insert(draw(st.integers(0, len(pairs))), pairs[at])
    elif how == 4:
        pairs[at] = f"{draw(st.from_regex(r'[a-z]{1,5}', fullmatch=True))}={value}"
    else:
        kind = draw(st.sampled_from([kind + "s", kind[:-1] or "z", "done", "tele", "zz"]))
    return sealed(" ".join([kind, *pairs]).encode("ascii")) + b"\n"


ALPHABET = st.text("abcdefqsuxz0123456789= -", max_size=90).map(str.encode)
CHUNKS = st.one_of(
    REQUEST,
    harmed(),
    ill_sealed(),
    ALPHABET.map(lambda text: text + b"\n"),
    ALPHABET.map(sealed).map(lambda line: line + b"\n"),
    st.integers(76, 84).map(lambda length: b"a" * length + b"\n"),
    st.binary(max_size=100),
    st.just(b"\n"),
)


@settings(UNHURRIED, max_examples=600)
@given(ill_sealed())
@example(sealed(b"arm s=3fa1 q=8 crc=00000000") + b"\n")
@example(sealed(b" a=1") + b"\n")
def test_receiver_names_the_fault_that_the_host_names(line: bytes) -> None:
    """One order of checks: both sides find the same thing wrong first."""
    judged = decode_to_board(line[:-1])
    assert fault_of(line[:-1]) == (judged.value if isinstance(judged, Fault) else "ok")


@settings(UNHURRIED, max_examples=600)
@given(harmed() | ALPHABET | st.binary(max_size=90))
def test_receiver_names_the_fault_of_a_harmed_line(line: bytes) -> None:
    """The same for lines that the way has harmed, and for what never was a line."""
    judged = decode_to_board(line)
    assert fault_of(line) == (judged.value if isinstance(judged, Fault) else "ok")


@settings(UNHURRIED, max_examples=600)
@given(
    st.lists(st.tuples(GAPS_MS, CHUNKS), max_size=12),
    st.sampled_from([0, 1000, 2**32 - 60, 2**32 - 1]),
)
@example([(0, b"\n"), (0, b"\x00"), (2**32 - 1, b"")], 0)
def test_receiver_takes_and_counts_what_the_host_would(
    pieces: list[tuple[int, bytes]], begin_ms: int
) -> None:
    """Whatever comes whenever: the same requests, the same counters.

    Passes look for a line that stays unfinished, here once in each gap: the clock of 32 bits
    wraps in 49 days, and a gap may be as long.
    """
    now_ms = begin_ms
    ear = Ear(now_ms)
    receiver = Receiver(now_ms)
    for gap_ms, chunk in pieces:
        receiver.idle(now_ms + min(gap_ms, 50))
        now_ms += gap_ms
        if chunk:
            assert receiver.hear(chunk, now_ms) == list(ear.hear(chunk, now_ms))
    receiver.idle(now_ms + 50)
    assert receiver.bad == ear.bad(now_ms + 50)
    assert receiver.unknown == ear.unknown


@settings(UNHURRIED, max_examples=300)
@given(st.lists(CHUNKS, max_size=4), MESSAGES["to_board"])
def test_receiver_takes_a_good_line_after_any_noise_and_an_lf(
    noise: list[bytes], message: m.ToBoard
) -> None:
    """It always finds its way back: what follows an LF is a line of its own."""
    receiver = Receiver()
    receiver.hear(b"".join(noise) + b"\n")
    assert receiver.hear(encode(message)) == [message]

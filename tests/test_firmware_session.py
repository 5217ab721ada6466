"""The board's session: token, sequence, and the challenge for arming."""

from __future__ import annotations

from typing import Any
from zlib import crc32

import pytest
from hypothesis import given
from hypothesis import strategies as st

from c_core import core, defines
from tawny.sim import limits as sim_limits
from tawny.sim.session import Arming
from tawny.sim.session import Session as SimSession

WRAP = 1 << 32
CHALLENGE_MS = defines("session")["SESSION_CHALLENGE_MS"]
Q = st.integers(0, 65535)


class Session:
    """One `struct session` of a board's start."""

    def __init__(self, boot: int = 41, noise: int = 0x1234) -> None:
        self.ffi, self.lib = core("session")
        self.at = self.ffi.new("struct session *")
        self.boot = boot
        self.lib.session_start(self.at, boot, noise)

    def open(self, q: int = 100) -> int:
        """Begin a session; return its token."""
        return int(self.lib.session_open(self.at, self.boot, q))

    def close(self) -> None:
        """End the session."""
        self.lib.session_close(self.at)

    def refusal(self, token: int, q: int) -> str:
        """Check a request; return why it is refused, empty if it is not."""
        return {
            self.lib.SESSION_OK: "",
            self.lib.SESSION_TOKEN: "token",
            self.lib.SESSION_OLD: "old",
        }[self.lib.session_check(self.at, token, q)]

    def ask(self, now_ms: int = 0, noise: int | None = None) -> int:
        """Return a new challenge."""
        stir = now_ms if noise is None else noise
        return int(self.lib.session_ask(self.at, stir % WRAP, now_ms % WRAP))

    def answer(self, given: int, expected: int) -> bool:
        """Take an answer."""
        return bool(self.lib.session_answer(self.at, given, expected))

    def expires(self, now_ms: int) -> bool:
        """Return whether the challenge has just run out."""
        return bool(self.lib.session_expires(self.at, now_ms % WRAP))


@pytest.fixture
def session() -> Session:
    """A board that has just started."""
    return Session()


def test_firmware_session_starts_with_none(session: Session) -> None:
    """No token is right before a session, 0 least of all."""
    assert session.at.token == 0
    assert all(session.refusal(token, 1) == "token" for token in range(65536))


def test_firmware_session_token_is_never_0() -> None:
    """Every start and each of its first sessions: 0 means that there is none."""
    for boot in range(65536):
        session = Session(boot)
        assert session.open() != 0
    session = Session(1)
    assert all(session.open() != 0 for _ in range(65536))


def test_firmware_session_token_does_not_return_within_a_start(session: Session) -> None:
    """65535 sessions pass before one comes again."""
    tokens = [session.open() for _ in range(65535)]
    assert len(set(tokens)) == 65535


def test_firmware_session_token_does_not_return_soon_across_resets() -> None:
    """Among 100 starts in a row with up to 200 sessions each no token comes twice."""
    for first in (0, 41, 30000, 65500):
        tokens: set[int] = set()
        for boot in range(first, first + 100):
            session = Session(boot % 65536)
            new = {session.open() for _ in range(200)}
            assert len(new) == 200
            assert not tokens & new
            tokens |= new


def test_firmware_session_close_frees_the_token(session: Session) -> None:
    """A request of the ended session is refused, and so is one with 0."""
    token = session.open(100)
    session.close()
    assert session.refusal(token, 101) == "token"
    assert session.refusal(0, 101) == "token"
    assert session.at.last_q == 100


@pytest.mark.parametrize("last", [0, 1, 100, 32768, 65535])
@pytest.mark.parametrize(
    ("ahead", "why"),
    [
        (0, "old"), (1, ""), (2, ""), (32766, ""), (32767, ""), (32768, "old"), (32769, "old"),
        (65535, "old"),
    ],
)  # fmt: skip
def test_firmware_session_takes_only_a_newer_number(last: int, ahead: int, why: str) -> None:
    """(q - last) mod 65536 lies in 1 to 32767; the others change nothing."""
    session = Session()
    token = session.open(last)
    q = (last + ahead) % 65536
    assert session.refusal(token, q) == why
    assert session.at.last_q == (last if why else q)


def test_firmware_session_wrong_token_moves_nothing(session: Session) -> None:
    """The token is judged first; a number under a wrong one may be used under the right one."""
    token = session.open(100)
    assert session.refusal(token ^ 1, 101) == "token"
    assert session.refusal(token ^ 1, 100) == "token"
    assert session.refusal(token, 101) == ""
    assert session.refusal(token, 101) == "old"


@given(first=Q, requests=st.lists(st.tuples(st.booleans(), Q), max_size=30))
def test_firmware_session_judges_as_the_simulated_board(
    first: int, requests: list[tuple[bool, int]]
) -> None:
    """Any requests in any order are refused, or not, for the same reasons."""
    session, other = Session(), SimSession()
    token = session.open(first)
    other.open("right", first, 0)
    for right, q in requests:
        assert session.refusal(token if right else token ^ 0x8000, q) == other.refusal(
            "right" if right else "wrong", q
        )
        assert session.at.last_q == other.last_q


@pytest.mark.parametrize("asked_ms", [0, 5000, WRAP - 1, WRAP - CHALLENGE_MS, WRAP - 4000])
@pytest.mark.parametrize("answered", [False, True])
def test_firmware_session_challenge_lasts_10_s(asked_ms: int, *, answered: bool) -> None:
    """It runs out once, at 10 s and not before, answered or not, also across the wrap."""
    session = Session()
    session.ask(asked_ms)
    if answered:
        assert session.answer(7, 7)
    for age_ms in (0, 1, 5000, CHALLENGE_MS - 1):
        assert not session.expires(asked_ms + age_ms)
        assert session.at.pending
    assert session.expires(asked_ms + CHALLENGE_MS)
    assert (session.at.pending, session.at.answered) == (False, False)
    assert not session.expires(asked_ms + CHALLENGE_MS + 50)
    assert not session.answer(7, 7)


def test_firmware_session_challenge_is_as_long_as_the_host_thinks() -> None:
    """10 s on both sides."""
    assert CHALLENGE_MS == sim_limits.CHALLENGE_MS == 10_000


def test_firmware_session_challenge_expires_late_too(session: Session) -> None:
    """A pass that comes later than 10 s finds it run out, and says so once."""
    session.ask(1000)
    assert session.expires(1000 + CHALLENGE_MS + 1)
    assert not session.expires(1000 + CHALLENGE_MS + 2)


def test_firmware_session_wrong_answer_ends_the_challenge(session: Session) -> None:
    """After it the right one is wrong as well."""
    session.ask()
    assert not session.answer(8, 7)
    assert (session.at.pending, session.at.answered) == (False, False)
    assert not session.answer(7, 7)


def test_firmware_session_answered_twice_is_wrong(session: Session) -> None:
    """A second right answer ends what the first had reached."""
    session.ask()
    assert session.answer(7, 7)
    assert session.at.answered
    assert not session.answer(7, 7)
    assert (session.at.pending, session.at.answered) == (False, False)


def test_firmware_session_answer_without_a_challenge_is_wrong(session: Session) -> None:
    """Nothing was asked: even 0 for 0 is no answer."""
    assert not session.answer(0, 0)
    assert not session.at.answered


def test_firmware_session_new_challenge_ends_the_old_one(session: Session) -> None:
    """What was answered is to be answered again, and the 10 s begin anew."""
    session.ask(0)
    assert session.answer(7, 7)
    session.ask(9000)
    assert not session.at.answered
    assert not session.expires(10_000)
    assert session.expires(19_000)


@pytest.mark.parametrize("ends", ["open", "close", "end"])
def test_firmware_session_challenge_never_outlives_its_session(session: Session, ends: str) -> None:
    """A session that begins or ends takes a challenge with it, answered or not."""
    session.open()
    session.ask()
    assert session.answer(7, 7)
    if ends == "open":
        session.open()
    elif ends == "close":
        session.close()
    else:
        session.lib.session_end_challenge(session.at)
    assert (session.at.pending, session.at.answered) == (False, False)


def test_firmware_session_challenges_do_not_repeat() -> None:
    """Not without any noise, not from start to start."""
    for session in (Session(), Session(0, noise=0)):
        asked = [session.ask(noise=0) for _ in range(70_000)]
        assert len(set(asked)) == len(asked)
    first = {Session(boot, noise=0).ask(noise=0) for boot in range(5000)}
    assert len(first) == 5000


ANSWERS = st.sampled_from(["ask", "right", "wrong", "end"])


@given(deeds=st.lists(st.tuples(ANSWERS, st.integers(0, 12_000)), max_size=30))
def test_firmware_session_arms_as_the_simulated_board(deeds: list[tuple[str, int]]) -> None:
    """Any order of questions, answers and waits leaves both in the same state."""
    session, other, now_ms = Session(), Arming("seed"), 0
    token = session.open()
    digits = "00000000"
    for deed, wait_ms in deeds:
        now_ms += wait_ms
        ran_out = other.until_ms is not None and now_ms >= other.until_ms
        if ran_out:
            other.end()
        assert session.expires(now_ms) == ran_out
        if deed == "ask":
            session.ask(now_ms)
            digits = other.ask(now_ms)
        elif deed == "end":
            session.lib.session_end_challenge(session.at)
            other.end()
        else:
            word = f"{token:04x}"
            right = f"{crc32((digits + word).encode('ascii')):08x}"
            offered = right if deed == "right" else "0" * 8
            want: Any = other.answer(offered, word)
            assert session.answer(1 if deed == "right" else 2, 1) == want
        assert bool(session.at.pending) == (other.until_ms is not None)
        assert bool(session.at.answered) == other.answered

"""Walks a person through commissioning on a connected board, one step after another.

It sits where a press would: lines and time come in, requests go out by the session, and what a
person should read comes out as codes. It heats only while the last line of telemetry, less than a
second old, says that ARM is down, and passes nothing on an older one; a step that fails and a
person who leaves end the heat at once, and where nobody calls `poll` any more the board lets it
expire.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

from tawny.core import messages as m
from tawny.core.commission import Asked, Outcome, Plan, Said, Sent, Sight, Stage, Step
from tawny.core.commission_steps import CLEAR, STEPS
from tawny.core.commission_typed import Known, judge_typed, proposed_trip_c
from tawny.core.names import Half, ResetCause
from tawny.core.record import Commissioned, CommissionedHalf, CommissionedStep
from tawny.core.snapshot import Code, Field
from tawny.link import events as e
from tawny.link.session import Session
from tawny.service.commission_board import BoardSide
from tawny.service.commission_samples import Samples, judge_fit
from tawny.service.commission_watch import Watch
from tawny.service.fitting import Order

DUTY_EACH_MS: Final = 400
SHOW_EACH_MS: Final = 15_000
LEAVE: Final = "leave"
DONE, NOT_FITTED = "done", "not_fitted"
_CHANGING: Final = {"store", "use", "trip"}


class Commissioner:
    """One commissioning of one mould.

    Args:
        session: With the board, not yet opened.
        plan: What the settings say.
        utc_ms: Wall time.
        pick: Returns a whole number below the one given, not to be foreseen by a person.
        software: This program's version.
        simulated: The board is.
    """

    def __init__(
        self,
        session: Session,
        plan: Plan,
        *,
        utc_ms: Callable[[], int],
        pick: Callable[[int], int],
        software: str = "",
        simulated: bool = False,
    ) -> None:
        self.outcome = Outcome.WAITING
        self.said: list[Said] = []
        self._session, self._plan, self._utc_ms = session, plan, utc_ms
        self._software, self._simulated = software, simulated
        self._board = BoardSide(session, plan, pick)
        self._samples = Samples()
        self._now_ms = 0
        self._step = self._stage = 0
        self._sent_ms = self._shown_ms = 0
        self._watch = Watch(CLEAR, 0, None)
        self._values: dict[str, Field] = {}
        self._failures: list[str] = []
        self._started_utc_ms = 0
        self._person = self._second = ""
        self._room_c = self._trip_c = math.nan
        self._halves: dict[Half, CommissionedHalf] = {}
        self._passed: list[CommissionedStep] = []

    # What comes in.

    def opened(self, now_ms: int) -> None:
        """The port is open."""
        self._now_ms = now_ms
        self._session.opened(now_ms / 1000.0)

    def lost(self, reason: Code, now_ms: int) -> None:
        """The port is closed, gone, or cannot be opened."""
        self._take(self._session.lost(now_ms / 1000.0, reason), now_ms)

    def line(self, line: bytes, now_ms: int) -> None:
        """Take one line from the board."""
        self._take(self._session.receive(line, now_ms / 1000.0), now_ms)

    def poll(self, now_ms: int) -> None:
        """Let time pass: keep the session alive, heat where a stage and ARM ask for it."""
        self._take(self._session.poll(now_ms / 1000.0), now_ms)
        if self.outcome in (Outcome.DONE, Outcome.LEFT):
            return
        self._judge()
        if self._session.up and now_ms - self._sent_ms >= DUTY_EACH_MS:
            self._sent_ms = now_ms
            self._session.send_duty(0.0, 0.0, 0.0, 0.0, now_ms / 1000.0)
            heats = self._current.heats if self.outcome is Outcome.WORKING else None
            hand = self._board.arm_is_down(now_ms) and not self._board.restarted
            if heats is not None and hand:
                self._session.send_heat(self._at.half or Half.UPPER, heats, now_ms / 1000.0)

    def typed(self, text: str, now_ms: int) -> None:
        """Take a line that the person typed."""
        self._now_ms = now_ms
        word = text.strip().lower()
        if word == LEAVE:
            self.leave(now_ms)
        elif self.outcome is Outcome.FAILED:
            self._begin_step(again=True)
        elif self.asks is not None:
            self._answer(self.asks, text)
        elif self.outcome is Outcome.WORKING and word:
            self._say("note", "cannot_skip")

    def leave(self, now_ms: int) -> None:
        """End it here: heat off, the session ended, nothing recorded."""
        self._now_ms = now_ms
        if self.outcome not in (Outcome.DONE, Outcome.LEFT):
            changing = self._step < len(STEPS) and self._at.code in _CHANGING
            self.outcome = Outcome.LEFT
            self._part()
            self._say("note", "left_changed" if changing else "left")

    # What is seen.

    def take(self) -> bytes:
        """Return the bytes to write now."""
        return self._session.take()

    @property
    def over(self) -> bool:
        """Whether it has ended and the board knows."""
        return self.outcome in (Outcome.DONE, Outcome.LEFT) and not self._session.up

    @property
    def asks(self) -> Asked | None:
        """What must be typed now."""
        return self._current.asks if self.outcome is Outcome.WORKING else None

    @property
    def step(self) -> str:
        """The name of the step that runs; "" after the last."""
        return self._at.name if self._step < len(STEPS) else ""

    def record(self) -> Commissioned:
        """Return what is to be kept; only once it is done."""
        here = self._session.here
        if self.outcome is not Outcome.DONE or here is None:
            raise RuntimeError("an unfinished commissioning has no record")
        return Commissioned(
            mould=self._plan.mould,
            slot=self._plan.slot,
            person=self._person,
            second=self._second,
            board_id=here.board,
            board_build=here.build,
            trip_c=self._trip_c,
            halves=self._halves,
            steps=tuple(self._passed),
            started_utc_ms=self._started_utc_ms,
            ended_utc_ms=self._utc_ms(),
            software_version=self._software,
            simulated=self._simulated,
        )

    def order(self) -> Order:
        """Return what the mould's thermal model is to be fitted to."""
        return Order(self._samples.stretches(), self._room_c, None, 0)

    @property
    def _at(self) -> Step:
        return STEPS[self._step]

    @property
    def _current(self) -> Stage:
        return self._at.stages[self._stage]

    # The link.

    def _take(self, happened: list[e.LinkEvent], now_ms: int) -> None:
        self._now_ms = now_ms
        for event in happened:
            self._board.take(event, now_ms)
            match event:
                case e.Up(here, _, _) if self.outcome is Outcome.WAITING:
                    self.outcome = Outcome.WORKING
                    self._started_utc_ms = self._utc_ms()
                    self._say("note", "board", board=here.board, build=here.build)
                    self._begin_step()
                case e.Up() if self._board.swapped:
                    self.leave(now_ms)
                    self._say("note", "other_board")
                case e.Telemetry(tele):
                    self._samples.take(tele, self._board.clock_ms, self._board.boot)
                    self._judge()
                case e.Down(reason, refused):
                    self._down(reason, refused=refused)
                case _:
                    pass

    def _down(self, reason: Code, *, refused: bool) -> None:
        if self.outcome is Outcome.WAITING or refused:
            self._say("note", reason.code, **reason.fields)
        elif self.outcome is Outcome.WORKING and not self._current.restarts:
            self._fail(Code("no_link"))

    def _part(self) -> None:
        """End the heat and the session."""
        self._session.disarm()
        self._session.bye()

    # Steps and stages.

    def _begin_step(self, *, again: bool = False) -> None:
        if not again:
            self._failures = []
            while self._step < len(STEPS) and not self._is_fitted(self._at):
                self._note_step(NOT_FITTED)
        if self._step == len(STEPS):
            self.outcome = Outcome.DONE
            self._part()
            self._say("note", "done", **self._fields())
            return
        self.outcome = Outcome.WORKING
        self._values = {}
        self._board.restarted = False
        self._say("step", self._at.code, **self._fields())
        self._begin_stage(0)

    def _is_fitted(self, step: Step) -> bool:
        zone = step.half is None or step.half in self._board.zones
        return zone and self._board.has(step.fitted)

    def _begin_stage(self, stage: int) -> None:
        self._stage = stage
        self._shown_ms = self._now_ms
        self._board.refused = ""
        half, current = self._at.half, self._current
        self._watch = Watch(current, self._now_ms, self._board.fresh(self._now_ms))
        if half is not None and current.samples == "begin":
            self._samples.begin(half, self._board.clock_ms)
        elif half is not None and current.samples == "heat":
            self._samples.heat_on(half, self._board.clock_ms)
        if current.sends is not None:
            self._board.send(current.sends, self._halves, self._trip_c)
        self._say("do", current.code, **self._fields())

    def _judge(self) -> None:
        if self.outcome is not Outcome.WORKING:
            return
        board, watch, now_ms = self._board, self._watch, self._now_ms
        if board.restarted and not watch.stage.restarts:
            self._fail(Code("board_restarted"))
            return
        tele = board.fresh(now_ms)
        found = (
            watch.silent(board.heard_ms, now_ms)
            if tele is None
            else watch.look(self._sight(tele), board.heard_ms)
        )
        if isinstance(found, Code):
            self._fail(found)
        elif found:
            self._pass_stage()
        elif watch.stage.shows and now_ms - self._shown_ms >= SHOW_EACH_MS:
            self._shown_ms = now_ms
            readings = {f"{half}_c": value for half, value in board.readings_c(now_ms).items()}
            self._say("note", "temperatures", **readings)

    def _sight(self, tele: m.Tele) -> Sight:
        board, watch = self._board, self._watch
        watch.before = watch.before or tele
        sends = watch.stage.sends
        return Sight(
            tele=tele,
            before=watch.before,
            why=board.why,
            stage_s=watch.stage_s(self._now_ms),
            drift_k=self._samples.drift_k if watch.stage.samples == "begin" else math.nan,
            restarted=board.restarted and self._session.up,
            cause=board.cause,
            refused=board.refused,
            stored=sends is Sent.STORE and board.is_stored(self._halves),
            used=sends is Sent.USE and board.is_used(),
            differs=board.differs(self._trip_c) if sends is Sent.TRIP else None,
        )

    def _pass_stage(self) -> None:
        half = self._at.half
        if self._current is CLEAR and self._board.cause == ResetCause.POWER:
            self._board.restarted = False  # somebody mended something, and it is at rest
        if half is not None and self._current.samples == "heat":
            trouble = self._samples.heat_off(half, self._board.clock_ms)
            if trouble is not None:
                self._fail(trouble)
                return
        if self._stage + 1 < len(self._at.stages):
            self._begin_stage(self._stage + 1)
        elif half is None or self._current.samples != "keep" or self._measure(half):
            self._pass_step()

    def _measure(self, last: Half) -> bool:
        """Read out every half measured so far: what came since shows more of the first one too."""
        for half in self._board.zones[: self._board.zones.index(last) + 1]:
            found = judge_fit(
                half,
                self._samples.fit(half, self._room_c),
                self._plan,
                share=self._board.share,
                room_c=self._room_c,
            )
            if isinstance(found, Code):
                self._fail(found)
                return False
            self._halves[half] = found
            values: dict[str, Field] = {
                "rise_mk": round(1000.0 * found.rise_k_per_s),
                "lag_s": found.lag_s,
                "heat_up_s": found.heat_up_s,
            }
            self._values |= values if half is last else {}
            self._say("note", "measured", half=half.value, **values)
        return True

    def _pass_step(self) -> None:
        if self._current.sends in (Sent.LAMP, Sent.SOUND):
            self._board.hush()
        self._say("passed", self._at.code, **self._fields())
        self._note_step(DONE)
        self._begin_step()

    def _note_step(self, outcome: str) -> None:
        if outcome == NOT_FITTED:
            self._say("note", NOT_FITTED, **self._fields())
        self._passed.append(
            CommissionedStep(
                step=self._at.name,
                outcome=outcome,
                utc_ms=self._utc_ms(),
                failed=tuple(self._failures) if outcome == DONE else (),
                values=self._values if outcome == DONE else {},
            )
        )
        self._step += 1

    def _fail(self, code: Code) -> None:
        self.outcome = Outcome.FAILED
        self._failures.append(code.code)
        self._session.disarm()
        self._board.hush()
        self._say("failed", code.code, **{**self._fields(), **code.fields})

    # What a person types and reads.

    def _answer(self, asked: Asked, text: str) -> None:
        board = self._board
        readings_c = board.readings_c(self._now_ms)
        known = Known(
            self._plan, self._person, board.lamp, board.sound, readings_c, board.ceiling_c
        )
        found = judge_typed(asked, text, known)
        if isinstance(found, Code):
            self._fail(found)
            return
        self._values |= found
        match asked:
            case Asked.PERSON:
                self._person = str(found["name"])
            case Asked.SECOND:
                self._second = str(found["name"])
            case Asked.ROOM:
                self._room_c = float(found["room_c"])
            case Asked.TRIP:
                self._trip_c = float(found["trip_c"])
            case _:
                pass
        self._pass_stage()

    def _fields(self) -> dict[str, Field]:
        fields: dict[str, Field] = {
            "mould": self._plan.mould,
            "slot": self._plan.slot,
            "number": min(self._step + 1, len(STEPS)),
            "count": len(STEPS),
            "proposed_c": proposed_trip_c(self._plan),
            "setpoint_c": self._plan.setpoint_c,
            "rated_c": self._plan.rated_c,
        }
        if self._board.why not in {"", "none", "mould"}:
            fields["lock_reason"] = self._board.why
        if self._step < len(STEPS) and self._at.half is not None:
            fields["half"] = self._at.half.value
        return fields

    def _say(self, kind: str, code: str, **fields: Field) -> None:
        self.said.append(Said(kind, Code(code, fields)))

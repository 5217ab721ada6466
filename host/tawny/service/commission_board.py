"""The board's side of a commissioning: what it said, what is asked of it, what is read back."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Final

from tawny.core import messages as m
from tawny.core.commission import Plan, Sent, reading_c
from tawny.core.commission_typed import LAMPS, SOUNDS
from tawny.core.limits import STALE_S, setpoint_most_c
from tawny.core.names import Half
from tawny.core.record import CommissionedHalf
from tawny.link import events as e
from tawny.link.session import Session

_CHANGES: Final = {"store", "use", "trip"}
_AHEAD_MOST_MS: Final = 10_000  # a line may have waited in a buffer, as link/unwrap.py has it
_WIRE_WITHIN: Final = 0.51  # what rounding to the wire's steps may change, in such steps


class BoardSide:
    """What is known of the board.

    Args:
        session: With it.
        plan: What is to be commissioned.
        pick: Returns a whole number below the one given, not to be foreseen by a person.

    Attributes:
        tele: The last line of telemetry since it last started or the link was last lost.
        heard_ms: When that came, on the host's clock.
        boot: Which start of the board it belongs to.
        clock_ms: The board's clock with that line, carried on over restarts and silence by the
            host's: it never runs back.
        cause: Of its last start.
        why: Why it is not ready, the word of its last status.
        restarted: It has started again since somebody set this to False.
        swapped: Another board answers now, or the same with another build.
        refused: Why it refused the last change asked of it.
        lamp, sound: What it was asked to show.
    """

    def __init__(self, session: Session, plan: Plan, pick: Callable[[int], int]) -> None:
        self._session, self._plan, self._pick = session, plan, pick
        self.tele: m.Tele | None = None
        self.heard_ms = self.clock_ms = 0
        self.boot = -1
        self.why = self.refused = self.cause = ""
        self.restarted = self.swapped = False
        self.lamp = self.sound = "off"
        self.limits: m.Limits | None = None
        self._board_ms = 0
        self._here: m.Here | None = None
        self._slot: m.Mould | None = None
        self._limits_back: m.Limits | None = None
        self._stored = 0

    @property
    def zones(self) -> tuple[Half, ...]:
        """The halves that are fitted."""
        one = self.limits is not None and self.limits.zones == 1
        return (Half.UPPER,) if one else (Half.UPPER, Half.LOWER)

    @property
    def share(self) -> float:
        """What each half gets of full duty when all heat up at once."""
        cap = 1000 if self.limits is None else self.limits.cap
        return min(1.0, cap / (1000.0 * len(self.zones)))

    def has(self, fitted: int) -> bool:
        """Say whether something is fitted, a bit of `limits.fit`."""
        fit = 0 if self.limits is None else self.limits.fit
        return fit & fitted == fitted

    @property
    def ceiling_c(self) -> float:
        """Its compiled ceiling; NaN, under which nothing fits, where its limits are not known."""
        ceiling = None if self.limits is None else self.limits.ceil
        return ceiling / 10.0 if isinstance(ceiling, int) else math.nan

    def fresh(self, now_ms: int) -> m.Tele | None:
        """Return the last line of telemetry while it says how things stand now."""
        return self.tele if now_ms - self.heard_ms <= 1000.0 * STALE_S else None

    def readings_c(self, now_ms: int) -> dict[Half, float]:
        """Return the temperatures of the halves that are fitted, by a line that is fresh."""
        tele = self.fresh(now_ms)
        return {} if tele is None else {half: reading_c(tele, half) for half in self.zones}

    def arm_is_down(self, now_ms: int) -> bool:
        """Say whether ARM is down, by a line that is fresh."""
        tele = self.fresh(now_ms)
        return tele is not None and bool(tele.inputs & m.IN_ARM)

    def take(self, event: e.LinkEvent, now_ms: int) -> None:
        """Learn from what came over the line."""
        match event:
            case e.Telemetry(tele, board_ms, boot):
                self._run_on(board_ms, boot, now_ms)
                self.tele, self.heard_ms = tele, now_ms
            case e.Status(stat):
                self.why = stat.why
            case e.Up(here, limits, _):
                met = self._here or here
                self.restarted |= here.boot != met.boot
                self.swapped |= (here.board, here.build) != (met.board, met.build)
                self._here, self.cause = here, here.cause
                self.tele, self.limits, self.why = None, limits, ""
            case e.BoardReset(_, cause):
                self.restarted, self.cause, self.tele = True, cause, None
            case e.Down():
                self.tele = None
            case _:
                self._take_answer(event)

    def _take_answer(self, event: e.LinkEvent) -> None:
        match event:
            case e.LimitsRead(limits):
                self.limits = self._limits_back = limits
            case e.MouldRead(mould):
                self._slot = mould
            case e.Refusal(kind, why) if kind in _CHANGES:
                self.refused = why
            case e.Answered("store"):
                self._stored += 1
                if self._stored == len(self.zones):
                    self._session.read_mould(self._plan.slot)
            case _:
                pass

    def _run_on(self, board_ms: int, boot: int, now_ms: int) -> None:
        heard_ms, passed_ms = now_ms - self.heard_ms, board_ms - self._board_ms
        if boot != self.boot or not 0 <= passed_ms <= heard_ms + _AHEAD_MOST_MS:
            passed_ms = heard_ms  # its clock began again, or jumped
        self.clock_ms += passed_ms
        self.boot, self._board_ms = boot, board_ms

    def send(self, what: Sent, halves: Mapping[Half, CommissionedHalf], trip_c: float) -> None:
        """Ask something of it."""
        session, slot = self._session, self._plan.slot
        match what:
            case Sent.LAMP:
                self.lamp = LAMPS[self._pick(len(LAMPS))]
                session.signal(self.lamp, "off")
            case Sent.SOUND:
                self.sound = SOUNDS[self._pick(len(SOUNDS))]
                session.signal("off", self.sound)
            case Sent.STORE:
                self._stored, self._slot = 0, None
                for half, own in halves.items():
                    session.store_mould(slot, half, own.rise_k_per_s, own.lag_s, own.heat_up_s)
            case Sent.USE:
                self._slot = None
                session.use_mould(slot)
            case Sent.TRIP:
                self._limits_back = None
                session.reduce_trip(trip_c)

    def hush(self) -> None:
        """End lamp and buzzer."""
        self._session.signal("off", "off")

    def is_stored(self, halves: Mapping[Half, CommissionedHalf]) -> bool:
        """Say whether the slot as read back holds what was to be stored."""
        slot = self._slot
        if slot is None or slot.k != self._plan.slot or not halves:
            return False
        there = {
            Half.UPPER: (slot.ur / 1000.0, slot.ul / 10.0, float(slot.uh)),
            Half.LOWER: (slot.lr / 1000.0, slot.ll / 10.0, float(slot.lh)),
        }
        return all(
            abs(there[half][0] - own.rise_k_per_s) <= _WIRE_WITHIN / 1000.0
            and abs(there[half][1] - own.lag_s) <= _WIRE_WITHIN / 10.0
            and abs(there[half][2] - own.heat_up_s) <= _WIRE_WITHIN
            for half, own in halves.items()
        )

    def is_used(self) -> bool:
        """Say whether the slot as read back is the one in use."""
        return self._slot is not None and self._slot.in_use == self._plan.slot

    def differs(self, trip_c: float) -> str | None:
        """Return what the limits as read back do not agree in; "" where in nothing."""
        limits, plan = self._limits_back, self._plan
        if limits is None or math.isnan(trip_c):
            return None
        asked = {
            "trip": (limits.trip, round(10.0 * trip_c)),
            "set": (limits.set, round(10.0 * setpoint_most_c(trip_c))),
            "out": (limits.out, plan.output),
            "win": (limits.win, round(1000.0 * plan.window_s)),
        }
        return ", ".join(name for name, (found, wanted) in asked.items() if found != wanted)

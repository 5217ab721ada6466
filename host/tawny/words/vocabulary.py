"""One word or phrase for each name of the field, as people read it."""

from __future__ import annotations

from tawny.core.names import (
    AlarmState,
    BoardState,
    FirstOut,
    Half,
    LinkStatus,
    Phase,
    Priority,
    Quality,
    ResetCause,
    Result,
)
from tawny.core.plan_state import Announced
from tawny.errors import N_

HALVES = {Half.UPPER: N_("upper"), Half.LOWER: N_("lower")}

PHASES = {
    Phase.IDLE: N_("idle"),
    Phase.PREHEAT: N_("preheat"),
    Phase.SOAK: N_("soak"),
    Phase.READY: N_("ready"),
    Phase.CLEAN: N_("clean"),
    Phase.OIL: N_("oil"),
    Phase.FILL: N_("fill"),
    Phase.CLOSE: N_("close"),
    Phase.BREATHE: N_("breathe"),
    Phase.HOLD: N_("hold"),
    Phase.RELEASE: N_("release"),
    Phase.OPEN: N_("open"),
    Phase.DEMOULD: N_("demould"),
    Phase.COOL: N_("cool"),
    Phase.PAUSED: N_("paused"),
}

# What stands before the things that must be true first.
BEFORE = {
    Phase.IDLE: N_("Before the day can end:"),
    Phase.PREHEAT: N_("Before it can heat:"),
    Phase.SOAK: N_("Before it can soak:"),
    Phase.READY: N_("Before it is ready:"),
    Phase.CLEAN: N_("Before you can clean:"),
    Phase.OIL: N_("Before you can oil:"),
    Phase.FILL: N_("Before you can fill:"),
    Phase.CLOSE: N_("Before you can close:"),
    Phase.BREATHE: N_("Before you can let it breathe:"),
    Phase.HOLD: N_("Before the hold begins:"),
    Phase.RELEASE: N_("Before you can release:"),
    Phase.OPEN: N_("Before you can open:"),
    Phase.DEMOULD: N_("Before you can take it out:"),
    Phase.COOL: N_("Before it can cool:"),
    Phase.PAUSED: N_("Before you can pause:"),
}

BOARD_STATES = {
    BoardState.BOOT: N_("starting"),
    BoardState.SELFTEST: N_("testing itself"),
    BoardState.LOCKED: N_("locked"),
    BoardState.READY: N_("not armed"),
    BoardState.ARMED: N_("armed"),
    BoardState.TRIPPED: N_("tripped"),
}

FIRST_OUTS = {
    FirstOut.NONE: N_("no cause given"),
    FirstOut.OVERTEMP: N_("the mould was too hot"),
    FirstOut.SENSOR: N_("a sensor gave no good reading"),
    FirstOut.DISAGREE: N_("the halves disagreed"),
    FirstOut.NORISE: N_("a half did not warm up"),
    FirstOut.RISEFAST: N_("a half warmed up too fast"),
    FirstOut.FALLFAST: N_("a reading fell too fast"),
    FirstOut.WELDED: N_("a heater stayed on"),
    FirstOut.STUCK: N_("a reading stood still"),
    FirstOut.MIRROR: N_("the contactor did not obey"),
    FirstOut.CHAIN: N_("a limit thermostat opened"),
    FirstOut.SELFTEST: N_("the board failed its own test"),
}

RESET_CAUSES = {
    ResetCause.POWER: N_("power came on"),
    ResetCause.BUTTON: N_("its reset button"),
    ResetCause.BROWNOUT: N_("its supply sagged"),
    ResetCause.WATCHDOG: N_("its watchdog"),
    ResetCause.UNKNOWN: N_("cause unknown"),
}

LINKS = {
    LinkStatus.CLOSED: N_("no board"),
    LinkStatus.GREETING: N_("greeting the board"),
    LinkStatus.UP: N_("board connected"),
    LinkStatus.STALE: N_("board silent"),
    LinkStatus.REFUSED: N_("board refused"),
}

QUALITIES = {
    Quality.GOOD: N_("good"),
    Quality.STALE: N_("old"),
    Quality.BAD: N_("bad"),
}

RESULTS = {
    Result.COMPLETE: N_("complete"),
    Result.ABORTED: N_("aborted"),
    Result.INTERRUPTED: N_("interrupted"),
}

PRIORITIES = {
    Priority.HIGH: N_("now"),
    Priority.MEDIUM: N_("soon"),
    Priority.LOW: N_("when you can"),
}

ALARM_STATES = {
    AlarmState.NORMAL: N_("gone"),
    AlarmState.ACTIVE: N_("not seen"),
    AlarmState.ACKNOWLEDGED: N_("seen"),
    AlarmState.RETURNED: N_("gone, not seen"),
    AlarmState.LATCHED: N_("gone, not seen, needs reset"),
    AlarmState.LATCHED_SEEN: N_("needs reset"),
    AlarmState.SHELVED: N_("quiet"),
    AlarmState.SUPPRESSED: N_("suppressed"),
    AlarmState.OUT_OF_SERVICE: N_("out of service"),
}

# Why the board is locked: the words of its `stat` line.
LOCK_REASONS = {
    "none": N_("nothing in the way"),
    "session": N_("no session with this program yet"),
    "sensor": N_("a sensor gives no good reading"),
    "mains": N_("no mains at the press"),
    "button": N_("the heat-off button is pressed in"),
    "thermostat": N_("a limit thermostat is open"),
    "mould": N_("this mould is not commissioned"),
    "mirror": N_("the contactor does not obey"),
    "selftest": N_("the board failed its own test"),
    "latched": N_("a trip waits for its reset"),
}

# Why the board refuses a request: the words of its `refused` line.
BOARD_REFUSALS = {
    "version": N_("another protocol version"),
    "busy": N_("another program holds the board"),
    "token": N_("a session that has ended"),
    "old": N_("a line out of order"),
    "echo": N_("an answer to an old reading"),
    "state": N_("not in this state"),
    "range": N_("a value out of range"),
    "limit": N_("a setpoint above its limit"),
    "hand": N_("it needs a hand at the board"),
    "wrong": N_("arming took too long"),
    "rate": N_("asked too often"),
    "slot": N_("no such mould"),
    "empty": N_("no such entry"),
}

ANNOUNCED = {
    Announced.OUTAGE: N_("Outage"),
    Announced.TARIFF: N_("Dearer tariff"),
    Announced.PRESS: N_("Pressing"),
}

DAYS = (N_("Mon"), N_("Tue"), N_("Wed"), N_("Thu"), N_("Fri"), N_("Sat"), N_("Sun"))

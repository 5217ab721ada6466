"""The steps of commissioning, in their order: a table of what is done and what shows it.

The numbers are those of the form in `hardware/commissioning.md`. The contactor is brought in by
commissioning heat of duty 0, so that the chain is tried with nothing heated.
"""

from __future__ import annotations

from typing import Final

from tawny.core import messages as m
from tawny.core.commission import (
    AHEAD_K,
    FALLS_K,
    MOVES_K,
    Asked,
    Judge,
    Sent,
    Sight,
    Stage,
    Step,
    Wrong,
    other,
)
from tawny.core.limits import COMMISSIONING_MOST_C, COMMISSIONING_MOST_S
from tawny.core.names import FirstOut, Half, ResetCause

_HALVES: Final = (Half.UPPER, Half.LOWER)
_STAYS_IN_S: Final = 1.5  # the contactor has dropped and its mirror was compared long before
_MOVE_MOST_S: Final = 110.0  # the board itself trips at 120 s without a rise of 2 K
_HEAT_UNTIL_C: Final = COMMISSIONING_MOST_C - 3.0
_HEAT_ENOUGH_K: Final = 60.0
_HEAT_MOST_S: Final = COMMISSIONING_MOST_S - 20.0
_COOL_TO_C: Final = 70.0  # leaves room for a rise below 100 degC
_EVEN_DRIFT_K: Final = 0.8
_REST_MOST_S: Final = 7200.0
_REST_AFTER_S: Final = 300.0  # shows what goes to the other half and the room

_comes_in: Final = Wrong("comes_in_by_itself", lambda s: s.contactor)
_arm_up: Final = Wrong("arm_let_go", lambda s: not s.arm)
# A plug that is pulled for a moment leaves some of the supply standing, and a port that is opened
# may press the reset.
_HAND_CAUSES: Final = {ResetCause.POWER.value, ResetCause.BROWNOUT.value, ResetCause.BUTTON.value}
_mould_opened: Final = Wrong("mould_opened", lambda s: s.has(m.IN_OPEN))

# What a stage watches for says more than the trip that follows it: hence the second.
TRIPPED: Final = Wrong("tripped", lambda s: s.tripped, 1.0)

CLEAR: Final = Stage(
    "clear",
    until=lambda s: s.why in {"none", "mould"} and not (s.arm or s.tripped or s.contactor),
    within_s=_REST_MOST_S,
    trips=True,
    restarts=True,
)
_LET_GO: Final = Stage("let_go_of_arm", until=lambda s: not s.arm)
_HOLD: Final = Stage("hold_arm", until=lambda s: s.arm)


def _by_hand(s: Sight) -> bool:
    return s.restarted and s.cause in _HAND_CAUSES


def _contactor_in() -> Stage:
    return Stage(
        "hold_arm_for_contactor",
        until=lambda s: s.arm and s.contactor,
        within_s=90.0,  # the board trips at 120 s without a rise
        late="contactor_not_in",
        heats=0.0,
    )


def _stays_out(seconds: float) -> Stage:
    return Stage(
        "contactor_stays_out", until=lambda s: not s.contactor, steady_s=seconds, wrong=(_comes_in,)
    )


def _opens(
    code: str, bit: int, until: Judge, *, cause: FirstOut = FirstOut.NONE, low: bool = False
) -> Stage:
    """Return the stage in which a hand opens the chain at one place, ARM still held.

    A contactor that stays in trips the board as well, and is the more important news.
    """

    def moved(s: Sight) -> bool:
        return s.has(bit) is not low

    return Stage(
        code,
        until=lambda s: moved(s) and not s.contactor and until(s),
        wrong=(
            Wrong("contactor_stays_in", lambda s: moved(s) and s.contactor, _STAYS_IN_S),
            Wrong("arm_let_go", lambda s: not (s.arm or moved(s))),
            Wrong(
                "other_trip", lambda s: s.tripped and s.tele.fo != cause.value, _STAYS_IN_S + 0.5
            ),
        ),
        within_s=90.0,
        heats=0.0,
        trips=True,
    )


def _reset(*extra: Judge) -> Stage:
    return Stage(
        "reset_trip",
        until=lambda s: not (s.tripped or s.arm or s.contactor) and all(one(s) for one in extra),
        wrong=(_comes_in,),
        within_s=600.0,
        trips=True,
    )


_HEAT_OFF: Final = Step(
    "heat_off",
    (
        CLEAR,
        _contactor_in(),
        _opens("press_heat_off", m.IN_BUTTON, lambda s: s.tele.st == "locked"),
        _LET_GO._replace(wrong=(_comes_in,)),
        Stage("pull_heat_off", until=lambda s: not s.has(m.IN_BUTTON), wrong=(_comes_in,)),
        _stays_out(3.0),
    ),
)


def _thermostat(half: Half) -> Step:
    return Step(
        "thermostat",
        (
            CLEAR,
            _contactor_in(),
            _opens(
                "open_thermostat",
                m.IN_THERMOSTAT,
                lambda s: s.tripped_by(FirstOut.CHAIN),
                cause=FirstOut.CHAIN,
            ),
            _reset(lambda s: not s.has(m.IN_THERMOSTAT)),
            _stays_out(3.0),
            Stage("type_opening", asks=Asked.OPENING),
        ),
        half,
    )


_MAINS: Final = Step(
    "mains",
    (
        CLEAR,
        _contactor_in(),
        _opens("isolator_off", m.IN_MAINS, lambda s: not s.tripped, low=True),
        _LET_GO,
        Stage("isolator_on", until=lambda s: s.has(m.IN_MAINS), wrong=(_comes_in,), within_s=600.0),
        _stays_out(5.0),
    ),
)
_PERMISSION: Final = Step(
    "permission",
    (
        CLEAR,
        _contactor_in(),
        Stage(
            "pull_usb",
            until=lambda s: _by_hand(s) and not s.contactor,
            wrong=(
                Wrong("contactor_stays_in", lambda s: s.restarted and s.contactor, _STAYS_IN_S),
                Wrong("board_restarted", lambda s: s.restarted and not _by_hand(s)),
                Wrong("arm_let_go", lambda s: not (s.arm or s.restarted)),
            ),
            within_s=110.0,  # the board trips at 120 s without a rise
            late="not_restarted",
            heats=0.0,
            restarts=True,
            unplugged=True,
        ),
        _LET_GO._replace(wrong=(_comes_in,), restarts=True),
        _stays_out(3.0)._replace(restarts=True),
        Stage("type_dropped_at_once", asks=Asked.YES, restarts=True),
    ),
)
_MIRROR: Final = Step(
    "mirror",
    (
        CLEAR,
        Stage("isolator_off_and_locked", until=lambda s: not s.has(m.IN_MAINS), within_s=600.0),
        Stage(
            "push_armature",
            until=lambda s: s.tripped_by(FirstOut.MIRROR),
            wrong=(Wrong("other_trip", lambda s: s.tripped and s.tele.fo != "mirror"),),
            within_s=600.0,
            late="mirror_not_seen",
            trips=True,
        ),
        # The armature may still be in when this begins.
        _reset()._replace(code="armature_back", wrong=()),
        Stage("isolator_on", until=lambda s: s.has(m.IN_MAINS), wrong=(_comes_in,), within_s=600.0),
        _stays_out(5.0),
    ),
)


def _moves(half: Half) -> Step:
    wrong_half = other(half)
    return Step(
        "moves",
        (
            CLEAR,
            _HOLD,
            Stage(
                "heating_a_moment",
                until=lambda s: (
                    s.rise_k(half) >= MOVES_K
                    and not s.rise_k(wrong_half) > s.rise_k(half) - AHEAD_K
                ),
                wrong=(
                    _arm_up,
                    _mould_opened,
                    Wrong("reversed", lambda s: s.rise_k(half) <= -FALLS_K),
                    Wrong("other_falls", lambda s: s.rise_k(wrong_half) <= -FALLS_K),
                    Wrong(
                        "swapped", lambda s: s.rise_k(wrong_half) >= s.rise_k(half) + AHEAD_K, 1.0
                    ),
                ),
                within_s=_MOVE_MOST_S,
                late="does_not_move",
                heats=1.0,
                shows=True,
            ),
            _LET_GO,
        ),
        half,
    )


def _measure(half: Half) -> Step:
    def done(s: Sight) -> bool:
        return (
            s.reading_c(half) >= _HEAT_UNTIL_C
            or s.rise_k(half) >= _HEAT_ENOUGH_K
            or s.stage_s >= _HEAT_MOST_S
        )

    return Step(
        "measure",
        (
            CLEAR,
            Stage(
                "rest_before",
                until=lambda s: s.reading_c(half) <= _COOL_TO_C and s.drift_k <= _EVEN_DRIFT_K,
                steady_s=20.0,
                wrong=(_mould_opened,),
                within_s=_REST_MOST_S,
                samples="begin",
                shows=True,
            ),
            _HOLD,
            Stage(
                "heating",
                until=done,
                wrong=(_arm_up, _mould_opened),
                within_s=_HEAT_MOST_S + 10.0,
                heats=1.0,
                samples="heat",
                shows=True,
            ),
            _LET_GO,
            Stage(
                "rest_after",
                until=lambda s: s.stage_s >= _REST_AFTER_S,
                wrong=(_mould_opened,),
                within_s=_REST_AFTER_S + 60.0,
                samples="keep",
                shows=True,
            ),
        ),
        half,
    )


def _ask_board(code: str, send: Sent, until: Judge, *, hand: bool) -> Step:
    stage = Stage(
        code,
        until=until,
        wrong=(
            Wrong("refused", lambda s: bool(s.refused), 0.0),
            Wrong("limits_differ", lambda s: bool(s.differs), 0.0),
        ),
        within_s=30.0,
        late="not_read_back",
        sends=send,
    )
    return Step(code, (CLEAR, _HOLD, stage, _LET_GO) if hand else (CLEAR, stage))


_WATCHED_BUTTONS: Final = (
    Step("arm_button", (CLEAR, _HOLD, _LET_GO)),
    Step(
        "next_button",
        (
            Stage("press_next", until=lambda s: (s.tele.k - s.before.k) % 256 == 1),
            Stage("press_next_again", until=lambda s: (s.tele.k - s.before.k) % 256 == 1),
        ),
        fitted=m.FIT_NEXT,
    ),
    Step(
        "mould_switch",
        (
            Stage("open_mould", until=lambda s: s.has(m.IN_OPEN)),
            Stage("close_mould", until=lambda s: not s.has(m.IN_OPEN)),
        ),
        fitted=m.FIT_SWITCH,
    ),
    Step("call_lamp", (Stage("type_lamp", asks=Asked.LAMP, sends=Sent.LAMP),), fitted=m.FIT_LAMP),
    Step("buzzer", (Stage("type_tones", asks=Asked.TONES, sends=Sent.SOUND),), fitted=m.FIT_BUZZER),
)

STEPS: Final[tuple[Step, ...]] = (
    Step("person", (Stage("type_person", asks=Asked.PERSON),)),
    Step("second", (Stage("type_second", asks=Asked.SECOND),)),
    Step("paper", (Stage("type_paper", asks=Asked.YES),)),
    Step("room", (CLEAR, Stage("type_room", asks=Asked.ROOM))),  # 2.4
    *_WATCHED_BUTTONS,  # 2.5
    _HEAT_OFF,  # 4.1
    *map(_thermostat, _HALVES),  # 4.2, 4.3
    _MAINS,  # 4.4
    _PERMISSION,  # 4.5
    _MIRROR,  # 2.5
    *map(_moves, _HALVES),  # 5.1
    *map(_measure, _HALVES),  # 5.2 to 5.4
    Step(
        "hot_lamp",
        (
            Stage(
                "hot_seen",
                until=lambda s: s.has(m.IN_HOT),
                steady_s=2.0,  # longer than a self-test, which lights it too
                within_s=10.0,
                late="not_hot",
            ),
            Stage("type_hot_lamp", asks=Asked.YES),
        ),
    ),  # 2.2
    Step("trip_point", (Stage("type_trip", asks=Asked.TRIP),)),
    # From here on the board is changed; what comes before a break above has changed nothing.
    _ask_board("store", Sent.STORE, lambda s: s.stored, hand=True),
    _ask_board("use", Sent.USE, lambda s: s.used, hand=False),
    _ask_board("trip", Sent.TRIP, lambda s: s.differs == "", hand=True),  # 7.8
)

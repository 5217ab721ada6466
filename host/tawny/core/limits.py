"""The numbers that stand: limits shared by the host, the board and the protocol.

One home for each. The board compiles its own copy from `firmware/PROTOCOL.md`; a test
holds the two against each other.
"""

from __future__ import annotations

CEILING_C = 230.0  # compiled into the board; nothing raises it
TRIP_DEFAULT_C = 215.0
TRIP_LEAST_C = 60.0  # the trip point is never reduced below this
SETPOINT_MOST_C = 200.0
SETPOINT_BELOW_TRIP_K = 15.0
HOST_CUTOFF_ABOVE_SETPOINT_K = 20.0

READING_LEAST_C = -10.0  # beyond these it is no reading of a mould, whatever the board says
READING_MOST_C = 400.0

SAFETY_PASS_MS = 50
READ_MS = 200  # converter read and telemetry line, each half
CONTROL_EVERY_FRAMES = 2  # 0.4 s, on the mean of the samples since
TICK_MS = 250

DUTY_EXPIRY_MS = 1500
SILENCE_DISARM_MS = 3000
SILENCE_RELEASE_MS = 10_000
STALE_S = 1.0
GAP_S = 1.0  # a step of the board's clock longer than this is a gap

DISAGREE_ALARM_K = 15.0
DISAGREE_ALARM_S = 30.0
DISAGREE_TRIP_K = 30.0
DISAGREE_TRIP_S = 10.0

OPEN_DUTY_MOST = 0.5
OPEN_HEAT_MOST_S = 180.0
CHARGE_FALL_K = 25.0
CHARGE_WINDOW_S = 60.0
CHARGE_APART_S = 60.0

FALL_K = 5.0  # in FALL_S, outside a charge window: heat 0 and a prompt
FALL_S = 5.0
NO_RISE_DUTY = 0.8
NO_RISE_LEAST_S = 20.0
STUCK_S = 60.0
STUCK_DUTY = 0.2
STUCK_STEP_DUTY = 0.1
STUCK_STEP_S = 30.0
FULL_DUTY = 0.95
FULL_DUTY_LEAST_S = 600.0
FULL_DUTY_MOST_S = 3600.0
FULL_DUTY_DEFAULT_S = 1200.0

COMMISSIONING_MOST_C = 100.0
COMMISSIONING_MOST_S = 600.0
COMMISSIONING_NO_RISE_S = 120.0
CHALLENGE_VALID_S = 10.0

PRESENCE_S = 1800.0
PRESENCE_WARNING_S = 120.0
DESK_ALARM_S = 10.0
DESK_HEAT_OFF_S = 60.0

CONFIRMED_S = 600.0  # what was seen in the mould before that, nobody knows to be so still
ADVANCE_APART_S = 0.5
KEY_QUIET_S = 1.2  # a held key repeats faster than this: only a fresh tap advances
HOT_C = 45.0  # touchable only when both halves are below

# What each half is held at, and how it gets there. Common practice where no reason is given.
STANDBY_DROP_LEAST_K, STANDBY_DROP_MOST_K = 10.0, 60.0  # more, and halves that cool unlike part
STANDBY_OFFER_LEAST_S, STANDBY_OFFER_MOST_S = 60.0, 14_400.0
RAMP_LEAST_K_PER_MIN, RAMP_MOST_K_PER_MIN = 0.5, 60.0
DRY_LEAST_C, DRY_MOST_C = 100.0, 120.0  # above the boil, below where anything is pressed
DRY_HOLD_LEAST_S, DRY_HOLD_MOST_S = 900.0, 28_800.0
DRY_DUTY_LEAST, DRY_DUTY_MOST = 0.10, 0.50
MANUAL_DUTY_MOST = 0.5
MANUAL_MOST_S = 1200.0
FIRST_OFF_MOST = 5  # pressings


def setpoint_most_c(trip_c: float) -> float:
    """Return the highest setpoint allowed with this trip point, in °C."""
    return min(SETPOINT_MOST_C, trip_c - SETPOINT_BELOW_TRIP_K)

"""The limits that section 6 marks compiled, in the units the board counts in."""

from __future__ import annotations

from typing import Final

from tawny.core import limits

PASS_MS: Final = limits.SAFETY_PASS_MS
READ_MS: Final = limits.READ_MS
STAT_MS: Final = 1000

CEILING_TENTHS: Final = round(limits.CEILING_C * 10)
TRIP_DEFAULT_TENTHS: Final = round(limits.TRIP_DEFAULT_C * 10)
TRIP_LEAST_TENTHS: Final = round(limits.TRIP_LEAST_C * 10)
SETPOINT_MOST_TENTHS: Final = round(limits.SETPOINT_MOST_C * 10)
SETPOINT_BELOW_TRIP_TENTHS: Final = round(limits.SETPOINT_BELOW_TRIP_K * 10)
RESET_BELOW_TRIP_TENTHS: Final = 200
HOT_TENTHS: Final = round(limits.HOT_C * 10)

SELFTEST_MS: Final = 1000
MIRROR_STEPS: Final = 2 * (200 // PASS_MS + 1)  # 2 for a pass that is not as commanded
ECHO_MS: Final = 2000
EXPIRY_LEAST_MS: Final = 100
EXPIRY_MOST_MS: Final = limits.DUTY_EXPIRY_MS
DISARM_MS: Final = limits.SILENCE_DISARM_MS
RELEASE_MS: Final = limits.SILENCE_RELEASE_MS
LINGER_MS: Final = RELEASE_MS - DISARM_MS
CHALLENGE_MS: Final = round(limits.CHALLENGE_VALID_S * 1000)
RESET_LEAST_MS: Final = 2000
RESET_MOST_MS: Final = 5000

CHARGE_MS: Final = round(limits.CHARGE_WINDOW_S * 1000)
CHARGE_APART_MS: Final = round(limits.CHARGE_APART_S * 1000)
CHARGE_FALL_TENTHS: Final = round(limits.CHARGE_FALL_K * 10)
OPEN_MS: Final = round(limits.OPEN_HEAT_MOST_S * 1000)
PRESENCE_MS: Final = round(limits.PRESENCE_S * 1000)
PRESENCE_WARNING_MS: Final = round(limits.PRESENCE_WARNING_S * 1000)

COMMISSIONING_MOST_TENTHS: Final = round(limits.COMMISSIONING_MOST_C * 10)
COMMISSIONING_MS: Final = round(limits.COMMISSIONING_MOST_S * 1000)
COMMISSIONING_RISE_TENTHS: Final = 20
COMMISSIONING_RISE_MS: Final = round(limits.COMMISSIONING_NO_RISE_S * 1000)

NEXT_LEAST_MS: Final = 50
NEXT_APART_MS: Final = 500

SLOTS: Final = 8
LOG_ENTRIES: Final = 64
U8: Final = 0xFF
U16: Final = 0xFFFF
U32: Final = 0xFFFF_FFFF

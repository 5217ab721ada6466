"""How strongly a reading moves what is believed of a half: steady Kalman gains of its model.

Three situations, since what is not known differs: on the way up the heater's strength, at rest a
slow drift of the loss, around a charge the heat that it takes from the surface.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

from tawny.core.limits import CONTROL_EVERY_FRAMES, DUTY_EXPIRY_MS, READ_MS
from tawny.core.loop.thermal import HalfThermal

STEP_S = CONTROL_EVERY_FRAMES * READ_MS / 1000.0  # the loop's own: each second sample
AWAY_S = DUTY_EXPIRY_MS / 1000.0  # a longer silence: the board has let the duty expire

READING_K = 0.15  # standard deviation of the mean of two readings, rounding included
_ROUNDS = 4000
_SETTLED = 1e-9


class Gain(NamedTuple):
    """What one kelvin of surprise adds to body, surface and the unknown heat."""

    body: float
    surface: float
    unknown: float


class _Noise(NamedTuple):
    """What may happen in the root of a second: to body and surface in K, to the heat in duty."""

    body_k: float
    surface_k: float
    heat: float


class Gains(NamedTuple):
    """Of one half, by situation."""

    rising: Gain
    resting: Gain
    charged: Gain


@cache
def gains(half: HalfThermal) -> Gains:
    """Return the gains for a half; the same model, the same gains."""
    return Gains(
        rising=_steady(half, _Noise(0.0005, 0.002, 0.004), at_surface=False),
        resting=_steady(half, _Noise(0.0005, 0.001, 0.0006), at_surface=False),
        charged=_steady(half, _Noise(0.001, 0.003, 0.03), at_surface=True),
    )


def _steady(half: HalfThermal, noise: _Noise, *, at_surface: bool) -> Gain:
    """Return the gain that the Riccati recursion of three states settles at."""
    share = half.surface_share
    spread = half.spread_k_per_s()
    to_body = STEP_S * spread / (1.0 - share)
    to_surface = STEP_S * spread / share
    out = STEP_S * half.exchange_per_s / share
    rise = STEP_S * half.rise_k_per_s
    # Implicit in itself, so that no spread time makes the step unstable.
    step = (
        (1.0 - to_body / (1.0 + to_body), to_body / (1.0 + to_body), 0.0),
        (to_surface / (1.0 + to_surface + out), 1.0 / (1.0 + to_surface + out), 0.0),
        (0.0, 0.0, 1.0),
    )
    heat = (
        (0.0, -rise / share / (1.0 + to_surface + out))
        if at_surface
        else (rise / (1.0 - share) / (1.0 + to_body), 0.0)
    )
    a = [list(row) for row in step]
    a[0][2], a[1][2] = heat
    q = [STEP_S * noise.body_k**2, STEP_S * noise.surface_k**2, STEP_S * noise.heat**2]
    read = READING_K**2
    p = [[1.0 if i == j else 0.0 for j in range(3)] for i in range(3)]
    gain = (0.0, 0.0, 0.0)
    for _ in range(_ROUNDS):
        seen = p[1][1] + read
        now = (p[0][1] / seen, p[1][1] / seen, p[2][1] / seen)
        kept = [[p[i][j] - now[i] * p[1][j] for j in range(3)] for i in range(3)]
        half_way = [
            [sum(a[i][k] * kept[k][j] for k in range(3)) for j in range(3)] for i in range(3)
        ]
        p = [
            [
                sum(half_way[i][k] * a[j][k] for k in range(3)) + (q[i] if i == j else 0.0)
                for j in range(3)
            ]
            for i in range(3)
        ]
        if max(abs(x - y) for x, y in zip(now, gain, strict=True)) < _SETTLED:
            break
        gain = now
    return Gain(*now)

"""Published tuning rules and the two classic readings of a step response: the yardstick.

The loop itself uses none of this but SIMC's first lines; the benchmark tunes the controllers
that it is compared with by these rules, as a careful person would.

Process: gain exp(-dead_time s) / ((lag s + 1) (second_lag s + 1)). The gain is in units of the
output per unit of duty, all times in seconds.

Sources:
    Skogestad 2003, J. Process Control 13:291-309 (SIMC and its half rule).
    Åström and Hägglund, Advanced PID Control, ISA 2006, chapters 7 and 8 (AMIGO, relay).
    Tyreus and Luyben 1992, Ind. Eng. Chem. Res. 31:2625-2628.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from tawny.errors import N_, InputError

_SHARE_EARLY = 1.0 - math.exp(-1.0 / 3.0)  # 28.3 %: a third of a lag after the dead time
_SHARE_LATE = 1.0 - math.exp(-1.0)  # 63.2 %: one lag after it
_SAMPLES_LEAST = 3


class Process(NamedTuple):
    """A first- or second-order process with dead time; the shorter lag is 0 in a first-order one.

    Attributes:
        gain: Output per unit of duty, once settled.
    """

    gain: float
    lag_s: float
    dead_time_s: float
    second_lag_s: float = 0.0


class Tuning(NamedTuple):
    """A controller kp (1 + 1/(integral s) + derivative s) in parallel form."""

    kp: float
    integral_s: float
    derivative_s: float = 0.0

    @property
    def ki(self) -> float:
        """Integral gain, per second."""
        return self.kp / self.integral_s

    @property
    def kd(self) -> float:
        """Derivative gain, in seconds."""
        return self.kp * self.derivative_s


class Cascade(NamedTuple):
    """A controller kc (1 + 1/(integral s)) (1 + derivative s), the form that SIMC is given in."""

    kc: float
    integral_s: float
    derivative_s: float

    def parallel(self) -> Tuning:
        """Return what acts the same in parallel form."""
        factor = 1.0 + self.derivative_s / self.integral_s
        return Tuning(self.kc * factor, self.integral_s * factor, self.derivative_s / factor)


class Ultimate(NamedTuple):
    """Where a proportional controller just oscillates for ever."""

    gain: float
    period_s: float


def half_rule(
    lags_s: Sequence[float],
    *,
    order: int,
    gain: float = 1.0,
    dead_time_s: float = 0.0,
    inverse_s: float = 0.0,
) -> Process:
    """Reduce a chain of lags to a process of first or second order.

    The largest lag that is left out goes half to the lag before it, half to the dead time; the
    smaller ones go to the dead time, and so does an inverse response.

    Args:
        lags_s: All lags, in any order. A zero in the left half plane must have been cancelled
            against a lag before.
        order: 1 or 2.
        gain: Of the chain.
        dead_time_s: Of the chain.
        inverse_s: Sum of T of the factors (1 - T s).

    Raises:
        InputError: If the order is neither, there is no lag, or a time is not one.
    """
    if order not in {1, 2}:
        raise InputError(N_("order {order} is neither 1 nor 2"), order=order)
    if not lags_s:
        raise InputError(N_("a chain of no lags cannot be reduced"))
    for name, value in (("lag", min(lags_s)), ("dead time", dead_time_s), ("inverse", inverse_s)):
        _must(name, value, value >= 0.0)
    for lag_s in lags_s:
        _must("lag", lag_s, math.isfinite(lag_s))
    kept = sorted(lags_s, reverse=True) + [0.0] * (order + 1 - len(lags_s))
    half_s = kept[order] / 2.0
    kept[order - 1] += half_s
    dead_s = dead_time_s + inverse_s + half_s + math.fsum(kept[order + 1 :])
    return Process(gain, kept[0], dead_s, kept[1] if order > 1 else 0.0)


def simc_cascade(process: Process, closed_s: float | None = None) -> Cascade:
    """Return the SIMC tuning: PI for a first-order process, PID for a second-order one.

    kc = lag/(gain (closed + dead)), integral min(lag, 4 (closed + dead)), derivative the second
    lag.

    Args:
        process: What is controlled.
        closed_s: Wanted lag of the closed loop; the dead time ("tight") if not given.

    Raises:
        InputError: If the process has no gain, no lag, or no dead time to tune for.
    """
    _check(process)
    closed_s = process.dead_time_s if closed_s is None else closed_s
    _must("closed-loop time", closed_s, 0.0 <= closed_s < math.inf)
    slow_s = closed_s + process.dead_time_s
    _must("dead time", slow_s, slow_s > 0.0)
    kc = process.lag_s / (process.gain * slow_s)
    return Cascade(kc, min(process.lag_s, 4.0 * slow_s), process.second_lag_s)


def simc(process: Process, closed_s: float | None = None) -> Tuning:
    """Return the SIMC tuning in parallel form; arguments and errors as of `simc_cascade`."""
    return simc_cascade(process, closed_s).parallel()


def amigo_pi(process: Process) -> Tuning:
    """Return the AMIGO PI tuning of a first-order process with dead time.

    Raises:
        InputError: If it has no gain, no lag or no dead time, or a second lag.
    """
    lag_s, dead_s = _first_order(process)
    gain = 0.15 + (0.35 - lag_s * dead_s / (lag_s + dead_s) ** 2) * lag_s / dead_s
    whole = lag_s**2 + 12.0 * lag_s * dead_s + 7.0 * dead_s**2
    return Tuning(gain / process.gain, 0.35 * dead_s + 13.0 * dead_s * lag_s**2 / whole)


def amigo_pid(process: Process) -> Tuning:
    """Return the AMIGO PID tuning of a first-order process with dead time.

    Raises:
        InputError: If it has no gain, no lag or no dead time, or a second lag.
    """
    lag_s, dead_s = _first_order(process)
    return Tuning(
        (0.2 + 0.45 * lag_s / dead_s) / process.gain,
        (0.4 * dead_s + 0.8 * lag_s) * dead_s / (dead_s + 0.1 * lag_s),
        0.5 * dead_s * lag_s / (0.3 * dead_s + lag_s),
    )


def relay_gain(step: float, amplitude: float) -> float:
    """Return the ultimate gain that an ideal relay shows by its describing function.

    4 step/(pi amplitude): low by some 10 % where the oscillation is not nearly a sine.

    Args:
        step: Of the relay to either side of its middle, in duty.
        amplitude: Of the oscillation to either side of its middle.

    Raises:
        InputError: If either is not above 0.
    """
    _must("relay step", step, step > 0.0)
    _must("amplitude", amplitude, amplitude > 0.0)
    return 4.0 * step / (math.pi * amplitude)


def tyreus_luyben_pi(ultimate: Ultimate) -> Tuning:
    """Return the Tyreus-Luyben PI tuning.

    Raises:
        InputError: If gain or period is not above 0.
    """
    _ultimate(ultimate)
    return Tuning(ultimate.gain / 3.2, 2.2 * ultimate.period_s)


def tyreus_luyben_pid(ultimate: Ultimate) -> Tuning:
    """Return the Tyreus-Luyben PID tuning.

    Raises:
        InputError: If gain or period is not above 0.
    """
    _ultimate(ultimate)
    return Tuning(ultimate.gain / 2.2, 2.2 * ultimate.period_s, ultimate.period_s / 6.3)


def two_point(times_s: Sequence[float], rises: Sequence[float], step: float) -> Process:
    """Identify a first-order process with dead time where its response is 28.3 and 63.2 % up.

    Args:
        times_s: Rising, the step being at 0.
        rises: The response less its value before the step; the last is taken as settled.
        step: Of the duty.

    Returns:
        The process, with a dead time of 0 at least.

    Raises:
        InputError: If the response is none, or does not rise from below 28.3 % of its end.
    """
    shares = _shares(times_s, rises, step)
    early_s = _crossing_s(times_s, shares, _SHARE_EARLY)
    late_s = _crossing_s(times_s, shares, _SHARE_LATE)
    lag_s = 1.5 * (late_s - early_s)
    return Process(rises[-1] / step, lag_s, max(late_s - lag_s, 0.0))


def area(times_s: Sequence[float], rises: Sequence[float], step: float) -> Process:
    """Identify a first-order process with dead time by two areas of its step response.

    The area above the response is lag + dead time; e times the area below it up to that moment
    is the lag. Steadier against noise than two points, but the whole tail counts.

    Args:
        times_s: Rising, from the step at 0.
        rises: The response less its value before the step; the last is taken as settled.
        step: Of the duty.

    Returns:
        The process, with a dead time of 0 at least.

    Raises:
        InputError: If the response is none.
    """
    shares = _shares(times_s, rises, step)
    both_s = times_s[0] + _integral(times_s, [1.0 - share for share in shares], math.inf)
    _must("area above the response", both_s, both_s > 0.0)
    lag_s = math.e * _integral(times_s, shares, both_s)
    return Process(rises[-1] / step, lag_s, max(both_s - lag_s, 0.0))


def _shares(times_s: Sequence[float], rises: Sequence[float], step: float) -> list[float]:
    """Return the response as shares of its end."""
    if len(times_s) != len(rises) or len(times_s) < _SAMPLES_LEAST:
        raise InputError(
            N_("a response of {times} times and {values} values cannot be read"),
            times=len(times_s),
            values=len(rises),
        )
    for value in (*times_s, *rises):
        _must("sample", value, math.isfinite(value))
    for before_s, after_s in pairwise(times_s):
        _must("time", after_s, after_s > before_s)
    _must("time", times_s[0], times_s[0] >= 0.0)
    _must("step", step, math.isfinite(step) and step != 0.0)
    _must("end of the response", rises[-1], rises[-1] != 0.0)
    return [rise / rises[-1] for rise in rises]


def _crossing_s(times_s: Sequence[float], shares: Sequence[float], level: float) -> float:
    """Return when the response first reaches a level, by a straight line between samples."""
    _must("start of the response", shares[0], shares[0] < level)
    after = next(index for index, share in enumerate(shares) if share >= level)
    part = (level - shares[after - 1]) / (shares[after] - shares[after - 1])
    return times_s[after - 1] + part * (times_s[after] - times_s[after - 1])


def _integral(times_s: Sequence[float], values: Sequence[float], until_s: float) -> float:
    """Return the area below straight lines between the samples, up to a moment."""
    total = 0.0
    samples = zip(times_s, values, strict=True)
    for (before_s, before), (after_s, after) in pairwise(samples):
        if before_s >= until_s:
            break
        end_s = min(after_s, until_s)
        end = before + (after - before) * (end_s - before_s) / (after_s - before_s)
        total += 0.5 * (before + end) * (end_s - before_s)
    return total


def _check(process: Process) -> None:
    _must("gain", process.gain, math.isfinite(process.gain) and process.gain != 0.0)
    _must("lag", process.lag_s, 0.0 < process.lag_s < math.inf)
    _must("dead time", process.dead_time_s, 0.0 <= process.dead_time_s < math.inf)
    _must("second lag", process.second_lag_s, 0.0 <= process.second_lag_s <= process.lag_s)


def _first_order(process: Process) -> tuple[float, float]:
    _check(process)
    _must("second lag", process.second_lag_s, process.second_lag_s == 0.0)
    _must("dead time", process.dead_time_s, process.dead_time_s > 0.0)
    return process.lag_s, process.dead_time_s


def _ultimate(ultimate: Ultimate) -> None:
    _must("ultimate gain", ultimate.gain, 0.0 < ultimate.gain < math.inf)
    _must("ultimate period", ultimate.period_s, 0.0 < ultimate.period_s < math.inf)


def _must(name: str, value: float, holds: bool) -> None:  # noqa: FBT001 - what must hold
    """Refuse a value for which something does not hold; a NaN holds nothing."""
    if not holds:
        raise InputError(N_("{name} {value} is out of range"), name=name, value=value)

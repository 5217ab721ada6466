"""A mould with its outputs and thermocouples under a controller, without board, line or record.

Everything falls in the same millisecond as with them and a line that takes no time:

    each 0.1 s   the heat of the on-time so far goes into the mould
    each 0.2 s   both converters are read, after the mould's step
    each 0.4 s   the controller decides on the mean of both reads; the output takes it at once

What the board does beside that (arming, trips, the fall after a charge) is not here.
"""

from __future__ import annotations

import random
from typing import TYPE_CHECKING, Final, NamedTuple, Protocol

from tawny.core import converter
from tawny.core.limits import (
    CONTROL_EVERY_FRAMES,
    DUTY_EXPIRY_MS,
    OPEN_DUTY_MOST,
    OPEN_HEAT_MOST_S,
    READ_MS,
)
from tawny.core.loop.state import Place
from tawny.sim.build import build_for
from tawny.sim.mould import STEP_MS, Mould
from tawny.sim.output import WHOLE, Output
from tawny.sim.sensor import Converter

if TYPE_CHECKING:
    from tawny.core.loop.state import Duties
    from tawny.sim.parameters import MouldModel

CONTROL_MS: Final = READ_MS * CONTROL_EVERY_FRAMES
_OPEN_MOST_MS: Final = round(OPEN_HEAT_MOST_S * 1000.0)
_TENTHS: Final = 10.0


class Moment(NamedTuple):
    """What a controller hears at one control step; pairs are upper half, lower half.

    Attributes:
        now_ms: Since the lane began.
        readings_c: Mean of the reads since the last step, as the board tells them.
        shares: On-time delivered since the last step, 0-1.
        dt_s: Since the last step.
        most: Most duty of a half: 1, half of it while open, 0 when open too long.
        place: How the mould stands.
        charging: Open, and about to be closed on a charge.
    """

    now_ms: int
    readings_c: tuple[float, float]
    shares: tuple[float, float]
    dt_s: float
    most: float
    place: Place
    charging: bool


class Driver(Protocol):
    """Decides both duties."""

    def decide(self, moment: Moment) -> Duties:
        """Return the duties of upper and lower half until the next moment, 0-1."""
        ...


class Row(NamedTuple):
    """Both halves at one control step.

    Attributes:
        at_s: Since the lane began.
        tips_c: True temperatures of the thermocouples' tips.
        readings_c: What the controller was told.
        shown_c: The last reads, as the board tells them.
        surfaces_c: Of the cavity.
        core_c: Of the charge, in the middle; None: no charge.
        duties: As sent, per mille.
        on_ms: On-time delivered since the lane began.
    """

    at_s: float
    tips_c: tuple[float, float]
    readings_c: tuple[float, float]
    shown_c: tuple[float, float]
    surfaces_c: tuple[float, float]
    core_c: float | None
    duties: tuple[int, int]
    on_ms: tuple[int, int]


class Lane:
    """One mould.

    Args:
        model: What it is made of.
        seed: Of the noise and of the converters' drift.
        start_c: Temperature of everything at the start; None: of the room.
        control_from_ms: The first control step, a multiple of a read's time.

    Attributes:
        rows: One for each control step.
        switchings: How often each output went on.
        shown_c: The last reads, as the board tells them.
        place: How the mould stands; a charge lying in the open mould leaves it open.
    """

    def __init__(
        self,
        model: MouldModel,
        *,
        seed: int,
        start_c: float | None = None,
        control_from_ms: int = CONTROL_MS,
    ) -> None:
        source = random.Random(seed)  # noqa: S311 - noise, not secrets
        build = build_for(model)
        self.model = model
        self.mould = Mould(model, start_c)
        self.output = Output(window_ms=build.window_ms, least_ms=build.least_ms, cap=build.cap)
        self.converters = tuple(
            Converter(noise_k=half.sensor_noise_k, room_c=model.ambient_c, source=source)
            for half in (model.upper, model.lower)
        )
        self.now_ms = 0
        self.rows: list[Row] = []
        self.switchings = [0, 0]
        self.place = Place.SHUT
        self.charging = False
        self.duties = (0, 0)
        self._j_per_ms = (model.upper.heater_w / 1000.0, model.lower.heater_w / 1000.0)
        self._opened_ms = 0
        self._on = [False, False]
        self._before_ms = (0, 0)
        self._control_ms = control_from_ms
        self._controlled_ms = control_from_ms - READ_MS  # the first read starts the clock
        self._given_ms = (0, 0)
        self._sums_c = [0.0, 0.0]
        self._count = 0
        self.shown_c = (0.0, 0.0)

    def open(self, *, charging: bool) -> None:
        """Open the mould, now, and take out what lies in it."""
        self.mould.unload()
        self.charging = charging
        self._opened_ms = self.now_ms
        self._move(Place.OPEN)

    def close(self) -> None:
        """Close it, now."""
        self.charging = False
        self._move(Place.SHUT if self.mould.charge is None else Place.PRESSED)

    def _move(self, place: Place) -> None:
        self.place = place
        self.mould.open = place is Place.OPEN
        self.output.account(self.now_ms)
        self.output.hold(held=False, mould_open=self.mould.open)

    def run(self, driver: Driver, until_ms: int) -> None:
        """Let time pass up to a moment, a multiple of the mould's step."""
        mould, output = self.mould, self.output
        step, account = mould.step, output.account
        upper_j, lower_j = self._j_per_ms
        upper_before, lower_before = self._before_ms
        now_ms = self.now_ms
        while now_ms < until_ms:
            now_ms += STEP_MS
            account(now_ms)
            upper_ms, lower_ms = output.delivered_ms
            upper, lower = upper_ms - upper_before, lower_ms - lower_before
            self._count_switching(0, upper)
            self._count_switching(1, lower)
            step(upper_j * upper, lower_j * lower)
            upper_before, lower_before = upper_ms, lower_ms
            if now_ms % READ_MS == 0:
                self.now_ms = now_ms
                self._read(now_ms)
                if now_ms == self._control_ms:
                    self._decide(driver, now_ms)
        self._before_ms = (upper_before, lower_before)
        self.now_ms = now_ms

    def _count_switching(self, half: int, on_ms: int) -> None:
        """Count how often an output went on within one step of the mould."""
        was = self._on[half]
        if on_ms == (STEP_MS if was else 0):
            return
        now = on_ms > 0 if on_ms in {0, STEP_MS} else self.output.on[half]
        self._on[half] = now
        # On for a part of it, and as it was: it went off and on again, or on and off.
        self.switchings[half] += (now and not was) or (was is now)

    def _read(self, now_ms: int) -> None:
        mould, (upper, lower) = self.mould, self.converters
        upper_c = converter.corrected_decidegc(upper.read(mould.upper_tip_c, now_ms)) / _TENTHS
        lower_c = converter.corrected_decidegc(lower.read(mould.lower_tip_c, now_ms)) / _TENTHS
        self.shown_c = upper_c, lower_c
        self._sums_c[0] += upper_c
        self._sums_c[1] += lower_c
        self._count += 1

    def _most(self, now_ms: int) -> float:
        if self.place is not Place.OPEN:
            return 1.0
        return OPEN_DUTY_MOST if now_ms - self._opened_ms < _OPEN_MOST_MS else 0.0

    def _decide(self, driver: Driver, now_ms: int) -> None:
        sums_c, count = self._sums_c, self._count
        span_ms = now_ms - self._controlled_ms
        given_ms, before_ms = self.output.delivered_ms, self._given_ms
        moment = Moment(
            now_ms,
            (sums_c[0] / count, sums_c[1] / count),
            ((given_ms[0] - before_ms[0]) / span_ms, (given_ms[1] - before_ms[1]) / span_ms),
            span_ms / 1000.0,
            self._most(now_ms),
            self.place,
            self.charging,
        )
        self._sums_c, self._count = [0.0, 0.0], 0
        self._given_ms, self._controlled_ms = given_ms, now_ms
        self._control_ms = now_ms + CONTROL_MS
        upper, lower = driver.decide(moment)
        self.duties = (round(upper * WHOLE), round(lower * WHOLE))
        self.output.take(now_ms, self.duties, now_ms + DUTY_EXPIRY_MS)
        mould = self.mould
        self.rows.append(
            Row(
                now_ms / 1000.0,
                (mould.upper_tip_c, mould.lower_tip_c),
                moment.readings_c,
                self.shown_c,
                (mould.upper_surface_c, mould.lower_surface_c),
                None if mould.charge is None else mould.charge.core_c,
                self.duties,
                given_ms,
            )
        )

"""A mould in a lane that can be broken, and ordinary days at it: for the look-out for faults."""

from __future__ import annotations

import random
from typing import Final

from tawny.core.loop.faults import suspected
from tawny.core.loop.state import Duties
from tawny.core.loop.step import loop_step
from tawny.core.loop.suspicion import Doubt, Suspicion
from tawny.core.loop.thermal import Thermal
from tawny.core.names import Half
from tawny.sim.commands import HeaterFault
from tawny.sim.lane import Lane, Moment
from tawny.sim.lane_drive import LoopDriver
from tawny.sim.mould import STEP_MS, Mould
from tawny.sim.parameters import MouldModel
from tawny.sim.sensor import Converter, SensorFault

DRY_G_PER_CM2: Final = (0.17, 0.32)
MAINS: Final = (0.92, 1.08)  # of the rated power: the voltage within 4 %


class BrokenMould(Mould):
    """A mould whose heaters may be weak, open or always on, and its sensors exchanged.

    Attributes:
        heaters: What is wrong with each.
        power: Share of the rated power that each gives.
        swapped: Each half's thermocouple sits in the other half.
    """

    def __init__(self, model: MouldModel, start_c: float | None) -> None:
        super().__init__(model, start_c)
        self.heaters = [HeaterFault.GOOD, HeaterFault.GOOD]
        self.power = [1.0, 1.0]
        self.swapped = False
        self._rated_j = tuple(
            half.heater_w * STEP_MS / 1000.0 for half in (model.upper, model.lower)
        )

    def step(self, upper_j: float, lower_j: float) -> None:
        """Advance one step with the heat that the heaters really give."""
        given_j = [upper_j, lower_j]
        for index, fault in enumerate(self.heaters):
            if fault is HeaterFault.WELDED:
                given_j[index] = self._rated_j[index]
            elif fault is HeaterFault.OPEN:
                given_j[index] = 0.0
        super().step(given_j[0] * self.power[0], given_j[1] * self.power[1])

    @property
    def upper_tip_c(self) -> float:
        """What the upper converter is wired to."""
        tip = Mould.lower_tip_c if self.swapped else Mould.upper_tip_c
        return float(tip.__get__(self))

    @property
    def lower_tip_c(self) -> float:
        """What the lower converter is wired to."""
        tip = Mould.upper_tip_c if self.swapped else Mould.lower_tip_c
        return float(tip.__get__(self))


class ToldConverter(Converter):
    """A converter whose last register can be asked for."""

    register = 0

    def read(self, tip_c: float, now_ms: int) -> int:
        """Return the register, and keep it."""
        self.register = super().read(tip_c, now_ms)
        return self.register


class Day(LoopDriver):
    """The loop and its look-out at one mould.

    Args:
        model: The mould.
        thermal: What the loop knows of it.
        seed: Of noise and drift.

    Attributes:
        setpoints_c: None: no heat.
        said: Each doubt, and when it came.
        weak_most: The largest share of heat that was thought missing.
    """

    def __init__(
        self, model: MouldModel, thermal: Thermal, seed: int, start_c: float | None = None
    ) -> None:
        super().__init__(thermal, model, None)
        source = random.Random(seed)  # noqa: S311 - noise, not secrets
        self.model = model
        self.mould = BrokenMould(model, start_c)
        self.lane = Lane(model, seed=seed, start_c=start_c)
        self.lane.mould = self.mould
        self.converters = tuple(
            ToldConverter(noise_k=half.sensor_noise_k, room_c=model.ambient_c, source=source)
            for half in (model.upper, model.lower)
        )
        self.lane.converters = self.converters
        self.suspicion = Suspicion()
        self.said: list[tuple[float, Doubt]] = []
        self.weak_most = 0.0
        self.readings_c = (0.0, 0.0)
        self._heard, self._missed_s = True, 0.0

    @property
    def now_s(self) -> float:
        """Since the day began."""
        return self.lane.now_ms / 1000.0

    def run(self, seconds: float) -> None:
        """Let so much time pass."""
        self.lane.run(self, self.lane.now_ms + round(seconds * 10.0) * STEP_MS)
        self.lane.rows.clear()

    def decide(self, moment: Moment) -> Duties:
        """Step the loop, and look twice."""
        upper, lower = (converter.register for converter in self.converters)
        given = self.given(moment)._replace(registers=(upper, lower))
        if not self._heard:
            self._missed_s += moment.dt_s
            return 0.0, 0.0
        given = given._replace(dt_s=moment.dt_s + self._missed_s)
        self._missed_s = 0.0
        self.readings_c = moment.readings_c
        self.loop, duties = loop_step(self.loop, given)
        self.suspicion = suspected(self.suspicion, self.loop, given)
        doubt = self.suspicion.doubt
        if doubt is not None and self.suspicion.doubt_s == 0.0:
            self.said.append((self.now_s, doubt))
        self.weak_most = max(self.weak_most, *(one.weak for one in self.suspicion.halves()))
        return duties

    def silent(self, seconds: float) -> None:
        """Let time pass with nobody listening to the board."""
        self._heard = False
        self.run(seconds)
        self._heard = True

    def until_doubt(self, most_s: float) -> bool:
        """Let time pass until a fault is suspected; say whether it was."""
        said, end_s = len(self.said), self.now_s + most_s
        while len(self.said) == said and self.now_s < end_s:
            self.run(0.4)
        return len(self.said) > said

    def press(self, filling_s: float, dry_g: float, moisture: float) -> None:
        """Open, fill and close the mould."""
        self.lane.open(charging=True)
        self.run(filling_s - 5.0)
        self.mould.load(dry_g, dry_g * moisture / (1.0 - moisture), 22.0)
        self.run(5.0)
        self.lane.close()

    def empty(self) -> None:
        """Open the mould, take out what is in it, and close it again."""
        self.lane.open(charging=False)
        self.run(30.0)
        self.lane.close()

    def break_sensor(self, half: Half, fault: SensorFault) -> None:
        """Break one thermocouple."""
        self.converters[half is Half.LOWER].fault = fault
        detached = fault is SensorFault.DETACHED
        if half is Half.UPPER:
            self.mould.upper_detached = detached
        else:
            self.mould.lower_detached = detached

    def above_k(self) -> float:
        """Return how far the hotter surface really is above its setpoint."""
        hottest_c = max(self.mould.upper_surface_c, self.mould.lower_surface_c)
        return hottest_c - self.model.heat_up_c


def live(day: Day, hours: float, seed: int) -> None:
    """Live through ordinary days: heat-ups, rests, pressings, breaks, standby, mains up and down.

    Fillings of 25 to 90 s, every tenth up to 5 min; charges of 0.17 to 0.32 g/cm2 with 8 to 28 %
    of water; setpoint down by 40 K, or heat off for up to 90 min, between the turns.
    """
    source = random.Random(seed)  # noqa: S311 - chance, not secrets
    model, end_s = day.model, day.now_s + hours * 3600.0
    set_c = (model.heat_up_c, model.heat_up_c)
    while day.now_s < end_s:
        day.mould.power = [source.uniform(*MAINS)] * 2
        day.setpoints_c = set_c
        day.run(source.uniform(1500.0, 3000.0))
        for _ in range(source.randint(4, 10)):
            filling_s = source.uniform(25.0, 90.0)
            if source.random() < 0.1:
                filling_s = source.uniform(150.0, 300.0)
            dry_g = model.charge.area_cm2 * source.uniform(*DRY_G_PER_CM2)
            day.press(filling_s, dry_g, source.uniform(0.08, 0.28))
            day.run(source.uniform(90.0, 300.0))
            if source.random() < 0.1:
                day.silent(source.choice((0.8, 2.0, 10.0)))
            if source.random() < 0.2:
                day.empty()
                day.run(source.uniform(60.0, 1500.0))
        day.empty()
        what = source.random()
        if what < 0.4:
            day.setpoints_c = (set_c[0] - 40.0, set_c[1] - 40.0)
            day.run(source.uniform(300.0, 1500.0))
        elif what < 0.8:
            day.setpoints_c = None
            day.run(source.uniform(600.0, 5400.0))


def at_rest(day: Day) -> None:
    """Heat up, and hold until nothing moves."""
    day.setpoints_c = (day.model.heat_up_c, day.model.heat_up_c)
    while not (day.loop.setpoints_c and not day.loop.rising):
        day.run(20.0)
    day.run(500.0)

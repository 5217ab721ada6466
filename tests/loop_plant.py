"""Two mould halves for tests of the loop, each heater, body, surface: no mould of the package."""

from __future__ import annotations

import random
from collections import deque
from typing import NamedTuple

from tawny.core.loop.state import Given, Loop, Place
from tawny.core.loop.step import loop_step
from tawny.core.loop.thermal import HalfThermal, Thermal

ROOM_C = 22.0
STEP_S = 0.1


class Half(NamedTuple):
    """One half: heat capacities in J/K, conductances in W/K."""

    heater_w: float
    heater_j: float
    heater_g: float
    body_j: float
    surface_j: float
    spread_g: float
    loss_g: float
    delay_s: float

    @property
    def whole_j(self) -> float:
        """Of all three nodes."""
        return self.heater_j + self.body_j + self.surface_j

    def hold_duty(self, setpoint_c: float) -> float:
        """What holds it there, by its loss."""
        return self.loss_g * (setpoint_c - ROOM_C) / self.heater_w

    def thermal(self, exchange_g: float = 0.0) -> HalfThermal:
        """What a perfect fit would find, about: lags of the chain taken one by one."""
        metal_j = self.body_j + self.surface_j
        share = self.surface_j / metal_j
        return HalfThermal(
            rise_k_per_s=self.heater_w / self.whole_j,
            heater_lag_s=self.heater_j / self.heater_g * metal_j / self.whole_j,
            spread_lag_s=max(share * (1.0 - share) * metal_j / self.spread_g, 2.0),
            dead_time_s=self.delay_s,
            loss_per_s=self.loss_g / self.whole_j,
            loss_rise_per_s_k=0.0,
            exchange_per_s=exchange_g / self.whole_j,
            surface_share=share,
        )


LIGHT = Half(750.0, 90.0, 8.0, 1900.0, 800.0, 120.0, 1.2, 0.6)
HEAVY = Half(1500.0, 250.0, 12.0, 4700.0, 2000.0, 30.0, 3.0, 2.0)
WEAK = Half(500.0, 150.0, 6.0, 3300.0, 1400.0, 35.0, 1.9, 2.0)
STRONG = Half(1500.0, 350.0, 7.0, 2200.0, 950.0, 100.0, 1.4, 1.0)
PLANTS = {"light": LIGHT, "heavy": HEAVY, "weak": WEAK, "strong": STRONG}


class Rig:
    """Both halves under the loop, control each 0.4 s on the mean of two samples of 0.2 s."""

    def __init__(
        self,
        plant: Half,
        *,
        thermal: Thermal | None = None,
        setpoint_c: float = 180.0,
        noise_k: float = 0.15,
        exchange_g: float = 15.0,
        window_s: float = 1.0,
        seed: int = 1,
        start_c: float = ROOM_C,
    ) -> None:
        self.plant, self.setpoint_c, self.exchange_g = plant, setpoint_c, exchange_g
        own = plant.thermal(exchange_g)
        self.thermal = thermal or Thermal(upper=own, lower=own, trusted=True)
        self.loop = Loop()
        self.noise, self.noise_k = random.Random(seed), noise_k  # noqa: S311 - noise
        self.nodes = [[start_c] * 3, [start_c] * 3]
        steps = round(plant.delay_s / STEP_S) + 1
        self.behind = [deque([start_c] * steps, maxlen=steps) for _ in (0, 1)]
        self.duties = (0.0, 0.0)
        self.window_steps = round(window_s / STEP_S)
        self.window_s = window_s
        self.on_steps, self.owed = [0, 0], [0.0, 0.0]
        self.given_s = [0.0, 0.0]
        self.samples: list[list[float]] = [[], []]
        self.step = 0
        self.heated = True
        self.apart_k = 0.0
        self.place, self.charging, self.charge = Place.SHUT, False, "a"
        self.teaches = True
        self.strength = [1.0, 1.0]
        self.offset_k = [0.0, 0.0]
        self.taken_w = (0.0, 0.0)
        self.last_control = 0
        self.deaf = False
        self.asked: list[tuple[float, float]] = []
        self.most = 1.0
        self.cap = 2.0

    def surface_c(self) -> tuple[float, float]:
        """True temperatures."""
        return self.nodes[0][2], self.nodes[1][2]

    def run(self, seconds: float) -> list[tuple[float, float]]:
        """Return both true surface temperatures at each tenth of a second."""
        return [self._one() for _ in range(round(seconds / STEP_S))]

    def _one(self) -> tuple[float, float]:
        self._window()
        position = self.step % self.window_steps
        for index in (0, 1):
            on = position < self.on_steps[index] and self.duties[index] > 0.0
            self.given_s[index] += STEP_S if on else 0.0
            self._heat(index, self.plant.heater_w * self.strength[index] if on else 0.0)
        self._exchange()
        self.step += 1
        if self.step % 2 == 0 and not self.deaf:
            self._read()
        if self.step % 4 == 0 and not self.deaf:
            self.control()
        return self.surface_c()

    def _window(self) -> None:
        if self.step % self.window_steps:
            return
        for index in (0, 1):
            self.owed[index] += self.duties[index] * self.window_steps
            self.on_steps[index] = round(self.owed[index])
            self.owed[index] -= self.on_steps[index]

    def _heat(self, index: int, heater_w: float) -> None:
        plant, (heater_c, body_c, surface_c) = self.plant, self.nodes[index]
        into_w = plant.heater_g * (heater_c - body_c)
        across_w = plant.spread_g * (body_c - surface_c)
        loss_w = plant.loss_g * (body_c - ROOM_C)
        self.nodes[index] = [
            heater_c + STEP_S * (heater_w - into_w) / plant.heater_j,
            body_c + STEP_S * (into_w - across_w - loss_w) / plant.body_j,
            surface_c + STEP_S * (across_w - self.taken_w[index]) / plant.surface_j,
        ]
        self.behind[index].append(self.nodes[index][2])

    def _exchange(self) -> None:
        if self.place is Place.OPEN:
            return
        flow_k = STEP_S * self.exchange_g * (self.nodes[0][2] - self.nodes[1][2])
        self.nodes[0][2] -= flow_k / self.plant.surface_j
        self.nodes[1][2] += flow_k / self.plant.surface_j

    def _read(self) -> None:
        for index in (0, 1):
            true_c = self.behind[index][0] + self.offset_k[index]
            noisy_c = true_c + self.noise.gauss(0.0, self.noise_k)
            self.samples[index].append(round(noisy_c * 4.0) / 4.0)

    def given(self, **other: object) -> Given:
        """What the loop is to know now."""
        readings = [sum(own) / len(own) if own else 20.0 for own in self.samples]
        span_s = max((self.step - self.last_control) * STEP_S, 0.2)
        given = Given(
            thermal=self.thermal,
            setpoints_c=(self.setpoint_c + self.apart_k / 2.0, self.setpoint_c - self.apart_k / 2.0)
            if self.heated
            else None,
            readings_c=(readings[0], readings[1]),
            shares=(min(self.given_s[0] / span_s, 1.0), min(self.given_s[1] / span_s, 1.0)),
            dt_s=span_s,
            most=0.5 if self.place is Place.OPEN else self.most,
            cap=self.cap,
            place=self.place,
            charging=self.charging,
            charge=self.charge,
            teaches=self.teaches,
            room_c=ROOM_C,
            window_s=self.window_s,
        )
        return given._replace(**other)  # type: ignore[arg-type]

    def control(self, **other: object) -> None:
        """One step of the loop."""
        self.loop, self.duties = loop_step(self.loop, self.given(**other))
        self.asked.append(self.duties)
        self.samples, self.given_s, self.last_control = [[], []], [0.0, 0.0], self.step


def off_k(values: list[tuple[float, float]], setpoint_c: float = 180.0) -> float:
    """The largest deviation of either half."""
    return max(max(abs(one - setpoint_c) for one in pair) for pair in values)


def over_k(values: list[tuple[float, float]], setpoint_c: float = 180.0) -> float:
    """How far the hotter half got above setpoint."""
    return max(max(pair) for pair in values) - setpoint_c

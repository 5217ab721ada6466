"""A plain plant for the rivals to control, and how they play on it."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable

from tawny.core.tuning_rules import Process
from tawny.sim.heard import Heard
from tawny.sim.parameters import MouldModel, load
from tawny.sim.rivals.pair import Rival

ROOM_C = 20.0
SETPOINT_C = 160.0
STEP_S = 0.4  # of control; the plant's own is a quarter of it
MINUTE = round(60.0 / STEP_S)


class Plant:
    """A half as three numbers and a lag: T' = rise x - loss (T - room), x behind lag and delay."""

    def __init__(
        self, *, rise_k_per_s: float = 0.27, loss_per_s: float = 5e-4, lag_s: float, dead_s: float
    ) -> None:
        self.rise_k_per_s, self.loss_per_s = rise_k_per_s, loss_per_s
        self.lag_s, self.dead_s = lag_s, dead_s
        self.value_c = ROOM_C
        self._heat = 0.0
        self._line = deque([0.0] * round(dead_s / 0.1))

    def advance(self, duty: float) -> float:
        """Return the mean of two samples of the next 0.4 s."""
        seen_c = []
        for _ in range(4):
            self._line.append(duty)
            share = min(0.1 / self.lag_s, 1.0) if self.lag_s else 1.0
            self._heat += (self._line.popleft() - self._heat) * share
            loss_k_per_s = self.loss_per_s * (self.value_c - ROOM_C)
            self.value_c += 0.1 * (self.rise_k_per_s * self._heat - loss_k_per_s)
            seen_c.append(self.value_c)
        return (seen_c[1] + seen_c[3]) / 2.0

    @property
    def process(self) -> Process:
        """What it is as gain, lag and dead time, its short lag halved as the half rule does."""
        lag_s = 1.0 / self.loss_per_s
        return Process(
            self.rise_k_per_s * lag_s, lag_s + self.lag_s / 2.0, self.dead_s + self.lag_s / 2.0
        )


def slow() -> Plant:
    """Return a plant like a light mould."""
    return Plant(lag_s=12.0, dead_s=4.0)


def play(
    controller: Rival,
    plants: tuple[Plant, Plant],
    steps: int,
    *,
    setpoint_c: Callable[[int], float] = lambda _: SETPOINT_C,
    most: Callable[[int], float] = lambda _: 1.0,
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """Return temperatures and duties of each control step."""
    duties, history = (0.0, 0.0), []
    for step in range(steps):
        means_c = plants[0].advance(duties[0]), plants[1].advance(duties[1])
        wanted_c = setpoint_c(step)
        heard = Heard(round(step * STEP_S * 1000), means_c, (wanted_c,) * 2, most(step), STEP_S)
        duties = controller.decide(heard)
        history.append((means_c, duties))
    return history


def temperatures_c(history: list[tuple[tuple[float, float], tuple[float, float]]]) -> list[float]:
    """Return what the upper half did."""
    return [means_c[0] for means_c, _ in history]


def light() -> MouldModel:
    """Return a mould with two like halves."""
    return load("light-aluminium")

"""Setpoints, ramps, standby and heat by hand on a whole simulated press: the board agrees."""

from __future__ import annotations

from pathlib import Path

import pytest
from msgspec.structs import replace

from rig import Rig
from tawny.core import intents as ask
from tawny.core.names import BoardState, Phase
from tawny.core.recipe import Recipe

P = Phase
PRESENT_EVERY_S = 1200.0


class Shift:
    """A press that is heated with another recipe, a hand on its buttons every 20 minutes."""

    def __init__(self, rig: Rig, **changes: object) -> None:
        self.rig = rig
        state = rig.press.state
        recipe: Recipe = replace(state.recipe, **changes)
        rig.press.state = replace(state, recipe=recipe, recipes=(recipe,))
        rig.run(3.0)
        rig.working = False
        self.seen: set[str] = set()

    def start(self, *, dry_out: bool = False) -> None:
        """Look, ask, arm."""
        assert self.rig.ask(ask.Prepare(empty=True, dry=True, let_down=True, dry_out=dry_out))
        self.rig.until(P.PREHEAT, 30.0)

    def live(self, seconds: float) -> None:
        """Let time pass with somebody there; note every alarm."""
        done_s = 0.0
        while done_s < seconds:
            self.rig.hand.press_arm()
            step_s = min(PRESENT_EVERY_S, seconds - done_s)
            for _ in range(max(round(step_s / 10.0), 1)):
                self.rig.run(min(10.0, step_s))
                self.seen |= self.rig.alarms()
            done_s += step_s

    def until(self, phase: Phase, most_s: float = 7200.0) -> None:
        """Live until a phase has come."""
        for _ in range(round(most_s / 10.0)):
            if self.rig.phase is phase:
                return
            self.live(10.0)
        raise AssertionError(f"{phase} has not come, still {self.rig.phase}")

    def values_c(self) -> tuple[float, float]:
        """Return both readings."""
        upper_c, lower_c = self.rig.press.state.upper.value_c, self.rig.press.state.lower.value_c
        assert upper_c is not None
        assert lower_c is not None
        return upper_c, lower_c

    def calm(self) -> None:
        """Hold that the board never tripped, disarmed or refused, and that nothing called."""
        tele = self.rig.press.state.tele
        assert tele is not None
        assert (tele.st, tele.fo) == (BoardState.ARMED.value, "none")
        assert self.rig.press.state.link.refused_kind == ""
        assert self.seen == set()


@pytest.mark.slow
def test_press_rests_and_heats_again_with_halves_unlike_each_other(tmp_path: Path) -> None:
    """180 and 174 degC by a ramp in step, an hour of standby, by hand, back to automatic."""
    with Rig(tmp_path, start_c=120.0) as rig:
        shift = Shift(rig, lower_setpoint_c=174.0, ramp_k_per_min=6.0, ramp_together=True)
        shift.start()
        shift.until(P.READY)
        assert shift.values_c() == pytest.approx((180.0, 174.0), abs=3.0), "1.5 of the band"
        assert rig.lockstep.now_ms >= 10 * 60_000, "60 K at 6 K/min"
        assert rig.ask(ask.Standby())
        shift.live(3600.0)
        assert shift.values_c()[0] == pytest.approx(140.0, abs=1.5)
        assert shift.values_c()[1] == pytest.approx(134.0, abs=2.5)
        assert rig.ask(ask.ManualHeat(upper=0.1, lower=0.05, minutes=10.0))
        shift.live(300.0)
        assert (rig.press.state.upper.duty, rig.press.state.lower.duty) == (0.1, 0.05)
        assert rig.ask(ask.Resume())
        shift.until(P.READY)
        shift.calm()


@pytest.mark.slow
def test_press_dries_out_and_then_heats_up(tmp_path: Path) -> None:
    """Three stages on the simulated mould, no call of the board, then ready at the recipe's."""
    with Rig(tmp_path, start_c=None) as rig:
        shift = Shift(rig)
        shift.start(dry_out=True)
        shift.live(1800.0)
        assert max(shift.values_c()) < 66.0
        shift.live(4500.0)
        assert min(shift.values_c()) > 105.0
        shift.until(P.READY)
        assert shift.values_c() == pytest.approx((180.0, 180.0), abs=3.0)
        shift.calm()


@pytest.mark.slow
def test_press_says_so_where_setpoints_lie_too_far_apart(tmp_path: Path) -> None:
    """15 K apart in a closed mould the upper half warms the lower: told after ten minutes."""
    with Rig(tmp_path, start_c=170.0) as rig:
        shift = Shift(rig, lower_setpoint_c=165.0)
        shift.start()
        shift.live(1500.0)
        assert rig.phase is P.PREHEAT
        said = rig.press.snapshot(rig.lockstep.now_ms).sentence
        assert said.code == "half_warmed"
        assert said.fields["half"] == "lower"
        assert 2.0 < float(said.fields["above_k"]) < 10.0
        shift.calm()

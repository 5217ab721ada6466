"""A mould is learned from commissioning and heat-ups, kept in the record, and used from then on."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import pytest
from msgspec.structs import replace

from loop_plant import LIGHT, ROOM_C
from tawny.cli.virtual_press import VirtualPress
from tawny.core.aim_state import DryOut
from tawny.core.loop.thermal import Thermal
from tawny.core.names import Phase
from tawny.core.record import COMMISSIONED, THERMAL, Commissioned, ThermalRecord
from tawny.service.fitting import Apart, AtOnce, Found, Order, fit
from tawny.service.learned import with_learned
from tawny.settings.home import Home
from tawny.words.thermal import thermal_lines
from test_identify import both

if TYPE_CHECKING:
    from pathlib import Path

BEGIN_UTC_MS = 1_750_000_000_000
P = Phase


def press(tmp_path: Path, **other: float) -> VirtualPress:
    """A simulated press whose person heats up and then waits."""
    return VirtualPress(
        Home(tmp_path), begin_utc_ms=BEGIN_UTC_MS, pressings=1, recipe="grain-apple", **other
    )


def learned(virtual: VirtualPress) -> list[ThermalRecord]:
    """What the record holds of fits."""
    virtual.recorder.flush()
    return [one.read(ThermalRecord) for one in virtual.store.entries(kinds=(THERMAL,))]


def until(virtual: VirtualPress, phase: Phase) -> None:
    """Run until a phase."""
    assert virtual.lockstep.run(lambda: virtual.press.state.cycle.phase is phase, 3600.0)


@pytest.mark.slow
def test_learning_takes_a_first_heat_up_and_keeps_it(tmp_path: Path) -> None:
    """After one heat-up the model is in the state, in the record, and there next time."""
    with press(tmp_path) as virtual:
        assert virtual.press.state.mould.thermal is None
        until(virtual, P.FILL)
        virtual.lockstep.run(lambda: virtual.press.state.mould.thermal is not None, 5.0)
        thermal = virtual.press.state.mould.thermal
        assert thermal is not None
        assert thermal.trusted
        # What the simulated saucer's upper half is made of: 900 W in 3.6 kg of aluminium and
        # 110 J/K of heater.
        assert thermal.upper.rise_k_per_s == pytest.approx(900.0 / (3.6 * 900.0 + 110.0), rel=0.04)
        (record,) = learned(virtual)
        assert (record.origin, record.mould, record.thermal) == ("heat_up", "saucer-160", thermal)
        assert record.upper_residual_k < 0.2
        assert record.coast_s > 30.0
    with press(tmp_path) as again:
        assert again.press.state.mould.thermal == thermal


@pytest.mark.slow
def test_learning_counts_no_dry_out(tmp_path: Path) -> None:
    """A heat-up in stages at low duty teaches nothing."""
    with press(tmp_path) as virtual:
        until(virtual, P.PREHEAT)
        state = virtual.press.state
        virtual.press.state = replace(state, aim=replace(state.aim, dry=DryOut(stage=2)))
        virtual.lockstep.run(lambda: virtual.press.state.aim.dry is None, 3 * 3600.0)
        until(virtual, P.READY)
        virtual.lockstep.run(lambda: False, 600.0)
        assert learned(virtual) == []


def test_learning_forgets_what_was_before_a_commissioning(tmp_path: Path) -> None:
    """Other heaters may be in it: a later commissioning without a fit leaves none."""
    own = LIGHT.thermal(15.0)
    taken = ThermalRecord(
        mould="saucer-160",
        origin="heat_up",
        thermal=Thermal(upper=own, lower=own, trusted=True),
    )
    with press(tmp_path) as virtual:
        store, mould = virtual.store, virtual.mould
        assert with_learned(mould, store).thermal is None
        store.append(THERMAL, taken, who="test", utc_ms=BEGIN_UTC_MS, mono_ms=1)
        assert with_learned(mould, store).thermal == taken.thermal
        other = ThermalRecord(mould="another", origin="heat_up", thermal=taken.thermal)
        store.append(THERMAL, other, who="test", utc_ms=BEGIN_UTC_MS, mono_ms=2)
        refused = ThermalRecord(mould="saucer-160", origin="heat_up", thermal=None)
        store.append(THERMAL, refused, who="test", utc_ms=BEGIN_UTC_MS, mono_ms=3)
        assert with_learned(mould, store).thermal == taken.thermal
        done = Commissioned(
            mould="saucer-160",
            slot=1,
            person="Ada",
            second="Ben",
            board_id="7a3e000000000001",
            board_build="00000000",
            trip_c=215.0,
            halves={},
            steps=(),
            started_utc_ms=BEGIN_UTC_MS,
            ended_utc_ms=BEGIN_UTC_MS,
        )
        store.append(COMMISSIONED, done, who="Ada", utc_ms=BEGIN_UTC_MS, mono_ms=4)
        assert with_learned(mould, store).thermal is None


def order() -> Order:
    """A commissioning of a known mould."""
    rows = both(LIGHT, noise_k=0.2)
    return Order((tuple(rows[0]), tuple(rows[1])), ROOM_C, None, 0)


@pytest.mark.slow
def test_fitting_apart_finds_what_fitting_at_once_does() -> None:
    """The child process returns the same model, once."""
    apart, at_once = Apart(), AtOnce()
    apart.start(order())
    at_once.start(order())
    expected = at_once.found()
    assert expected is not None
    assert expected.thermal is not None
    found: Found | None = None
    end_s = time.monotonic() + 50.0
    while found is None and time.monotonic() < end_s:
        found = apart.found()
        time.sleep(0.05)
    assert found == expected
    assert apart.found() is None
    apart.close()


def test_fitting_gives_a_running_child_up() -> None:
    """Closed while it works, nothing is left of it."""
    apart = Apart()
    apart.start(order())
    apart.close()
    assert apart.found() is None


def test_fitting_says_why_nothing_was_taken() -> None:
    """Too little: no model, and its reason in words."""
    found = fit(Order(((),), ROOM_C, None, 0))
    assert found.thermal is None
    record = ThermalRecord(mould="m", origin="commissioning", why=found.why)
    (line,) = thermal_lines(record)
    assert "too little rise" in line


def test_thermal_lines_tell_both_halves() -> None:
    """A model is told half by half, with what it leaves unexplained."""
    own = LIGHT.thermal(15.0)
    record = ThermalRecord(
        mould="m",
        origin="commissioning",
        thermal=Thermal(upper=own, lower=own, trusted=True),
        upper_residual_k=0.08,
        lower_residual_k=0.11,
    )
    lines = list(thermal_lines(record))
    assert len(lines) == 3
    assert "upper" in lines[1]
    assert "0.08 K" in lines[1]
    assert "0.11 K" in lines[2]

"""What joins the board's modules: chain sense, identity resistor, blinked cause, replies."""

from __future__ import annotations

import pytest

from board_rig import Bench, armed
from core_rig import CoreRig, host_board
from tawny.core import messages as m
from tawny.core import wire
from tawny.core.names import FirstOut
from tawny.sim.elf import IDENTITY_OHM, REFERENCE_OHM

ADC_STEPS = 1024
CALL_LAMP = 8
CODE_MS = 32 * 256
UNIT_REPLIES = 3


def adc_of(ohm: float) -> int:
    """Return what a 10 bit converter reads of a divider against the supply."""
    return min(int(ADC_STEPS * ohm / (ohm + REFERENCE_OHM)), ADC_STEPS - 1)


def test_unit_knows_each_identity_resistor_with_5_percent() -> None:
    """Steps 1 to 8, each also where resistor and reference are off by 2 % against each other."""
    _, lib = host_board()
    for step, ohm in enumerate(IDENTITY_OHM, start=1):
        for share in (0.96, 1.0, 1.04):
            assert lib.unit_identity_step(adc_of(ohm * share)) == step, (step, share)


@pytest.mark.parametrize("adc", [0, 20, 50, 1000, 1023])
def test_unit_takes_nothing_or_a_short_for_no_identity(adc: int) -> None:
    """An open plug, a short, and what lies outside all steps read as none."""
    _, lib = host_board()
    assert lib.unit_identity_step(adc) == 0


def test_unit_takes_no_value_between_two_steps() -> None:
    """Between two steps there is a gap that reads as none."""
    _, lib = host_board()
    steps = [lib.unit_identity_step(adc) for adc in range(ADC_STEPS)]
    for step in range(1, 8):
        between = steps[steps.index(step) : steps.index(step + 1)]
        assert 0 in between


@pytest.mark.parametrize(("dead_ms", "first_out"), [(80, "none"), (160, "chain")])
def test_unit_waits_100_ms_for_a_thermostat(dead_ms: int, first_out: str) -> None:
    """A chain that flickers is no thermostat; one that stays dead with its supply alive is."""
    rig = CoreRig()
    bench = armed(rig)
    rig.set_input(m.IN_THERMOSTAT, on=True)
    rig.advance(dead_ms)
    rig.set_input(m.IN_THERMOSTAT, on=False)
    bench.run(1.0)
    assert bench.tele.fo == first_out


@pytest.mark.parametrize("bit", [m.IN_MAINS, m.IN_BUTTON])
def test_unit_blames_no_thermostat_for_a_dead_supply_or_the_button(bit: int) -> None:
    """With the supply dead or the button pressed the chain is dead behind it anyway."""
    rig = CoreRig()
    bench = armed(rig)
    rig.set_input(m.IN_THERMOSTAT, on=True)
    rig.set_input(bit, on=bit != m.IN_MAINS)
    bench.run(5.0)
    assert bench.tele.fo == "none"
    assert not bench.tele.inputs & m.IN_THERMOSTAT
    assert bench.tele.st == "locked"


@pytest.mark.parametrize(("cold_c", "cause"), [(220.0, FirstOut.OVERTEMP), (25.0, None)])
def test_unit_blinks_the_cause_when_nobody_listens(cold_c: float, cause: FirstOut | None) -> None:
    """As many blinks as the cause's place; a board that is well blinks nothing."""
    rig = CoreRig()
    bench = Bench(rig, cold_c, cold_c)
    bench.run(3.0, None)
    blinks, was_on = 0, bool(rig.board.pins & CALL_LAMP)
    for _ in range(CODE_MS // 16):
        rig.advance(16)
        is_on = bool(rig.board.pins & CALL_LAMP)
        blinks += is_on and not was_on
        was_on = is_on
    assert blinks == (list(FirstOut).index(cause) if cause else 0)


def test_unit_does_not_hear_a_host_that_waits_for_no_reply() -> None:
    """Of ten requests within a millisecond each gets its own one reply, or none at all."""
    rig = CoreRig()
    bench = Bench(rig).greet()
    bench.listen()
    asks = [bench.request(m.LimitsAsk) for _ in range(10)]
    ffi, lib = host_board()
    data = b"".join(wire.encode(ask) for ask in asks)
    for byte in data:  # past the rig, which lets the board speak after each byte
        lib.unit_hear(ffi.addressof(rig.board.unit), byte, rig.board.now_ms)
    rig.advance(200)
    replies = [said.q for said in bench.listen() if isinstance(said, m.Limits)]
    assert replies == [ask.q for ask in asks][:UNIT_REPLIES]

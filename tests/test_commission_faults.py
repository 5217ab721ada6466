"""Every step of commissioning fails once: named, heat off, and nothing goes on by itself."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from commission_rig import DEEDS, Rig, arm, types
from tawny.core import messages as m
from tawny.core.commission import Outcome
from tawny.core.commission_steps import STEPS
from tawny.core.names import Half
from tawny.sim.commands import ContactorFault, HeaterFault
from tawny.sim.sensor import SensorFault
from tawny.words import commission as words
from tawny.words.sentences import commissioning

Sabotage = Callable[[Rig], None]


def fault(step: str, code: str, **deeds: Sabotage) -> object:
    """Return one row of the table below."""
    return pytest.param(step, code, deeds, id=f"{step}-{code}-{'-'.join(deeds)}")


def nothing(_: Rig) -> None:
    """Do nothing."""


def deafen(rig: Rig) -> None:
    """Telemetry is lost from now on, nothing else."""
    rig.deaf = True


def weld(rig: Rig) -> None:
    """The contactor welds."""
    rig.hand.contactor(ContactorFault.WELDED)


def then(*deeds: Sabotage) -> Sabotage:
    """Do one after the other."""

    def both(rig: Rig) -> None:
        for deed in deeds:
            deed(rig)

    return both


def sensor(half: Half, kind: SensorFault) -> Sabotage:
    """Break a probe, then hold ARM."""

    def broken(rig: Rig) -> None:
        rig.hand.sensor(half, kind)
        rig.run(2.0)
        rig.world.set_input(m.IN_ARM, on=True)

    return broken


def swap(rig: Rig) -> None:
    """Swap the probes, then hold ARM."""
    read = rig.world._read  # noqa: SLF001 - two wires, changed over
    rig.world.board._read = lambda half: read(1 - half)  # type: ignore[attr-defined]  # noqa: SLF001
    rig.world.set_input(m.IN_ARM, on=True)


def cut_heater(rig: Rig) -> None:
    """Break the upper heater's circuit, then hold ARM."""
    rig.hand.heater(Half.UPPER, HeaterFault.OPEN)
    rig.world.set_input(m.IN_ARM, on=True)


OPEN, CLOSE = DEEDS["open_mould"], DEEDS["close_mould"]
FAULTS = [
    fault("person", "no_name", type_person=types("x")),
    fault("paper", "not_yes", type_paper=types("nearly")),
    fault("room", "no_temperature", type_room=types("22")),
    fault("room", "room_range", type_room=types("70 degC")),
    fault("room", "probe_off", type_room=types("27 degC")),
    fault("arm_button", "nothing_seen", hold_arm=nothing),
    fault("next_button", "nothing_seen", press_next=nothing),
    fault("next_button", "nothing_seen", press_next_again=nothing),
    fault("mould_switch", "nothing_seen", open_mould=nothing),
    fault("call_lamp", "other_lamp", type_lamp=types("green")),
    fault("buzzer", "other_tones", type_tones=types("7")),
    fault("heat_off", "contactor_not_in", hold_arm_for_contactor=nothing),
    fault("heat_off", "contactor_stays_in", press_heat_off=then(weld, DEEDS["press_heat_off"])),
    fault("heat_off", "arm_let_go", press_heat_off=arm(down=False)),
    fault("heat_off", "comes_in_by_itself", pull_heat_off=then(DEEDS["pull_heat_off"], weld)),
    fault("heat_off", "nothing_seen", press_heat_off=nothing),
    fault(
        "thermostat_upper", "contactor_stays_in",
        open_thermostat=then(weld, DEEDS["open_thermostat"]),
    ),
    fault("thermostat_lower", "nothing_seen", open_thermostat=nothing),
    fault("thermostat_lower", "nothing_seen", reset_trip=nothing),
    fault("thermostat_lower", "opening_range", type_opening=types("235 degC")),
    fault("mains", "contactor_stays_in", isolator_off=then(weld, DEEDS["isolator_off"])),
    fault("mains", "comes_in_by_itself", isolator_on=then(DEEDS["isolator_on"], weld)),
    fault("permission", "contactor_stays_in", pull_usb=then(weld, DEEDS["pull_usb"])),
    fault("permission", "arm_let_go", pull_usb=arm(down=False)),
    fault("permission", "not_yes", type_dropped_at_once=types("no")),
    fault("mirror", "mirror_not_seen", push_armature=nothing),
    fault("moves_upper", "reversed", hold_arm=sensor(Half.UPPER, SensorFault.REVERSED)),
    fault("moves_upper", "swapped", hold_arm=swap),
    fault("moves_upper", "does_not_move", hold_arm=cut_heater),
    fault("moves_upper", "does_not_move", hold_arm=sensor(Half.UPPER, SensorFault.DETACHED)),
    fault("moves_upper", "arm_let_go", heating_a_moment=arm(down=False)),
    fault("moves_lower", "mould_opened", heating_a_moment=OPEN),
    fault("measure_upper", "mould_opened", rest_before=OPEN),
    fault("measure_upper", "arm_let_go", heating=arm(down=False)),
    fault("measure_upper", "tripped", hold_arm=cut_heater),
    fault("measure_upper", "board_restarted", heating=lambda rig: rig.hand.restart() and None),
    fault("measure_upper", "no_link", heating=lambda rig: rig.hand.plug(plugged=False) and None),
    fault("hot_lamp", "not_hot"),
    fault("trip_point", "trip_range", type_trip=types("190 degC")),
    fault("trip_point", "no_temperature", type_trip=types("low")),
]  # fmt: skip

# Whatever watches the board, unseen: done as asked or not, nothing passes on an old line. CLEAR,
# which may pass at once, and what goes by replies have tests of their own.
WATCHING = {
    stage.code: step.name
    for step in reversed(STEPS)
    for stage in step.stages
    if stage.until is not None and stage.sends is None and stage.code != "clear"
}
FAULTS += [
    fault(step, "no_link", **{code: then(deafen, DEEDS.get(code, nothing))})
    for code, step in WATCHING.items()
]


@pytest.mark.parametrize(("step", "code", "deeds"), FAULTS)
def test_commission_step_fails_with_its_own_sentence(
    step: str, code: str, deeds: dict[str, Sabotage]
) -> None:
    """What goes wrong is named, heat is off, and nothing goes on by itself."""
    rig = Rig(step=step)
    rig.deeds |= deeds
    rig.until_outcome(Outcome.FAILED, 900.0)
    failed = next(one for one in rig.said if one.kind == "failed")

    assert rig.codes("failed") == [code]
    assert rig.commissioner.step == step
    assert code in words.FAILURES
    assert "–" not in commissioning(failed)  # a dash stands for a field that is missing
    heated_ms = rig.heated_ms
    rig.run(30.0)
    assert rig.commissioner.outcome is Outcome.FAILED
    # With the line cut nothing can end it but the expiry of the last line.
    assert rig.heated_ms - heated_ms <= (1500 if code == "no_link" else 0)
    assert rig.unheld_ms == 0


@pytest.mark.parametrize("picks", [0, 1])
@pytest.mark.parametrize(
    ("step", "asked", "typed", "code"),
    [("call_lamp", "type_lamp", "off", "other_lamp"), ("buzzer", "type_tones", "0", "other_tones")],
)
def test_commission_finds_a_dead_lamp_and_a_dead_buzzer(
    step: str, asked: str, typed: str, code: str, picks: int
) -> None:
    """Whichever pattern is drawn: what a dead part shows is wrong, and the board was asked."""
    rig = Rig(step=step)
    rig.picks = picks
    rig.until_asked(asked)
    rig.run(0.5)
    scene = rig.hand.look().scene
    assert scene is not None
    assert (scene.lamp, scene.sound).count("off") == 1
    rig.commissioner.typed(typed, rig.now_ms)
    rig.run(0.1)

    assert rig.codes("failed") == [code]


def test_commission_every_step_but_the_changes_of_the_board_is_in_the_table() -> None:
    """A new step needs a way to fail; store, use and trip have tests of their own."""
    # A second person is asked for only after the first; it has a test of its own too.
    apart = {"second", "store", "use", "trip"}
    tried = {row.values[0] for row in FAULTS}  # type: ignore[attr-defined]
    names = {step.name for step in STEPS}

    assert {name.removesuffix("_lower").removesuffix("_upper") for name in names - apart} == {
        name.removesuffix("_lower").removesuffix("_upper") for name in tried
    }

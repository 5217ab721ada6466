"""A commissioning on a simulated board and a virtual clock, and a person who does what is asked."""

from __future__ import annotations

from collections.abc import Callable

from tawny.core import messages as m
from tawny.core.commission import SPECIFIC_HEAT_J_PER_KG_K, Outcome, Plan, Said
from tawny.core.commission_steps import STEPS
from tawny.core.commission_typed import TONES
from tawny.core.framing import Framer
from tawny.core.names import Half, ResetCause
from tawny.link.session import Session
from tawny.service.commissioner import Commissioner
from tawny.sim.boards import Boards
from tawny.sim.commands import ContactorFault
from tawny.sim.hand import NearHand
from tawny.sim.parameters import MouldModel, load
from tawny.sim.world import World

STEP_MS = 50
RATED_C = 270.0
REACTS_MS = 800  # a person reads, then moves
BEGIN_UTC_MS = 1_750_000_000_000
Deed = Callable[["Rig"], None]


def plan_for(model: MouldModel, *, setpoint_c: float = 180.0, slot: int = 1) -> Plan:
    """What the settings would say of a simulated mould."""
    expected = {}
    for half, part in ((Half.UPPER, model.upper), (Half.LOWER, model.lower)):
        expected[half] = part.heater_w / (part.mass_kg * SPECIFIC_HEAT_J_PER_KG_K["aluminium"])
    return Plan("saucer-160", slot, setpoint_c, RATED_C, "ssr", 1.0, expected)


def types(text: str) -> Deed:
    """A person types a line."""
    return lambda rig: rig.commissioner.typed(text, rig.now_ms)


def arm(*, down: bool) -> Deed:
    """ARM goes down, or up."""
    return lambda rig: rig.world.set_input(m.IN_ARM, on=down)


def _reset(rig: Rig) -> None:
    rig.world.set_input(m.IN_ARM, on=False)
    rig.hand.thermostat(opened=False)
    rig.hand.contactor(ContactorFault.GOOD)
    rig.world.after(1000, rig.hand.reset_trip)


def _see_lamp(rig: Rig) -> None:
    rig.commissioner.typed(rig.hand.look().scene.lamp, rig.now_ms)  # type: ignore[union-attr]


def _hear(rig: Rig) -> None:
    sound = rig.hand.look().scene.sound  # type: ignore[union-attr]
    rig.commissioner.typed(str(TONES[sound]), rig.now_ms)


def _pull_usb(rig: Rig) -> None:
    """The board's supply goes with the plug; 5 s later it starts, a moment after that it is heard.

    A simulated board cannot be without supply: it starts at once, and nobody hears it.
    """
    rig.hand.plug(plugged=False)
    rig.hand.restart(ResetCause.POWER)
    rig.world.after(5000, lambda: rig.hand.plug(plugged=True) and None)


def _next(rig: Rig) -> None:
    rig.hand.press_next()


DEEDS: dict[str, Deed] = {
    "type_person": types("Ada Reed"),
    "type_second": types("Tom Hale"),
    "type_paper": types("yes"),
    "type_room": types("22 degC"),
    "hold_arm": arm(down=True),
    "let_go_of_arm": arm(down=False),
    "press_next": _next,
    "press_next_again": _next,
    "open_mould": lambda rig: rig.hand.open_mould() and None,
    "close_mould": lambda rig: rig.hand.close_mould() and None,
    "type_lamp": _see_lamp,
    "type_tones": _hear,
    "hold_arm_for_contactor": arm(down=True),
    "press_heat_off": lambda rig: rig.hand.heat_off_button(pressed=True) and None,
    "pull_heat_off": lambda rig: rig.hand.heat_off_button(pressed=False) and None,
    "open_thermostat": lambda rig: rig.hand.thermostat(opened=True) and None,
    "reset_trip": _reset,
    "armature_back": _reset,
    "type_opening": types("255 degC"),
    "isolator_off": lambda rig: rig.hand.mains(on=False) and None,
    "isolator_off_and_locked": lambda rig: rig.hand.mains(on=False) and None,
    "isolator_on": lambda rig: rig.hand.mains(on=True) and None,
    "pull_usb": _pull_usb,
    "type_dropped_at_once": types("yes"),
    "push_armature": lambda rig: rig.hand.contactor(ContactorFault.WELDED) and None,
    "type_hot_lamp": types("yes"),
    "type_trip": types(""),
}


class Rig:
    """Everything around one commissioning.

    Args:
        mould: A simulated mould's name.
        step: The step at which it begins; tests only, nobody else can.
        boards: Starts another board than the simulated one.
        clock_ms: What its clock shows when the port is opened.
    """

    def __init__(
        self,
        mould: str = "saucer-160",
        *,
        step: str = "",
        commissioned: bool = False,
        plan: Plan | None = None,
        boards: Boards | None = None,
        clock_ms: int = 0,
    ) -> None:
        model = load(mould)
        self.world = World(
            model, seed=3, commissioned=commissioned, boards=boards, clock_ms=clock_ms
        )
        self.hand = NearHand(self.world)
        self.session = Session("7a3c90de")
        self.plan = plan or plan_for(model)
        self.picks: int | None = None  # else by the moment
        self.commissioner = Commissioner(
            self.session,
            self.plan,
            utc_ms=lambda: BEGIN_UTC_MS + self.now_ms,
            pick=self._pick,
            simulated=True,
        )
        if step:
            self.commissioner._step = [one.name for one in STEPS].index(step)  # noqa: SLF001
            self.commissioner._room_c = model.ambient_c  # noqa: SLF001
        self.now_ms = 0
        self.said: list[Said] = []
        self.deeds = dict(DEEDS)
        self.unheld_ms = 0.0  # heat that was given while nobody held ARM
        self.heated_ms = 0.0
        self._framer = Framer(m.FROM_BOARD_MOST_BYTES)
        self._todo: tuple[int, Deed] | None = None
        self._delivered_ms = 0.0
        self._held = False
        self.before_send: Callable[[bytes], None] = lambda _: None
        self.deaf = False  # its telemetry is lost, nothing else
        self.commissioner.opened(0)

    def tick(self) -> None:
        """Let 50 ms pass."""
        self.now_ms += STEP_MS
        self.world.advance(self.now_ms)
        self._watch_heat()
        for line in self._framer.feed(self.world.take()):
            if not (self.deaf and line.startswith(b"tele")):
                self.commissioner.line(line, self.now_ms)
        self.commissioner.poll(self.now_ms)
        self._send()
        self._follow()

    def run(self, seconds: float, until: Callable[[], bool] = lambda: False) -> bool:
        """Let time pass until something is true; say whether it came so far."""
        stop_ms = self.now_ms + round(1000 * seconds)
        while self.now_ms < stop_ms:
            if until():
                return True
            self.tick()
        return until()

    def until_outcome(self, outcome: Outcome, seconds: float) -> None:
        """Run until it stands so; fail if it does not."""
        assert self.run(seconds, lambda: self.commissioner.outcome is outcome), self.last(12)

    def until_asked(self, code: str, seconds: float = 600.0) -> None:
        """Run until a person is asked for something."""
        assert self.run(seconds, lambda: self.codes("do")[-1:] == [code]), self.last(12)

    def codes(self, kind: str) -> list[str]:
        """Return what was said so far, of one kind."""
        return [one.code.code for one in self.said if one.kind == kind]

    def last(self, count: int) -> list[str]:
        """Return the last things said, for a failing test."""
        return [f"{one.kind} {one.code.code} {one.code.fields}" for one in self.said[-count:]]

    def _pick(self, count: int) -> int:
        return (self.now_ms // STEP_MS if self.picks is None else self.picks) % count

    def _send(self) -> None:
        data = self.commissioner.take()
        if data:
            self.before_send(data)
            self.world.receive(data, self.now_ms)

    def _follow(self) -> None:
        """Do what was asked last, a moment later; a `do` that came since takes its place."""
        self._read()
        if self._todo is not None and self.now_ms >= self._todo[0]:
            deed, self._todo = self._todo[1], None
            deed(self)
            self._send()
            self._read()

    def _read(self) -> None:
        """Read what was said."""
        for one in self.commissioner.said:
            self.said.append(one)
            if one.kind == "do":
                deed = self.deeds.get(one.code.code)
                self._todo = None if deed is None else (self.now_ms + REACTS_MS, deed)
        self.commissioner.said.clear()

    def _watch_heat(self) -> None:
        held = bool(self.world.board.inputs & m.IN_ARM)
        delivered_ms = sum(self.world.board.delivered(self.world.board_ms))
        given_ms = max(delivered_ms - self._delivered_ms, 0.0)
        self._delivered_ms = delivered_ms
        self.heated_ms += given_ms
        if given_ms and not (held or self._held):
            self.unheld_ms += given_ms
        self._held = held

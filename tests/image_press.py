"""A whole press on a virtual clock, on a board of real C, with whatever mould a test thinks up."""

from __future__ import annotations

from itertools import groupby, pairwise
from pathlib import Path
from typing import Any

from msgspec.structs import replace

from image_boards import MAKES, OverheardBoards, Said, measured
from tawny.cli.virtual_press import VirtualPress
from tawny.core import intents as ask
from tawny.core import messages as m
from tawny.core.names import BoardState, Half, Phase
from tawny.settings.demo import demo_files
from tawny.settings.home import Home
from tawny.sim.parameters import DEMO_MOULD, MouldModel, load

BEGIN_UTC_MS = 1_750_000_000_000
OTHER_SLOT = 2
SAUCER = load(DEMO_MOULD)
DRY_C = 60.0  # the lowest setpoint that a recipe may have
READ_S = 0.2
FALL_READS = 25  # of 5 s

_PASSPORT = """
schema = 1
name = "{name}"
slot = {slot}
metal = "metal"
cavities = 1
area = "{area_cm2:.0f} cm^2"
stops = true
vents = 6
rated_force = "110 kN"
rated_temperature = "210 degC"
"""
_HALF = """
[{half}]
heater = "{heater_w:.0f} W"
mass = "{mass_kg:.2f} kg"
rise = "{rise:.3f} K/s"
lag = "{lag_s:.1f} s"
heat_up = "{heat_up_s:.0f} s"
cooling_time = "{cooling_s:.0f} s"
"""
_RECIPE = """
schema = 1
name = "{name}"
version = 1
mould = "{mould}"
setpoint = "{setpoint_c:g} degC"
band = "2 K"
[charge]
residue = "{residue_g:g} g"
water = "{water_g:g} g"
fill_most = "60 s"
[press]
force = "120 bar"
top_up_below = "95 bar"
[hold]
equivalent = "{hold_s:g} s"
least = "{hold_s:g} s"
most = "{hold_s:g} s"
activation_energy = "90 kJ/mol"
"""


def lay_mould(folder: Path, name: str, model: MouldModel, *, slot: int = 1) -> None:
    """Put a mould's passport into a home folder, with what commissioning measures of the model."""
    found = measured(model)
    text = _PASSPORT.format(name=name, slot=slot, area_cm2=model.charge.area_cm2)
    for half in Half:
        one, measure = model.half(half), found.half(half)
        text += _HALF.format(
            half=half.value,
            heater_w=one.heater_w,
            mass_kg=one.mass_kg,
            rise=measure.rise_k_per_s,
            lag_s=measure.lag_s,
            heat_up_s=measure.heat_up_s,
            cooling_s=1.0 / measure.loss_per_s,
        )
    _write(folder / "moulds" / f"{name}.toml", text)
    if slot == 1:
        shipped = demo_files()[f"moulds/{DEMO_MOULD}.toml"].read_text(encoding="utf-8")
        moved = shipped.replace("slot = 1", f"slot = {OTHER_SLOT}")
        _write(folder / "moulds" / f"{DEMO_MOULD}.toml", moved)


def lay_recipe(
    folder: Path,
    name: str,
    *,
    mould: str = DEMO_MOULD,
    setpoint_c: float = 180.0,
    hold_s: float = 60.0,
    residue_g: float = 32.0,
    water_g: float = 6.0,
) -> str:
    """Put a recipe without breaths into a home folder; return its name."""
    text = _RECIPE.format(
        name=name,
        mould=mould,
        setpoint_c=setpoint_c,
        hold_s=hold_s,
        residue_g=residue_g,
        water_g=water_g,
    )
    _write(folder / "recipes" / f"{name}.toml", text)
    return name


def with_halves(model: MouldModel, **changes: Any) -> MouldModel:
    """Return a mould with both its halves changed alike."""
    upper, lower = (replace(model.half(half), **changes) for half in Half)
    return replace(model, upper=upper, lower=lower)


def _write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")


class Day(VirtualPress):
    """The whole unmodified host with a board of real C.

    Args:
        home: Where settings and record lie.
        make: Of `image_boards.MAKES`.
        person: How many pressings somebody presses by themselves; 0: nobody works.
        boards: A board that has lived before, in place of a new one.

    Attributes:
        attended: Somebody touches a button before the board asks whether anybody is there.
    """

    def __init__(
        self,
        home: Path,
        make: str = "image",
        *,
        model: MouldModel = SAUCER,
        recipe: str = "grain-apple",
        start_c: float | None = 150.0,
        person: int = 0,
        seed: int = 1,
        boards: OverheardBoards | None = None,
    ) -> None:
        self.boards = MAKES[make](model) if boards is None else boards
        self.attended = False
        super().__init__(
            Home(home),
            begin_utc_ms=BEGIN_UTC_MS,
            pressings=person,
            recipe=recipe,
            seed=seed,
            start_c=start_c,
            model=model,
            boards=self.boards,
        )

    @property
    def said(self) -> Said:
        """What the board has said."""
        return self.boards.said

    @property
    def phase(self) -> Phase:
        """The phase now."""
        return self.press.state.cycle.phase

    @property
    def state(self) -> str:
        """The board's state as it last said."""
        return self.said.teles[-1].st

    def look(self, now_ms: int) -> None:
        """Let the hands follow the screen."""
        super().look(now_ms)
        if self.attended:
            self._be_present()

    def alarms(self) -> set[str]:
        """Return the alarms that stand."""
        return {one.alarm for one in self.press.state.alarms}

    def ask(self, intent: ask.AnyIntent) -> bool:
        """Ask as the operator; say whether it was accepted."""
        return self.press.ask(intent, "tester", self.lockstep.now_ms).accepted

    def run(self, seconds: float) -> None:
        """Let so much time pass."""
        self.lockstep.run(lambda: False, seconds)

    def until(self, phase: Phase, most_s: float) -> None:
        """Run until a phase begins; fail if it does not."""
        assert self.lockstep.run(lambda: self.phase is phase, most_s), (phase, self.phase)

    def sleep(self, seconds: float) -> None:
        """Let the computer sleep: the board lives on, and what it says is lost."""
        self.lockstep.now_ms += round(seconds * 1000)
        self.world.advance(self.lockstep.now_ms)
        self.world.take()

    def until_ready(self) -> None:
        """Run until the board could be armed."""
        ready = BoardState.READY.value
        assert self.lockstep.run(lambda: bool(self.said.teles) and self.state == ready, 30.0)

    def prepare(self) -> bool:
        """Say that the mould is empty and dry, and ask for heat."""
        return self.ask(ask.Prepare(empty=True, dry=True, let_down=True))

    def heat_up(self) -> None:
        """Prepare and arm as a person does; the hands press ARM when the screen asks."""
        self.until_ready()
        assert self.prepare()
        assert self.lockstep.run(lambda: self.phase is Phase.PREHEAT, 20.0), self.phase

    def tidy_up(self) -> None:
        """Take the spoilt part out, acknowledge everything, and go through the rescue card."""
        self.hand.open_mould()
        self.hand.unload()
        self.hand.close_mould()
        self.ask(ask.Acknowledge())
        self.ask(ask.ResetAlarm())
        while (rescue := self.press.state.cycle.rescue) is not None:
            left = [step for step in rescue.steps if step not in rescue.ticked]
            assert self.ask(ask.RescueStep(step=left[0]))
        self.run(2.0)


def assert_no_trip(boards: OverheardBoards) -> None:
    """Nothing is latched, nothing tripped meanwhile, and the image did nothing that it must not."""
    assert {tele.fo for tele in boards.said.teles} == {"none"}
    assert "trip" not in boards.said.codes
    assert boards.misused() == {}


def openings(said: Said) -> int:
    """Return how often the board saw the mould open, but for breaths."""
    opened = [bool(tele.inputs & m.IN_OPEN) for tele in said.teles]
    return sum(after and not before for before, after in pairwise(opened))


def fastest_fall_k(said: Said) -> float:
    """Return the most that a reading fell within 5 s."""
    worst = 0.0
    for before, after in zip(said.teles, said.teles[FALL_READS:], strict=False):
        for earlier, later in ((before.u, after.u), (before.l, after.l)):
            if not isinstance(earlier, str) and not isinstance(later, str):
                worst = max(worst, (earlier - later) / 10.0)
    return worst


def stands_s(teles: list[m.Tele], longer_s: float) -> list[float]:
    """Return each time that the upper register stood still for longer than that."""
    stands = [sum(1 for _ in group) - 1 for _, group in groupby(tele.ur for tele in teles)]
    return [still * READ_S for still in stands if still * READ_S > longer_s]


def longest_still_s(teles: list[m.Tele]) -> float:
    """Return the longest time that the upper register stood still."""
    return max(stands_s(teles, -1.0))

"""A whole press on a virtual clock: the real service and link, the simulated board and hands."""

from __future__ import annotations

from pathlib import Path
from typing import Self

from tawny.cli.demo_person import Person
from tawny.core.intents import AnyIntent
from tawny.core.names import Phase
from tawny.link.session import Session
from tawny.service.lockstep import Lockstep, Wire
from tawny.service.press import Press
from tawny.service.recover import seal_leftovers
from tawny.service.start import initial_state
from tawny.settings.demo import lay_demo
from tawny.settings.home import Home
from tawny.settings.workshop import load_workshop
from tawny.sim.follower import HandFollower
from tawny.sim.hand import NearHand
from tawny.sim.memory import Memory
from tawny.sim.parameters import load
from tawny.sim.world import World
from tawny.store.store import Store
from tawny.store.writer import DirectWriter

BEGIN_UTC_MS = 1_750_000_000_000


class Rig:
    """One press with everything around it; close it, or let a test's `with` do so.

    Args:
        home: Where settings and record lie.
        start_c: Temperature of the mould at the start; warm saves the heat-up.
        person: Whether somebody presses parts by themselves.
    """

    def __init__(
        self,
        home: Path,
        *,
        recipe: str = "grain-apple",
        seed: int = 1,
        start_c: float | None = 150.0,
        person: int = 0,
        memory: Memory | None = None,
    ) -> None:
        place = lay_demo(Home(home))
        workshop = load_workshop(place)
        chosen = workshop.recipe(recipe)
        mould = workshop.mould(chosen.mould)
        self.store = Store.open(home, simulated=True)
        rescue = seal_leftovers(self.store, BEGIN_UTC_MS, 0)
        self.world = World(load(mould.name), seed=seed, start_c=start_c, memory=memory)
        self.hand = NearHand(self.world)
        wire = Wire(self.world)
        self.recorder = DirectWriter(self.store)
        self.press = Press(
            initial_state(
                workshop.press,
                mould,
                workshop.recipes,
                chosen,
                next_number=self.store.next_pressing_number(),
                rescue=rescue,
            ),
            Session("00c0ffee"),
            self.recorder,
            utc_ms=lambda host_ms: BEGIN_UTC_MS + host_ms,
            write=wire.write,
            simulated=True,
            simulated_hand=True,
            port="simulated",
        )
        self.follower = HandFollower(self.hand)
        self.person = Person(self.press, person)
        self.working = person > 0
        self.following = True
        self.lockstep = Lockstep(self.press, self.world, hand=self._look)
        wire.clock = lambda: self.lockstep.now_ms

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End in good order."""
        self.press.close(self.lockstep.now_ms)
        self.recorder.close()

    def _look(self, now_ms: int) -> None:
        if self.following and now_ms % 500 == 0:
            self.follower.follow(self.press.snapshot(now_ms))
        if self.working:
            self.person.look(now_ms)

    @property
    def phase(self) -> Phase:
        """The phase now."""
        return self.press.state.cycle.phase

    def ask(self, intent: AnyIntent) -> bool:
        """Ask as the operator; say whether it was accepted."""
        return self.press.ask(intent, "tester", self.lockstep.now_ms).accepted

    def run(self, seconds: float) -> None:
        """Let so much time pass."""
        self.lockstep.run(lambda: False, seconds)

    def until(self, phase: Phase, most_s: float = 3600.0) -> None:
        """Run until a phase begins; fail if it does not."""
        assert self.lockstep.run(lambda: self.phase is phase, most_s), (phase, self.phase)

    def alarms(self) -> set[str]:
        """Return the alarms that stand."""
        return {one.alarm for one in self.press.state.alarms}

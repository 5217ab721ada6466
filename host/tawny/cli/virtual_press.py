"""A whole press on a virtual clock: the program's own parts, with a simulated board and person.

What the headless demo, the benchmarks, the pictures and the tests run.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from tawny.cli.demo_person import Person
from tawny.cli.firmware import elf_boards
from tawny.core.limits import PRESENCE_WARNING_S
from tawny.core.names import BoardState, Phase
from tawny.link.session import Session
from tawny.service.learned import with_learned
from tawny.service.lockstep import Lockstep, Wire
from tawny.service.press import Press
from tawny.service.recover import seal_leftovers
from tawny.service.start import initial_state
from tawny.settings.demo import lay_demo
from tawny.settings.workshop import load_workshop
from tawny.sim.follower import HandFollower
from tawny.sim.hand import NearHand
from tawny.sim.parameters import load
from tawny.sim.world import World
from tawny.store.store import Store
from tawny.store.writer import DirectWriter

if TYPE_CHECKING:
    from types import TracebackType
    from typing import Self

    from tawny.settings.home import Home
    from tawny.sim.boards import Boards
    from tawny.sim.parameters import MouldModel

HAND_EVERY_MS = 500
PRESENT_BEFORE_S = 60.0


class VirtualPress:
    """One simulated press with its record; close it, or use it in a `with`.

    Args:
        home: Where the demo workshop is laid and recorded.
        begin_utc_ms: Wall time at which the virtual clock stands at 0.
        pressings: How many the person finishes before switching the heat off; 0: nobody works.
        start_c: Temperature of the mould at the start; None: of the room.
        firmware: What --firmware holds; None: the simulated board.
        model: What the mould is made of; None: as shipped under its name.
        boards: A board of another make than any of these.

    Raises:
        TawnyError: For a home folder or an image that cannot be used.
    """

    def __init__(
        self,
        home: Home,
        *,
        begin_utc_ms: int,
        pressings: int,
        recipe: str | None = None,
        seed: int = 1,
        start_c: float | None = None,
        firmware: str | None = None,
        model: MouldModel | None = None,
        boards: Boards | None = None,
    ) -> None:
        """Lay the demo workshop, open its record, seal what was left open."""
        lay_demo(home)
        workshop = load_workshop(home)
        chosen = workshop.recipe(recipe) if recipe else workshop.recipes[0]
        self.mould = workshop.mould(chosen.mould)
        self.store = Store.open(home.root, simulated=True)
        try:
            self.mould = with_learned(self.mould, self.store)
            rescue = seal_leftovers(self.store, begin_utc_ms, 0)
            model = load(self.mould.name) if model is None else model
            boards = elf_boards(firmware, model) if boards is None else boards
            self.world = World(model, seed=seed, start_c=start_c, boards=boards)
            wire = Wire(self.world)
            self.recorder = DirectWriter(self.store)
            self.session = Session(f"{seed & 0xFFFFFFFF:08x}")
            self.press = Press(
                initial_state(
                    workshop.press,
                    self.mould,
                    workshop.recipes,
                    chosen,
                    next_number=self.store.next_pressing_number(),
                    rescue=rescue,
                ),
                self.session,
                self.recorder,
                utc_ms=lambda host_ms: begin_utc_ms + host_ms,
                write=wire.write,
                simulated=True,
                simulated_hand=True,
                port="simulated",
            )
        except BaseException:
            self.store.close()
            raise
        self.hand = NearHand(self.world)
        self.follower = HandFollower(self.hand)
        self.person = Person(self.press, pressings)
        self.working = pressings > 0
        self._seen: tuple[Phase, str] | None = None
        self.lockstep = Lockstep(self.press, self.world, hand=self.look)
        wire.clock = lambda: self.lockstep.now_ms

    def __enter__(self) -> Self:
        """Use it."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close it, whatever happened."""
        self.close()

    def look(self, now_ms: int) -> None:
        """Let the hands follow the screen, and the person tap if one works here."""
        if now_ms % HAND_EVERY_MS == 0 and self._hands_wanted():
            self.follower.follow(self.press.snapshot(now_ms))
        if self.working:
            self._be_present()
            self.person.look(now_ms)

    def _hands_wanted(self) -> bool:
        """Say whether the screen asks for something new, or for what takes the hands a moment."""
        state = self.press.state
        before, self._seen = self._seen, (state.cycle.phase, state.link.arming)
        return before != self._seen or state.cycle.phase is Phase.FILL or bool(state.link.arming)

    def _be_present(self) -> None:
        """Touch a button at the board before it asks whether anybody is there."""
        link, tele = self.press.state.link, self.press.state.tele
        armed = tele is not None and tele.st == BoardState.ARMED.value
        if armed and 0 < link.presence_left_s <= PRESENCE_WARNING_S + PRESENT_BEFORE_S:
            self.hand.press_arm()

    def close(self) -> None:
        """End the session and the record in good order."""
        try:
            self.lockstep.part()
            self.press.close(self.lockstep.now_ms)
        finally:
            self.recorder.close()

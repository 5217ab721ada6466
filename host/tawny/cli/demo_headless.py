"""The headless demo: the whole program on a virtual clock, with a person who presses parts."""

from __future__ import annotations

import json
import time
from typing import TYPE_CHECKING, NamedTuple

from tawny.cli.demo_person import Person
from tawny.link.session import Session
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
from tawny.store.codes import pressing_code
from tawny.store.store import Store
from tawny.store.writer import DirectWriter

if TYPE_CHECKING:
    from collections.abc import Callable

    from tawny.core.record import PressingRecord
    from tawny.settings.home import Home

LONGEST_S = 24 * 3600.0
HAND_EVERY_MS = 500
PARTS_MOST = 10_000


class Finished(NamedTuple):
    """What came of a headless demo."""

    parts: int
    simulated_s: float
    wall_s: float
    started: bool


def press_parts(
    home: Home,
    *,
    parts: int,
    seed: int,
    pace: float | None,
    tell: Callable[[str], None],
    recipe: str | None = None,
) -> Finished:
    """Press parts in simulation, recording each, and tell each as one JSON line.

    Args:
        parts: How many parts to press at least.
        pace: Simulated seconds for each second of the world; None: as fast as it goes.
        tell: Takes a line of JSON for each finished part.

    Raises:
        TawnyError: For a home folder that cannot be used.
    """
    lay_demo(home)
    workshop = load_workshop(home)
    store = Store.open(home.root, simulated=True)
    try:
        begin_utc_ms = time.time_ns() // 1_000_000
        rescue = seal_leftovers(store, begin_utc_ms, 0)
        chosen = workshop.recipe(recipe) if recipe else workshop.recipes[0]
        mould = workshop.mould(chosen.mould)
        world = World(load(mould.name), seed=seed)
        wire = Wire(world)
        state = initial_state(
            workshop.press,
            mould,
            workshop.recipes,
            chosen,
            next_number=store.next_pressing_number(),
            rescue=rescue,
        )
    except BaseException:
        store.close()
        raise
    recorder = DirectWriter(store)
    press = Press(
        state,
        Session(f"{seed & 0xFFFFFFFF:08x}"),
        recorder,
        utc_ms=lambda host_ms: begin_utc_ms + host_ms,
        write=wire.write,
        simulated=True,
        port="simulated",
    )
    told = _Teller(store, tell)
    follower = HandFollower(NearHand(world))
    person = Person(press, -(-parts // mould.cavities))

    def hand(now_ms: int) -> None:
        if now_ms % HAND_EVERY_MS == 0:
            follower.follow(press.snapshot(now_ms))
        person.look(now_ms)
        if press.pressings_ended > told.pressings:
            recorder.flush()
            told.news()

    lockstep = Lockstep(press, world, hand=hand)
    wire.clock = lambda: lockstep.now_ms
    begin_s = time.perf_counter()
    try:
        lockstep.run(lambda: _wait(lockstep, begin_s, pace) and person.finished, LONGEST_S)
        press.close(lockstep.now_ms)
    finally:
        recorder.flush()
        told.news()
        recorder.close()
    return Finished(
        parts=told.parts,
        simulated_s=lockstep.now_ms / 1000.0,
        wall_s=time.perf_counter() - begin_s,
        started=person.finished,
    )


def _wait(lockstep: Lockstep, begin_s: float, pace: float | None) -> bool:
    """Hold the virtual clock back to a pace; always true, so that it can stand in a condition."""
    if pace is not None:
        ahead_s = lockstep.now_ms / 1000.0 / pace - (time.perf_counter() - begin_s)
        if ahead_s > 0.0:
            time.sleep(ahead_s)
    return True


class _Teller:
    """Tells each part once it is on disk."""

    def __init__(self, store: Store, tell: Callable[[str], None]) -> None:
        self.parts = self.pressings = 0
        self._store, self._tell = store, tell
        self._next = store.next_pressing_number()

    def news(self) -> None:
        """Tell the parts of every pressing sealed since the last time."""
        while self._next < self._store.next_pressing_number():
            sealed = self._store.pressing(pressing_code(self._next))
            self._next += 1
            self.pressings += 1
            for part_id in sealed.part_ids:
                self.parts += 1
                self._tell(json.dumps(part_line(part_id, sealed.record), allow_nan=False))


def part_line(part_id: str, record: PressingRecord) -> dict[str, object]:
    """Return one part as the demo prints it."""
    return {
        "part_id": part_id,
        "pressing_id": record.pressing_id,
        "recipe": record.recipe.name,
        "hold_s": round(record.hold_s, 1),
        "equivalent_s": None if record.equivalent_s is None else round(record.equivalent_s, 1),
        "peak_c": record.highest_c,
        "mean_hold_c": None if record.mean_hold_c is None else round(record.mean_hold_c, 2),
        "energy_kwh": round(record.energy_kwh, 4),
        "alarms": [note.alarm for note in record.alarms],
        "result": record.result.value,
        "simulated": record.simulated,
    }

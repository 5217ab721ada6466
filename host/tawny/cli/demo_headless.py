"""The headless demo: the whole program on a virtual clock, with a person who presses parts."""

from __future__ import annotations

import json
import time
from typing import TYPE_CHECKING, NamedTuple

from tawny.cli.virtual_press import VirtualPress
from tawny.errors import N_, StoreFullError
from tawny.store.codes import pressing_code
from tawny.words import sentences

if TYPE_CHECKING:
    from collections.abc import Callable

    from tawny.core.record import PressingRecord
    from tawny.service.lockstep import Lockstep
    from tawny.settings.home import Home
    from tawny.store.store import Store
    from tawny.store.writer import DirectWriter

LONGEST_S = 24 * 3600.0  # simulated, beyond which something has gone wrong


class Finished(NamedTuple):
    """What came of a headless demo."""

    parts: int
    simulated_s: float
    wall_s: float


def press_parts(
    home: Home,
    *,
    parts: int,
    seed: int,
    pace: float | None,
    tell: Callable[[str], None],
    recipe: str | None = None,
    firmware: str | None = None,
) -> Finished:
    """Press parts in simulation, recording each, and tell each as one JSON line.

    Args:
        parts: How many parts to press at least.
        pace: Simulated seconds for each second of the world; None: as fast as it goes.
        tell: Takes a line of JSON for each finished part.
        firmware: What --firmware holds; None: the simulated board.

    Raises:
        TawnyError: For a home folder or an image that cannot be used.
        StoreFullError: If the record takes no more; what it has stays, and a pressing that was
            under way is sealed at the next start.
    """
    begin_utc_ms = time.time_ns() // 1_000_000
    with VirtualPress(
        home,
        begin_utc_ms=begin_utc_ms,
        pressings=parts,
        recipe=recipe,
        seed=seed,
        firmware=firmware,
    ) as virtual:
        lockstep, press, recorder = virtual.lockstep, virtual.press, virtual.recorder
        virtual.person.pressings = -(-parts // virtual.mould.cavities)
        told = _Teller(virtual.store, tell)
        begin_s = time.perf_counter()

        def done() -> bool:
            if pace is not None:
                _hold_back(lockstep, begin_s, pace)
            if press.pressings_ended > told.pressings:
                recorder.flush()
                told.news()
            if not press.state.store_ok and not recorder.flush():
                raise _stopped(home, recorder)
            return virtual.person.finished

        lockstep.run(done, LONGEST_S)
        recorder.flush()
        told.news()
        return Finished(
            parts=told.parts,
            simulated_s=lockstep.now_ms / 1000.0,
            wall_s=time.perf_counter() - begin_s,
        )


def _stopped(home: Home, recorder: DirectWriter) -> StoreFullError:
    """Return what stops a demo whose parts can no longer be recorded."""
    reason = recorder.status().reason
    words = sentences.alarm_words("store_failed" if reason is None else reason.code, {})
    return StoreFullError(N_("{path}: {what} {do}"), path=home.store, what=words.what, do=words.do)


def _hold_back(lockstep: Lockstep, begin_s: float, pace: float) -> None:
    ahead_s = lockstep.now_ms / 1000.0 / pace - (time.perf_counter() - begin_s)
    if ahead_s > 0.0:
        time.sleep(ahead_s)


class _Teller:
    """Tells each part once it is on disk."""

    def __init__(self, store: Store, tell: Callable[[str], None]) -> None:
        self.parts = self.pressings = 0
        self._store, self._tell = store, tell
        self._next = store.next_pressing_number()

    def news(self) -> None:
        """Tell the parts of every pressing sealed since the last time."""
        still_open = {left.number for left in self._store.spooled()}
        while self._next < self._store.next_pressing_number() and self._next not in still_open:
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

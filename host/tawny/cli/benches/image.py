"""Simulated seconds for each second, with the board's real image: with the mould, with the host."""

from __future__ import annotations

import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING, Final

from tawny.cli.benches.measured import Figure, Measured, machine
from tawny.cli.benches.speed import BEGIN_UTC_MS, LONGEST_S, RECIPE
from tawny.cli.firmware import THIS_CHECKOUT, elf_boards
from tawny.cli.virtual_press import VirtualPress
from tawny.settings.home import Home
from tawny.sim.parameters import DEMO_MOULD, load
from tawny.sim.small_host import SmallHost
from tawny.sim.world import World
from tawny.words import _

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

LEAST_WITH_MOULD: Final = 100.0
LEAST_WITH_HOST: Final = 50.0
START_C: Final = 150.0
DUTY_EACH_MS: Final = 400


def measure(*, short: bool) -> Iterator[Measured]:
    """Run the image alone with its mould, without and with the pulse train, then a whole press."""
    span_s, times = (30.0, 3) if short else (120.0, 5)
    with tempfile.TemporaryDirectory(prefix="tawny-bench-") as folder:
        for train in (False, True):
            yield _measured(
                _("simulated seconds for each second of the world: image and mould, heating")
                if train
                else _("simulated seconds for each second of the world: image and mould, at rest"),
                LEAST_WITH_MOULD,
                [_mould_speed(span_s, train=train) for _n in range(times)],
            )
        yield _measured(
            _("simulated seconds for each second of the world: image, mould, host and record"),
            LEAST_WITH_HOST,
            [_host_speed(Path(folder, str(n))) for n in range(1 if short else times)],
        )


def _measured(compares: str, limit: float, speeds: list[tuple[float, float]]) -> Measured:
    """Judge the least disturbed of several runs."""
    figures: dict[str, Figure] = {
        "runs": ", ".join(f"{wall:.0f}" for wall, _cpu in speeds),
        "simulated_s_per_cpu_s": round(max(cpu for _wall, cpu in speeds), 1),
    }
    return Measured(
        bench="image",
        compares=compares,
        ratio=max(wall for wall, _cpu in speeds),
        limit=limit,
        at_least=True,
        figures=figures | machine(),
    )


def _timed(simulated_s: Callable[[], float]) -> tuple[float, float]:
    """Return simulated seconds for each second of the wall and of the processor."""
    begin_s, begin_cpu_s = time.perf_counter(), time.process_time()
    lived_s = simulated_s()
    wall_s, cpu_s = time.perf_counter() - begin_s, time.process_time() - begin_cpu_s
    return lived_s / wall_s, lived_s / cpu_s


def _mould_speed(span_s: float, *, train: bool) -> tuple[float, float]:
    model = load(DEMO_MOULD)
    world = World(model, start_c=START_C, boards=elf_boards(THIS_CHECKOUT, model))
    host = SmallHost(world)
    if train:
        host.arm()

    def live() -> float:
        begin_ms = world.now_ms
        while world.now_ms - begin_ms < span_s * 1000.0:
            host.live(DUTY_EACH_MS)
            if train:
                host.heat()
        return (world.now_ms - begin_ms) / 1000.0

    return _timed(live)


def _host_speed(folder: Path) -> tuple[float, float]:
    virtual = VirtualPress(
        Home(folder),
        begin_utc_ms=BEGIN_UTC_MS,
        pressings=1,
        recipe=RECIPE,
        start_c=START_C,
        firmware=THIS_CHECKOUT,
    )
    with virtual as v:

        def press() -> float:
            v.lockstep.run(lambda: v.person.finished, LONGEST_S)
            v.recorder.flush()
            return v.lockstep.now_ms / 1000.0

        return _timed(press)

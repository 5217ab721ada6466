"""A home folder with the demo workshop and a few made-up pressings in its record."""

from __future__ import annotations

import math
from pathlib import Path

import msgspec

from made_trace import STARTED_UTC_MS, made_part
from tawny.core.effects import SendDuty
from tawny.core.events import Asked, Frame
from tawny.core.intents import Mark
from tawny.core.messages import Tele
from tawny.core.names import Phase, Result
from tawny.service.start import initial_state
from tawny.service.window import Row, pack_rows
from tawny.settings.demo import lay_demo
from tawny.settings.home import Home, find_home
from tawny.settings.workshop import load_workshop
from tawny.store.codes import pressing_code
from tawny.store.store import Store

ROWS = 600


def made_home(folder: Path, *, pressings: int = 2, operator: str = "Ada") -> Home:
    """Return the demo workshop's home with some sealed pressings of two minutes."""
    home = lay_demo(find_home(folder))
    workshop = load_workshop(home)
    recipe = workshop.recipe("grain-apple")
    state = initial_state(workshop.press, workshop.moulds[0], workshop.recipes, recipe)
    trace = pack_rows(state, _rows())
    with Store.open(home.root, simulated=True) as store:
        for number in range(1, pressings + 1):
            shift_ms = number * 400_000
            record = msgspec.structs.replace(
                made_part(operator=operator).record,
                pressing_id=pressing_code(number),
                number=number,
                started_utc_ms=STARTED_UTC_MS + shift_ms,
                ended_utc_ms=STARTED_UTC_MS + shift_ms + ROWS * 200,
                result=Result.ABORTED if number == 2 else Result.COMPLETE,
            )
            store.seal_pressing(record, trace, who="Ada", utc_ms=record.ended_utc_ms, mono_ms=1)
    return home


def _rows() -> list[Row]:
    """Return two minutes of telemetry at 5 Hz, a duty line each 0.4 s, one breath marked."""
    rows: list[Row] = []
    for place in range(ROWS):
        host_ms = place * 200
        if place == 70:
            rows.append(Row(Asked(host_ms=host_ms, who="Ada", intent=Mark()), Phase.BREATHE, None))
        decidegrees = 1800 - round(60 * math.exp(-place / 100))
        tele = Tele(
            n=place, ms=host_ms + 5, u=decidegrees, ur=0x2C90_1900, un=place % 65536,
            uo=place * 60 % 65536, l=decidegrees - 5, lr=0x2C8C_1900, ln=place % 65536,
            lo=place * 50 % 65536, st="armed", fo="none", inputs=0x60, k=0, f=0,
        )  # fmt: skip
        duty = SendDuty(0.3, 180.0, 0.25, 180.0) if place % 2 == 0 else None
        phase = Phase.BREATHE if place < 300 else Phase.HOLD
        frame = Frame(host_ms=host_ms, boot=1, board_ms=host_ms + 5, tele=tele)
        rows.append(Row(frame, phase, duty))
    return rows

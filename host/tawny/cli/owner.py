"""Puts the owner's parts together: settings, record, port, service thread, desk."""

from __future__ import annotations

import asyncio
import os
import secrets
import signal
import time
from contextlib import suppress
from typing import TYPE_CHECKING, NamedTuple

from tawny import __version__
from tawny.cli.demo_hands import DemoHands
from tawny.cli.firmware import elf_boards
from tawny.cli.launch import answers, start_board
from tawny.core.converter import fault_of
from tawny.core.intents import Quit
from tawny.core.snapshot import Code
from tawny.desk.server import DeskServer
from tawny.errors import N_, InputError, TawnyError
from tawny.link.reader import Reader
from tawny.link.session import Session
from tawny.service.clock import HostClock
from tawny.service.fitting import Apart
from tawny.service.last_parts import last_parts
from tawny.service.learned import with_learned
from tawny.service.live import Owner
from tawny.service.press import Press
from tawny.service.recover import seal_leftovers
from tawny.service.start import initial_state
from tawny.settings.home import Home, open_home
from tawny.settings.workshop import load_workshop
from tawny.sim.parameters import load
from tawny.store.store import Store
from tawny.store.writer import ThreadWriter
from tawny.words import sentence_of

if TYPE_CHECKING:
    from tawny.core.recipe import Recipe
    from tawny.settings.workshop import Workshop

BOARD_LINK = "board"
HAND_SOCKET = "hand.sock"
BOARD_MEMORY = "board-memory.json"
END_WITHIN_S = 5.0
BOARD_ALONE_S = 600.0  # a simulated board whose owner was killed does not stay for ever
END_DEMO_S = 300.0  # a demo that nobody looks at any more


class Wanted(NamedTuple):
    """What the command line asked of the owner.

    Attributes:
        board: Start a simulated board as well, with the recipe's mould.
        pace: Simulated seconds for each second; only with a simulated board.
        hand: Let the simulated hand follow what the screen asks for.
        start: Temperature of the simulated mould at the start.
        firmware: What --firmware holds: the image that the simulated board runs.
    """

    port: str | None = None
    recipe: str | None = None
    board: bool = False
    pace: float = 1.0
    seed: int = 1
    hand: bool = False
    start: str | None = None
    firmware: str | None = None


def own(home: Home, wanted: Wanted) -> None:
    """Run the owner of a press until it is told to end.

    Raises:
        TawnyError: For settings, a record or a port that cannot be used; nothing was heated.
    """
    open_home(home)
    workshop = load_workshop(home)
    port = _port(home, workshop, wanted)
    clock = HostClock(wanted.pace if workshop.simulated else 1.0)
    store = Store.open(home.root, simulated=workshop.simulated)
    try:
        recipe = _recipe(workshop, store, wanted)
        mould = with_learned(workshop.mould(recipe.mould), store)
        rescue = seal_leftovers(store, time.time_ns() // 1_000_000, clock.now_ms())
        state = initial_state(
            workshop.press,
            mould,
            workshop.recipes,
            recipe,
            next_number=store.next_pressing_number(),
            rescue=rescue,
        )
        shown = last_parts(store, time.time_ns() // 1_000_000)
        if wanted.firmware:
            elf_boards(wanted.firmware, load(mould.name))  # what is wrong with it is told here
    except BaseException:
        store.close()
        raise
    board = (
        start_board(board_options(home, mould.name, wanted), home.root / "board.log")
        if wanted.board and not answers(home.root / HAND_SOCKET)
        else None
    )
    recorder = ThreadWriter(store)
    try:
        reader = Reader(port, clock.now_ms)
        press = Press(
            state,
            Session(secrets.token_hex(4)),
            recorder,
            utc_ms=clock.utc_ms,
            write=reader.write,
            simulated=workshop.simulated,
            simulated_hand=wanted.hand,
            port=port,
            fitter=Apart(),
        )
        press.show_parts(*shown)
        _run(home, press, clock, reader, hand=wanted.hand)
    finally:
        recorder.close()
        if board is not None:
            board.terminate()
            board.wait()


def _run(home: Home, press: Press, clock: HostClock, reader: Reader, *, hand: bool) -> None:
    fault_of(1 << 18)  # builds the correction table before anything is armed
    owner = Owner(press, clock, reader.queue)
    hands = DemoHands(home.root / HAND_SOCKET, owner.latest_snapshot) if hand else None
    if hands is not None:
        press.on_confirm = hands.act
    try:
        asyncio.run(_serve(home, owner, reader, hands))
    finally:
        if hands is not None:
            hands.stop()
        reader.stop()
    match owner.failure:
        case TawnyError() as fault:
            # Nobody asked for it: it is told, and kept, as the fault that it is.
            raise RuntimeError(sentence_of(fault)) from fault
        case BaseException() as fault:
            raise fault


async def _serve(home: Home, owner: Owner, reader: Reader, hands: DemoHands | None) -> None:
    """Serve viewers in the main thread until the service thread has ended."""
    server = DeskServer(home.socket, owner, owner_version=__version__)
    await server.start()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, owner.submit, Quit(), f"signal {number.name}")
    with suppress(ValueError, AttributeError):
        signal.signal(signal.SIGHUP, signal.SIG_IGN)  # a closed terminal ends viewers only
    owner.desk = server.desk
    if hands is not None:
        owner.end_unwatched_s = END_DEMO_S
    reader.start()
    owner.start()
    if hands is not None:
        hands.start()
    try:
        await asyncio.to_thread(owner.ended.wait)
    finally:
        owner.end("fault", END_WITHIN_S)  # where this thread failed, the other goes on
    await server.close(Code("owner_ended" if owner.failure is None else "owner_failed"))


def board_options(home: Home, mould: str, wanted: Wanted) -> list[str]:
    """Return the options of the simulated board that belongs to a home folder."""
    return [
        "--link",
        os.fspath(home.root / BOARD_LINK),
        "--control",
        os.fspath(home.root / HAND_SOCKET),
        "--eeprom",
        os.fspath(home.root / BOARD_MEMORY),
        "--mould",
        mould,
        "--pace",
        str(wanted.pace),
        "--seed",
        str(wanted.seed),
        "--end-silent",
        str(BOARD_ALONE_S),
        *(("--start", wanted.start) if wanted.start else ()),
        *(("--firmware", wanted.firmware) if wanted.firmware else ()),
    ]


def _recipe(workshop: Workshop, store: Store, wanted: Wanted) -> Recipe:
    """Return the recipe asked for, else the one pressed last, else the first."""
    if wanted.recipe:
        return workshop.recipe(wanted.recipe)
    last = [row.recipe for row in store.parts(1)]
    return next((one for one in workshop.recipes if one.name in last), workshop.recipes[0])


def _port(home: Home, workshop: Workshop, wanted: Wanted) -> str:
    if wanted.board or (workshop.simulated and wanted.port is None):
        return os.fspath(home.root / BOARD_LINK)
    port = wanted.port or workshop.port
    if not port:
        raise InputError(
            N_(
                'no serial port is set: give --port, or write port = "/dev/serial/by-id/..." '
                "into {path}"
            ),
            path=home.press,
        )
    return port

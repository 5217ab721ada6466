"""The terminal's side of commissioning: settings, record and port around one `Commissioner`."""

from __future__ import annotations

import os
import secrets
import select
import signal
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import TYPE_CHECKING, Final

import click

from tawny import __version__
from tawny.cli.launch import answers
from tawny.cli.owner import BOARD_LINK
from tawny.core.commission import (
    OPENS_ABOVE_C,
    SPECIFIC_HEAT_J_PER_KG_K,
    Outcome,
    Plan,
    Said,
)
from tawny.core.framing import Framer
from tawny.core.messages import FROM_BOARD_MOST_BYTES
from tawny.core.names import Half
from tawny.core.record import COMMISSIONED, THERMAL, Commissioned
from tawny.errors import N_, BusyError, InputError, PortError
from tawny.link.port import Port, open_port, reason_of
from tawny.link.session import Session
from tawny.service.clock import HostClock
from tawny.service.commissioner import LEAVE, Commissioner
from tawny.service.fitting import fit
from tawny.service.learning import record_of
from tawny.settings.home import Home
from tawny.settings.passport import write_measured
from tawny.settings.workshop import load_workshop
from tawny.store.store import Store
from tawny.words import _
from tawny.words.sentences import commissioning
from tawny.words.thermal import thermal_lines

if TYPE_CHECKING:
    from tawny.core.equipment import Mould
    from tawny.settings.workshop import Workshop

PART_WITHIN_S: Final = 1.0
OPEN_AGAIN_S: Final = 1.0
NOT_DONE: Final = 1
_OVER: Final = (Outcome.DONE, Outcome.LEFT)


def walk(home: Home, mould_name: str | None, port: str | None, *, pace: float) -> int:
    """Commission one mould; return the exit code.

    Raises:
        TawnyError: For settings, a record or a port that cannot be used; nothing was heated.
    """
    workshop = load_workshop(home)
    mould = _chosen(workshop, mould_name)
    if answers(home.socket):
        raise BusyError(
            N_(
                "the press of {path} is running and has the board: switch its heat off, end it in"
                " its dashboard, then commission"
            ),
            path=home.root,
        )
    url = port or workshop.port or (os.fspath(home.root / BOARD_LINK) if workshop.simulated else "")
    if not url:
        raise InputError(
            N_('no serial port is set: give --port, or write port = "..." into {path}'),
            path=home.press,
        )
    clock = HostClock(pace if workshop.simulated else 1.0)
    with Store.open(home.root, simulated=workshop.simulated) as store:
        line = open_port(url)
        commissioner = Commissioner(
            Session(secrets.token_hex(4)),
            plan_of(workshop, mould),
            utc_ms=lambda: clock.utc_ms(clock.now_ms()),
            pick=secrets.randbelow,
            software=__version__,
            simulated=workshop.simulated,
        )
        _caution(workshop)
        Terminal(commissioner, line, url, clock).run()
        if commissioner.outcome is not Outcome.DONE:
            return NOT_DONE
        keep_done(home, store, commissioner.record(), clock.now_ms())
        keep_model(store, commissioner, clock)
    return 0


def plan_of(workshop: Workshop, mould: Mould) -> Plan:
    """Return what the settings say of a mould that is to be commissioned.

    Raises:
        InputError: No recipe uses it, or no limit thermostat could protect it.
    """
    heat = SPECIFIC_HEAT_J_PER_KG_K.get(mould.metal.lower())
    asked_c = [
        setpoint_c
        for recipe in workshop.recipes
        if recipe.mould == mould.name
        for setpoint_c in recipe.setpoints_c()
    ]
    if not asked_c:
        raise InputError(
            N_("no recipe uses mould {mould}: write one first, its setpoint sets the trip point"),
            mould=mould.name,
        )
    if not mould.rated_c > OPENS_ABOVE_C:
        raise InputError(
            N_(
                "mould {mould}: its passport says that it bears {rated_c:g} degC; its limit"
                " thermostats must open above {least_c:g} degC, and not above what its weakest part"
                " bears. Correct rated_temperature if that part bears more; else heat it on no"
                " press with this board"
            ),
            mould=mould.name,
            rated_c=mould.rated_c,
            least_c=OPENS_ABOVE_C,
        )
    return Plan(
        mould=mould.name,
        slot=mould.slot,
        setpoint_c=max(asked_c),
        rated_c=mould.rated_c,
        output=workshop.press.output,
        window_s=workshop.press.window_s,
        unlimited_k_per_s={
            half: None if heat is None else model.heater_w / (model.mass_kg * heat)
            for half, model in ((Half.UPPER, mould.upper), (Half.LOWER, mould.lower))
        },
    )


class Terminal:
    """Lines of a person and lines of the board, both to the commissioner."""

    def __init__(self, commissioner: Commissioner, line: Port, url: str, clock: HostClock) -> None:
        self._commissioner, self._url, self._clock = commissioner, url, clock
        self._line: Port | None = line
        self._framer = Framer(FROM_BOARD_MOST_BYTES)
        self._again_s = 0.0
        self._typed = b""
        self._stdin: int | None = sys.stdin.fileno()

    def run(self) -> None:
        """Go on until it is done or left; the port is closed then."""
        commissioner = self._commissioner
        commissioner.opened(self._clock.now_ms())
        try:
            with _ended_by_signals():
                while commissioner.outcome not in _OVER:
                    self._pass()
        except KeyboardInterrupt:
            commissioner.leave(self._clock.now_ms())
        finally:
            self._part()

    def _pass(self) -> None:
        self._read_board()
        self._read_person()
        self._commissioner.poll(self._clock.now_ms())
        self._write()
        self._show()

    def _read_board(self) -> None:
        try:
            if self._line is None:
                self._open_again()
            data = b"" if self._line is None else self._line.read()
        except (PortError, BusyError) as error:
            self._lose(error)
            return
        for one in self._framer.feed(data):
            self._commissioner.line(one, self._clock.now_ms())

    def _open_again(self) -> None:
        if time.monotonic() < self._again_s:
            time.sleep(OPEN_AGAIN_S / 10.0)
            return
        self._again_s = time.monotonic() + OPEN_AGAIN_S
        self._line = open_port(self._url)
        self._framer = Framer(FROM_BOARD_MOST_BYTES)
        self._commissioner.opened(self._clock.now_ms())

    def _lose(self, error: PortError | BusyError) -> None:
        if self._line is not None:
            self._line.close()
            self._line = None
        self._commissioner.lost(reason_of(error), self._clock.now_ms())

    def _write(self) -> None:
        data = self._commissioner.take()
        if data and self._line is not None:
            try:
                self._line.write(data)
            except PortError as error:
                self._lose(error)

    def _read_person(self) -> None:
        """Hand over whole lines; the end of them is leaving."""
        while self._stdin is not None and select.select([self._stdin], [], [], 0)[0]:
            data = os.read(self._stdin, 4096)
            if not data:
                self._stdin = None
                self._commissioner.typed(LEAVE, self._clock.now_ms())
            *lines, self._typed = (self._typed + data).split(b"\n")
            for one in lines:
                self._commissioner.typed(one.decode(errors="replace"), self._clock.now_ms())

    def _show(self) -> None:
        for said in self._commissioner.said:
            for text in lines_of(said):
                click.echo(text)
        self._commissioner.said.clear()

    def _part(self) -> None:
        """Let the goodbye go out and be answered; heat ends without it too."""
        stop_s = time.monotonic() + PART_WITHIN_S
        while self._line is not None and time.monotonic() < stop_s and not self._commissioner.over:
            self._read_board()
            self._commissioner.poll(self._clock.now_ms())
            self._write()
        self._show()
        if self._line is not None:
            self._line.close()


def lines_of(said: Said) -> list[str]:
    """Return the lines in which something is shown."""
    text = commissioning(said)
    match said.kind:
        case "step":
            fields = said.code.fields
            return ["", f"[{fields['number']}/{fields['count']}] {text}"]
        case "do":
            return [f"  > {text}"]
        case "passed":
            return [_("  done")]
        case "failed":
            again = _("Press Enter to begin this step again, or type leave.")
            return [f"  ! {text}", f"  > {again}"]
        case _:
            return [f"    {text}"]


@contextmanager
def _ended_by_signals() -> Iterator[None]:
    """Turn a closed terminal and a request to end into what Ctrl-C is."""

    def stop(_number: int, _frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    numbers = (signal.SIGTERM, signal.SIGHUP)
    before = {number: signal.signal(number, stop) for number in numbers}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _chosen(workshop: Workshop, name: str | None) -> Mould:
    if name is not None:
        return workshop.mould(name)
    if len(workshop.moulds) > 1:
        raise InputError(
            N_("say which mould: --mould with one of {known}"),
            known=", ".join(mould.name for mould in workshop.moulds),
        )
    return workshop.moulds[0]


def _caution(workshop: Workshop) -> None:
    if workshop.simulated:
        click.echo(_("SIMULATED board: this commissions no real press."))
    click.echo(
        _(
            "Caution: mains, hot metal and hydraulic force. Two people, one at the isolator with"
            " nothing else to do. Platens propped, mould empty, no solvent or spray near. Stand"
            " aside of the parting line. The heat-off button does not release the jack. Not a"
            " certificate: the rules of your country and a licensed electrician stand above this."
        )
    )
    click.echo(
        _(
            "No step can be skipped. Type leave to end; nothing is recorded then. The board is"
            " changed by the last three steps only."
        )
    )


def keep_done(home: Home, store: Store, done: Commissioned, now_ms: int) -> None:
    """Write record and passport; the record first, a passport can be corrected by hand.

    Args:
        home: Whose passport.
        store: The record.
        done: What was commissioned.
        now_ms: Of the clock that only runs forwards.
    """
    entry = store.append(
        COMMISSIONED, done, who=done.person, utc_ms=done.ended_utc_ms, mono_ms=now_ms
    )
    click.echo(
        _("Recorded as entry {number}, hash {hash}….").format(
            number=entry.seq, hash=entry.hash.hex()[:12]
        )
    )
    path = write_measured(home, done.mould, done.halves)
    click.echo(_("Wrote what was measured into {path}.").format(path=path))


def keep_model(store: Store, commissioner: Commissioner, clock: HostClock) -> None:
    """Fit the mould's thermal model to what was measured, record it and tell what it is worth."""
    done, order = commissioner.record(), commissioner.order()
    record = record_of(fit(order), mould=done.mould, origin="commissioning", room_c=order.room_c)
    now_ms = clock.now_ms()
    store.append(THERMAL, record, who=done.person, utc_ms=clock.utc_ms(now_ms), mono_ms=now_ms)
    for text in thermal_lines(record):
        click.echo(text)

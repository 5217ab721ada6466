"""Checks of the serial line: ports, who may use them, what else takes them, the board."""

from __future__ import annotations

import os
import secrets
import time
from collections.abc import Iterator

from tawny.cli.findings import Finding, Level, Machine
from tawny.cli.launch import answers
from tawny.core.framing import Framer
from tawny.core.messages import FROM_BOARD_MOST_BYTES, Here
from tawny.errors import N_
from tawny.link import events
from tawny.link.port import denied, open_port
from tawny.link.ports import grabbers, holders, list_ports
from tawny.link.session import Session
from tawny.settings.equipment import read_press
from tawny.settings.home import Home
from tawny.words import _, sentence_of
from tawny.words.sentences import cause

_OTHER_PORT = N_("see to the plug, or choose the board's port: those that are there stand above")
_GREET_WITHIN_S = 14.0  # a board frees a dead session after 10 s


def ports(machine: Machine) -> Iterator[Finding]:
    """Look at each serial port, and at services that open ports unasked."""
    found = list_ports(machine.root / "dev", machine.root / "sys")
    if not found:
        yield Finding(
            "port",
            Level.LOOK,
            _("there is no serial port"),
            _("put the board's plug in; some USB cables carry no data"),
        )
    for port in found:
        if not os.access(port.device, os.R_OK | os.W_OK):
            yield Finding("port", Level.MEND, sentence_of(denied(port.device)))
            continue
        taken = holders(port.device, machine.root / "proc")
        if taken:
            names = ", ".join(f"{holder.name} (pid {holder.pid})" for holder in taken)
            said = _("{port} is in use by {names}").format(port=port.best, names=names)
            yield Finding("port", Level.LOOK, said, _("fine if that is the press itself"))
        else:
            yield Finding("port", Level.GOOD, _("{port} is free").format(port=port.best))
    usb = next((port for port in found if port.vendor), None)
    for grabber in grabbers(usb, machine.root / "proc"):
        said = _("{name} is running (pid {pid})").format(name=grabber.name, pid=grabber.pid)
        advice = _(grabber.advice).format(rule=grabber.rule)
        yield Finding("other programs", Level.MEND if usb else Level.LOOK, said, advice)


def board(home: Home, port: str | None, met: list[Here] | None = None) -> Iterator[Finding]:
    """Greet the board on the port named here or in the settings; no other is ever opened.

    Args:
        home: Whose settings name the port.
        port: In place of the one in the settings.
        met: Gets the identity of the board that answered.
    """
    if answers(home.socket):
        yield Finding(
            "board",
            Level.GOOD,
            _("the press of {path} is running and has the board").format(path=home.root),
        )
        return
    port = port or _port_in_settings(home)
    if not port:
        yield Finding(
            "board",
            Level.LOOK,
            _("not greeted: opening a port can reset what is behind it"),
            "tawny check --port /dev/serial/by-id/...",
        )
        return
    yield _greet(port, [] if met is None else met)


def _port_in_settings(home: Home) -> str:
    return read_press(home.press).port if home.settled else ""


def _greet(url: str, met: list[Here]) -> Finding:
    """Open a session, read who is there, and end it again; nothing is heated."""
    line = open_port(url)
    session = Session(secrets.token_hex(4))
    framer = Framer(FROM_BOARD_MOST_BYTES)
    dropped = 0
    stop_s = time.monotonic() + _GREET_WITHIN_S
    try:
        session.opened(time.monotonic())
        while time.monotonic() < stop_s:
            happened = [
                event
                for piece in framer.feed(line.read())
                for event in session.receive(piece, time.monotonic())
            ]
            session.dropped(framer.oversize - dropped, time.monotonic())
            dropped = framer.oversize
            happened += session.poll(time.monotonic())
            met += [event.here for event in happened if isinstance(event, events.Up)]
            found = _judge(happened, url)
            if found is not None:
                session.bye()
                line.write(session.take())
                return found
            line.write(session.take())
    finally:
        line.close()
    return Finding(
        "board",
        Level.MEND,
        _("nothing that speaks our protocol answers on {port}").format(port=url),
        _(_OTHER_PORT),
    )


def _judge(happened: list[events.LinkEvent], url: str) -> Finding | None:
    for event in happened:
        if isinstance(event, events.Up):
            here, limits = event.here, event.limits
            return Finding(
                "board",
                Level.GOOD,
                _(
                    "board {board} on {port}: build {build}, protocol {major}.{minor}, ceiling "
                    "{ceiling_c:g} degC, trip {trip_c:g} degC, last start {cause}, latch {latch}"
                ).format(
                    board=here.board,
                    port=url,
                    build=here.build,
                    major=here.v,
                    minor=here.mv,
                    ceiling_c=_c(limits.ceil),
                    trip_c=_c(limits.trip),
                    cause=here.cause,
                    latch=here.latch,
                ),
            )
        if isinstance(event, events.Down) and event.reason.code != "bye":
            said = _("{port}: {why}").format(port=url, why=cause(event.reason))
            return Finding("board", Level.MEND, said, _(_OTHER_PORT))
    return None


def _c(value: int | str) -> float:
    return value / 10.0 if isinstance(value, int) else float("nan")

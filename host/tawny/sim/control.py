"""The control channel of a simulated board: a hand at the press, over a Unix socket.

One JSON object a line, each answered by one line. `do` names the deed:

    {"do": "press_arm", "hold_ms": 300}          {"do": "press_next"}
    {"do": "hold_arm", "down": true}
    {"do": "open_mould"}                         {"do": "close_mould"}
    {"do": "load_charge", "residue_g": 34, "water_g": 8, "temperature_c": 22}
    {"do": "unload_charge"}                      {"do": "reset_trip"}
    {"do": "heat_off_button", "pressed": true}   {"do": "mains", "on": false}
    {"do": "thermostat", "opened": true}
    {"do": "sensor", "half": "upper", "fault": "open"}
         good, open, shorted, detached, stuck, reversed
    {"do": "heater", "half": "lower", "fault": "welded"}      good, welded, open
    {"do": "contactor", "fault": "welded"}                    good, welded, open
    {"do": "line_noise", "bit_error_rate": 0.0001}
    {"do": "plug", "plugged": false}
    {"do": "restart", "cause": "watchdog", "selftest_fails": false}
    {"do": "look"}

The answer is `{"done": true, "why": "", "scene": {...}}`; `why` says why something was not
done, and `scene` how things stand, true temperatures included. `fields` of `commands.py`
are the whole of it. Holding times are those of the board's clock.
"""

from __future__ import annotations

import socket
from collections.abc import Callable
from pathlib import Path
from typing import Final

import msgspec

from tawny.errors import N_, BusyError, PortError
from tawny.sim.commands import Answer, AnyCommand

_LINE_MOST_BYTES: Final = 4096
_MODE: Final = 0o600

Apply = Callable[[AnyCommand], Answer]
_decoder: Final = msgspec.json.Decoder(AnyCommand)


def answer_line(line: bytes, apply: Apply) -> bytes:
    """Carry out the command in a line; return the line that answers it."""
    try:
        answer = apply(_decoder.decode(line))
    except msgspec.MsgspecError as error:
        answer = Answer(done=False, why=str(error))
    return msgspec.json.encode(answer) + b"\n"


class Client:
    """One connection: lines in, answers out."""

    def __init__(self, connection: socket.socket) -> None:
        self.socket = connection
        self._part = b""

    def serve(self, apply: Apply) -> bool:
        """Answer what has arrived; return whether the connection goes on."""
        try:
            data = self.socket.recv(_LINE_MOST_BYTES)
            *lines, self._part = (self._part + data).split(b"\n")
            for line in lines:
                self.socket.sendall(answer_line(line, apply))
        except OSError:
            return False
        return bool(data) and len(self._part) < _LINE_MOST_BYTES


class Door:
    """The listening socket, for its owner alone.

    Args:
        path: Where it stands; a socket left over by a dead process is replaced.

    Raises:
        BusyError: If another board listens there, or something else has that name.
        PortError: If it cannot be made.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            self._make_room()
            self.socket.bind(str(path))
            path.chmod(_MODE)
            self.socket.listen(4)
        except OSError as error:
            self.socket.close()
            raise PortError(
                N_("the control channel {path} cannot be opened: {reason}"),
                path=str(path),
                reason=error.strerror or str(error),
            ) from error
        except BusyError:
            self.socket.close()
            raise

    def _make_room(self) -> None:
        if not self.path.exists():
            return
        if self.path.is_socket() and not _answers(self.path):
            self.path.unlink()
            return
        raise BusyError(
            N_("{path} is in use: choose another name for the control channel"),
            path=str(self.path),
        )

    def accept(self) -> Client:
        """Take the next connection."""
        connection, _ = self.socket.accept()
        connection.settimeout(1.0)  # a client that does not read must not hold up the board
        return Client(connection)

    def close(self) -> None:
        """Close it and take its name away."""
        self.socket.close()
        self.path.unlink(missing_ok=True)


def _answers(path: Path) -> bool:
    probe = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    probe.settimeout(1.0)
    try:
        probe.connect(str(path))
    except OSError:
        return False
    finally:
        probe.close()
    return True

"""A hand at the simulated press: near, in the same process, or far, over the control channel.

hand = NearHand(world)            # or FarHand(Path("control.sock"))
hand.press_arm()
hand.load_charge(residue_g=34.0, water_g=8.0)
"""

from __future__ import annotations

import socket
from pathlib import Path
from typing import TYPE_CHECKING, Final, Protocol

import msgspec

from tawny.core.names import Half, ResetCause
from tawny.errors import N_, PortError
from tawny.sim import commands as c

if TYPE_CHECKING:
    from tawny.sim.sensor import SensorFault
    from tawny.sim.world import World

ANSWER_S: Final = 5.0
_ANSWER_MOST_BYTES: Final = 65_536


class Hand(Protocol):
    """Every deed returns what became of it; a refused one changed nothing."""

    def do(self, command: c.AnyCommand) -> c.Answer:
        """Carry out one command."""

    def press_arm(self, hold_ms: int = 300) -> c.Answer:
        """Press ARM/RESET and let go again."""
        return self.do(c.PressArm(hold_ms=hold_ms))

    def hold_arm(self, *, down: bool) -> c.Answer:
        """Hold ARM/RESET down, or let go of it."""
        return self.do(c.HoldArm(down=down))

    def press_next(self, hold_ms: int = 150) -> c.Answer:
        """Press NEXT/MARK and let go again."""
        return self.do(c.PressNext(hold_ms=hold_ms))

    def reset_trip(self) -> c.Answer:
        """Hold RESET for 3 s: a deliberate act of somebody who has seen to the cause."""
        return self.do(c.ResetTrip())

    def open_mould(self) -> c.Answer:
        """Open the mould."""
        return self.do(c.OpenMould())

    def close_mould(self) -> c.Answer:
        """Close the mould."""
        return self.do(c.CloseMould())

    def load_charge(
        self, *, residue_g: float, water_g: float, temperature_c: float = 22.0
    ) -> c.Answer:
        """Put a charge into the open mould: dry residue, and all its water."""
        return self.do(
            c.LoadCharge(residue_g=residue_g, water_g=water_g, temperature_c=temperature_c)
        )

    def unload(self) -> c.Answer:
        """Take out what lies in the open mould."""
        return self.do(c.UnloadCharge())

    def heat_off_button(self, *, pressed: bool) -> c.Answer:
        """Press the heat-off button in, or turn it out again."""
        return self.do(c.HeatOffButton(pressed=pressed))

    def mains(self, *, on: bool) -> c.Answer:
        """Lose the mains, or give it back and press its start."""
        return self.do(c.Mains(on=on))

    def thermostat(self, *, opened: bool) -> c.Answer:
        """Open a limit thermostat, or reset it by hand."""
        return self.do(c.Thermostat(opened=opened))

    def sensor(self, half: Half, fault: SensorFault) -> c.Answer:
        """Break or mend a thermocouple."""
        return self.do(c.SetSensor(half=half, fault=fault))

    def heater(self, half: Half, fault: c.HeaterFault) -> c.Answer:
        """Break or mend a heater's circuit."""
        return self.do(c.SetHeater(half=half, fault=fault))

    def contactor(self, fault: c.ContactorFault) -> c.Answer:
        """Break or mend the contactor."""
        return self.do(c.SetContactor(fault=fault))

    def line_noise(self, bit_error_rate: float) -> c.Answer:
        """Turn over bits of the line, both ways, each with this chance."""
        return self.do(c.LineNoise(bit_error_rate=bit_error_rate))

    def plug(self, *, plugged: bool) -> c.Answer:
        """Pull the USB plug out, or put it in again."""
        return self.do(c.Plug(plugged=plugged))

    def restart(self, cause: ResetCause = ResetCause.POWER) -> c.Answer:
        """Reset the board."""
        return self.do(c.Restart(cause=cause))

    def look(self) -> c.Answer:
        """Change nothing; the answer says how things stand."""
        return self.do(c.Look())


class NearHand(Hand):
    """A hand in the same process as the world."""

    def __init__(self, world: World) -> None:
        self._world = world

    def do(self, command: c.AnyCommand) -> c.Answer:
        """Carry out one command, now."""
        return self._world.apply(command)


class FarHand(Hand):
    """A hand that works a board of another process through its control channel.

    Args:
        path: The channel's socket.

    Raises:
        PortError: If nobody listens there. Later also if the board goes away.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        self._socket.settimeout(ANSWER_S)
        self._rest = b""
        try:
            self._socket.connect(str(path))
        except OSError as error:
            self._socket.close()
            raise self._lost(error) from error

    def do(self, command: c.AnyCommand) -> c.Answer:
        """Send one command and wait for its answer.

        Raises:
            PortError: If the board has gone away or does not answer.
        """
        try:
            self._socket.sendall(msgspec.json.encode(command) + b"\n")
            while b"\n" not in self._rest:
                data = self._socket.recv(4096)
                if not data or len(self._rest) > _ANSWER_MOST_BYTES:
                    raise self._lost(ConnectionResetError("no answer"))
                self._rest += data
        except OSError as error:
            raise self._lost(error) from error
        line, _, self._rest = self._rest.partition(b"\n")
        return msgspec.json.decode(line, type=c.Answer)

    def close(self) -> None:
        """Let go of the channel."""
        self._socket.close()

    def _lost(self, error: OSError) -> PortError:
        return PortError(
            N_("no simulated board answers at {path} ({reason}): start one with --control"),
            path=str(self._path),
            reason=str(error),
        )

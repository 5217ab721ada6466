"""A busy quarter of a minute at the press, for measures of time and stack."""

from __future__ import annotations

from typing import Any, Final

from image_rig import OVER_C, Host, heating
from tawny.core import messages as m
from tawny.core.names import Half

FROM_C: Final = 150.0
CLIMB_K: Final = 0.1  # each quarter of a second
ROUNDS: Final = 48
Request = tuple[Any, ...]  # its kind, and its fields behind token and number
REQUESTS: Final[list[Request]] = [
    (m.LimitsAsk,),
    (m.MouldAsk, 1),
    (m.LogAsk, 0),
    (m.Signal, "blink", "soon"),
    (m.Charge,),
    (m.TripSet, 2140),
    (m.Use, 1),
    (m.StoreMould, 1, "upper", 500, 200, 600),
    (m.CommissioningHeat, "upper", 500, 1, 1500),
    (m.ArmAsk,),
    (m.ArmAnswer, "00000000"),
    (m.Disarm,),
    (m.Bye,),
]
# The longest request there is, one of a kind that no board knows, and bytes of no line at all.
NOISE: Final = (
    b"duty s=ffff q=65535 u=1000 us=2000 l=1000 ls=2000 e=65535 x=1500 crc=00000000\n",
    b"heat s=ffff q=65535 h=upper d=1000 e=65535 x=1500 crc=0000000",
    b"\x00\xff=\n\n" + b"z" * 200 + b"\n",
)


def busy(host: Host) -> None:
    """Climb at full duty with requests, a charge, a mould that opens, noise, a fall, a trip."""
    upper_c = lower_c = FROM_C
    for at in range(ROUNDS):
        upper_c, lower_c = upper_c + CLIMB_K, lower_c + CLIMB_K / 2
        host.set_c(upper_c, Half.UPPER)
        host.set_c(lower_c, Half.LOWER)
        if at == 4:
            host.send(m.Charge)
        elif at % 12 == 7:
            host.rig.board.set_input(m.IN_OPEN, on=not host.rig.board.inputs & m.IN_OPEN)
        elif at % 5 == 3:
            host.rig.board.set_input(m.IN_NEXT, on=not host.rig.board.inputs & m.IN_NEXT)
        elif at % 6 == 2:
            host.chip.hear(NOISE[at // 6 % len(NOISE)])
        else:
            host.send(*((m.Signal, "blink", "topup"), (m.LogAsk, 0), (m.MouldAsk, 0))[at % 3])
        host.live(250)
    host.set_c(lower_c - 30, Half.LOWER)
    host.live(1500)
    host.set_c(OVER_C)
    host.live(1500)
    assert host.last(m.Tele).st == "tripped"


def busy_host() -> Host:
    """Return a board that heats, not yet busy."""
    return heating((1000, 1000), FROM_C)

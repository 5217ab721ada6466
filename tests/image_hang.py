"""Boards that hang: the image stopped where it stands, and what its pins then do."""

from __future__ import annotations

from typing import Final, NamedTuple

from image_code import TO_ITSELF, patch
from image_rig import HEATERS, Host, ms
from tawny.core import messages as m
from tawny.sim.chip import CYCLES_PER_MS, Pin

TRAIN_MS: Final = 100  # the permission
WATCHDOG_MS: Final = 300  # from the hang to every pin off
REACHED_MS: Final = 1300  # within the duty's expiry
STARTED_MS: Final = 1800


class Hang(NamedTuple):
    """What followed a hang; in ms after it.

    Attributes:
        train: The last edge of the contactor's train.
        enabled: When the contactor's enable circuit let go.
        heaters: When the second heater's pin went off.
        cause: That the board gave for its next start, "" if it did not start.
        state: In the end, with its first-out.
        driven: Heaters or train moved after the reset.
    """

    train: float
    enabled: float
    heaters: float
    cause: str
    state: str
    driven: bool


def stop_at(host: Host, address: int, instruction: int = TO_ITSELF) -> list[tuple[int, int]] | None:
    """Let the image come to an address and put an instruction there; None: it does not come."""
    host.send_duty(host.duty or (0, 0))
    host.send(m.LogAsk, 0)
    if not host.chip.call("run_to", address, host.now + REACHED_MS * CYCLES_PER_MS):
        return None
    host.listen()
    turned = patch(host.chip.image, address, instruction)
    turn(host, turned)
    return turned


def turn(host: Host, bits: list[tuple[int, int]]) -> None:
    """Turn bits of the flash over, or back."""
    for address, mask in bits:
        host.chip.call("flip_flash", address, mask)


def watch(host: Host, turned: list[tuple[int, int]]) -> Hang:
    """See what a board does that has just hung; the flash is whole again when it was reset."""
    began, resets = host.now, host.chip.call("resets")
    last = host.edge(Pin.CONTACTOR_TRAIN)
    while host.chip.call("resets") == resets and host.now < began + 2 * WATCHDOG_MS * CYCLES_PER_MS:
        last = host.edge(Pin.CONTACTOR_TRAIN)  # the reset itself may end a pulse
        host.chip.run(host.now + CYCLES_PER_MS // 4)
    heaters = [ms(host.edge(pin) - began) for pin in HEATERS]
    if any(host.level(pin) for pin in HEATERS):
        heaters = [float("inf")]
    train = ms(last - began)
    turn(host, turned)
    host.start_over()
    before = host.driven()
    host.live(STARTED_MS)
    let_go = ms(host.chip.call("enable_changed") - began)
    boots = [said.cause for _, said in host.heard if isinstance(said, m.Boot)]
    tele = host.last(m.Tele)
    return Hang(
        train=train,
        enabled=float("inf") if host.rig.board.contactor else let_go,
        heaters=max(heaters),
        cause=boots[0] if boots else "",
        state=f"{tele.st} {tele.fo}",
        driven=host.driven() != before,
    )

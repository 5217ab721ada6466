"""The core in C wants the outputs cut wherever the simulated board cuts them, and nowhere else."""

from __future__ import annotations

import pytest

from safety_core import SLOT
from tawny.core import messages as m
from test_firmware_shadow import Press

BY_HAND = (("warm", 0, 99.0), ("wait", 8), ("hold",), ("heat", "upper", 1500))


@pytest.mark.parametrize(
    ("heating", "end"),
    [
        ((("go",),), (("disarm",),)),
        ((("go",),), (("bye",),)),
        ((("go",),), (("wait", 220),)),  # silence
        ((("go",),), (("switch", m.IN_THERMOSTAT),)),
        ((("go",),), (("switch", m.IN_BUTTON),)),
        ((("go",),), (("switch", m.IN_MAINS),)),
        ((("go",),), (("break", 0), ("work", 500, 40))),
        (BY_HAND, (("switch", m.IN_ARM),)),
        (BY_HAND, (("wait", 31),)),  # its own expiry
        (BY_HAND, (("break", 0), ("wait", 24))),
        (BY_HAND, (("bye",),)),
    ],
)
def test_core_cuts_what_the_simulated_board_cuts(
    heating: tuple[tuple[str | float, ...], ...], end: tuple[tuple[str | float, ...], ...]
) -> None:
    """Each way out of heat, armed or by hand: cut on both in the same step."""
    press = Press(2, (SLOT, SLOT))
    press.carry_out("ready")
    for what, *how in heating:
        press.carry_out(str(what), *how)
    board = press.board
    cuts = board.cuts
    assert board.core.permits
    for what, *how in end:
        press.carry_out(str(what), *how)
    assert not board.core.permits
    assert board.cuts > cuts

"""The signature of a pass: whatever stage is left out, doubled or out of order, it is not right."""

from __future__ import annotations

import pytest

from core_rig import CoreRig

PASS_MS = 50
STAGES = ("begin", "read", "decide", "slice", "pins")
WITHOUT_READ = ("begin", "decide", "slice", "pins")


class Passes:
    """A board whose passes are made of stages by hand."""

    def __init__(self) -> None:
        self.rig = CoreRig()
        self.lib, self.unit = self.rig.lib, self.rig.ffi.addressof(self.rig.board.unit)
        self.now_ms = 0

    def make(self, stages: tuple[str, ...]) -> bool:
        """Make one pass; return whether its signature is right."""
        self.now_ms += PASS_MS
        for stage in stages:
            self._do(stage)
        return bool(self.lib.unit_flow_is_right(self.unit))

    def _do(self, stage: str) -> None:
        if stage == "begin":
            self.lib.unit_begin_pass(self.unit)
        elif stage == "read":
            self.lib.unit_read(self.unit, self.rig.board.raw, 0, 0, self.now_ms)
        elif stage == "decide":
            self.lib.unit_pass(self.unit, self.now_ms)
        elif stage == "slice":
            self.lib.unit_take_slice(self.unit, True, self.now_ms)  # noqa: FBT003 - C
        else:
            self.lib.unit_pins(self.unit, self.now_ms)


def variants(stages: tuple[str, ...]) -> list[tuple[str, ...]]:
    """Return passes with one stage missing, one twice, or two neighbours in the wrong order."""
    places = range(len(stages))
    found = [stages[:at] + stages[at + 1 :] for at in places]
    found += [stages[: at + 1] + stages[at:] for at in places]
    found += [stages[:at] + stages[at : at + 2][::-1] + stages[at + 2 :] for at in places[:-1]]
    return [one for one in found if "begin" not in one[1:]]  # a beginning ends what was before


def test_flow_is_right_after_every_stage_once() -> None:
    """A read belongs to each fourth pass and to no other."""
    passes = Passes()
    assert all(passes.make(STAGES if count % 4 == 0 else WITHOUT_READ) for count in range(1, 41))


@pytest.mark.parametrize("before", [0, 3])
@pytest.mark.parametrize("stages", [*variants(STAGES), *variants(WITHOUT_READ)])
def test_flow_is_wrong_after_any_other_pass(before: int, stages: tuple[str, ...]) -> None:
    """In a pass with a read and in one without."""
    passes = Passes()
    for _ in range(before):
        assert passes.make(WITHOUT_READ)
    right = STAGES if before == 3 else WITHOUT_READ
    assert passes.make(stages) == (stages == right)

"""The thermal model that the record holds of a mould."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec.structs import replace

from tawny.core.record import COMMISSIONED, THERMAL, Commissioned, ThermalRecord

if TYPE_CHECKING:
    from tawny.core.equipment import Mould
    from tawny.store.reader import Reader


def with_learned(mould: Mould, record: Reader) -> Mould:
    """Return the mould with the last model that was taken; none is older than its commissioning.

    Another commissioning may mean other heaters, so what was learned before it does not count.
    """
    for entry in reversed(record.entries(kinds=(COMMISSIONED, THERMAL))):
        if entry.kind == COMMISSIONED:
            if entry.read(Commissioned).mould == mould.name:
                break
            continue
        learned = entry.read(ThermalRecord)
        thermal = learned.thermal
        if learned.mould == mould.name and thermal is not None:
            sound = all(half.sound() for half in thermal.halves())
            return replace(mould, thermal=thermal if sound else None)
    return replace(mould, thermal=None)

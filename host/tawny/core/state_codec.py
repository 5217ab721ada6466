"""The state as bytes, for a record that replays: exactly the state, or a refusal."""

from __future__ import annotations

import msgspec

from tawny.core.state import STATE_SCHEMA, State
from tawny.errors import N_, StoreDamagedError, StoreNewerError


class _Kept(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    schema: int
    state: msgspec.Raw


def encode_state(state: State) -> bytes:
    """Return the state as bytes."""
    kept = _Kept(STATE_SCHEMA, msgspec.Raw(msgspec.msgpack.encode(state)))
    return msgspec.msgpack.encode(kept)


def decode_state(data: bytes) -> State:
    """Return the state that `encode_state` was given.

    Raises:
        StoreNewerError: If a later version of the program wrote it.
        StoreDamagedError: If it is no state.
    """
    try:
        kept = msgspec.msgpack.decode(data, type=_Kept)
        if kept.schema > STATE_SCHEMA:
            raise StoreNewerError(
                N_(
                    "a kept state is of schema {found}, this program reads up to {newest}; "
                    "update the program"
                ),
                found=kept.schema,
                newest=STATE_SCHEMA,
            )
        return msgspec.msgpack.decode(kept.state, type=State)
    except (msgspec.DecodeError, ValueError) as error:
        raise StoreDamagedError(
            N_("a kept state cannot be read: {reason}"), reason=str(error)
        ) from error

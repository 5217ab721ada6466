"""A record that fails its own checks is left as it is, and a copy is kept beside it."""

from __future__ import annotations

import hashlib
import shutil
from typing import TYPE_CHECKING

from tawny.errors import N_, StoreDamagedError

if TYPE_CHECKING:
    from pathlib import Path


def damaged(file: Path, why: str) -> StoreDamagedError:
    """Keep a copy of a damaged record and return the error that says where."""
    try:
        kept = str(keep_copy(file))
    except OSError:
        kept = ""
    if not kept:
        return StoreDamagedError(
            N_(
                "{file} is damaged ({why}); it is left as it is, no copy could be made:"
                " copy it by hand"
            ),
            file=file,
            why=why,
        )
    return StoreDamagedError(
        N_(
            "{file} is damaged ({why}); it is left as it is and a copy kept as {copy};"
            " go on in another folder (--home)"
        ),
        file=file,
        why=why,
        copy=kept,
    )


def keep_copy(file: Path) -> Path:
    """Copy a damaged record and its log beside it, once for the same bytes."""
    number = 1
    while (kept := file.with_name(f"{file.name}.damaged-{number}")).exists():
        if _same(kept, file):
            return kept
        number += 1
    copied: list[Path] = []
    try:
        for suffix in ("", "-wal"):
            source = file.with_name(file.name + suffix)
            if source.exists():
                copied.append(kept.with_name(kept.name + suffix))
                shutil.copyfile(source, copied[-1])
    except OSError:
        for half_made in copied:
            half_made.unlink(missing_ok=True)
        raise
    return kept


def _same(one: Path, other: Path) -> bool:
    if one.stat().st_size != other.stat().st_size:
        return False
    with one.open("rb") as a, other.open("rb") as b:
        return (
            hashlib.file_digest(a, "sha256").digest() == hashlib.file_digest(b, "sha256").digest()
        )

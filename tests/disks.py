"""Disks that fill up, break, or lose power, as SQLite file layers under the real record."""

from __future__ import annotations

# ruff: noqa: D102, N802 - the methods are SQLite's, named and described there
import random
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any

import apsw

if TYPE_CHECKING:
    from apsw import URIFilename

SECTOR = 512


class PowerGoneError(apsw.IOError):
    """Nothing is written any more."""


class TroubledDisk(apsw.VFS):
    """Writes go through until `trouble` is set, then each raises it; syncs wait on `answers`."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.trouble: apsw.Error | None = None
        self.answers = threading.Event()
        self.answers.set()
        self.asked = threading.Event()
        super().__init__(name, "")

    def xOpen(self, name: str | URIFilename | None, flags: list[int]) -> apsw.VFSFile:
        return _TroubledFile(self, name, flags)


class _TroubledFile(apsw.VFSFile):
    def __init__(
        self, disk: TroubledDisk, name: str | URIFilename | None, flags: list[int]
    ) -> None:
        self._disk = disk
        super().__init__("", name, flags)

    def xWrite(self, data: Any, offset: int) -> None:
        if self._disk.trouble is not None:
            raise self._disk.trouble
        super().xWrite(data, offset)

    def xSync(self, flags: int) -> None:
        self._disk.asked.set()
        if not self._disk.answers.wait(10):
            raise apsw.IOError
        super().xSync(flags)


class PowerCutDisk(apsw.VFS):
    """Keeps beside each file what a power cut would leave of it.

    A write reaches the platter at the next sync of its file; until then each of its sectors of 512
    bytes may or may not have. `left` counts down the writes and syncs until the power goes.
    """

    def __init__(self, name: str) -> None:
        self.name = name
        self.left: int | None = None
        self.files: dict[Path, _Platter] = {}
        super().__init__(name, "")

    def xOpen(self, name: str | URIFilename | None, flags: list[int]) -> apsw.VFSFile:
        text = name.filename() if isinstance(name, apsw.URIFilename) else name
        platter = None
        if text and flags[0] & (apsw.SQLITE_OPEN_MAIN_DB | apsw.SQLITE_OPEN_WAL):
            path = Path(text)
            kept = path.read_bytes() if path.exists() else b""
            platter = self.files.setdefault(path, _Platter(kept))
        return _PowerCutFile(self, platter, name, flags)

    def xDelete(self, filename: str, syncdir: bool) -> None:  # noqa: FBT001
        self.count()
        self.files.pop(Path(filename), None)
        super().xDelete(filename, syncdir)

    def count(self) -> None:
        """Use up one operation."""
        if self.left is None:
            return
        if self.left <= 0:
            raise PowerGoneError
        self.left -= 1

    def leave(self, folder: Path, chance: random.Random) -> None:
        """Write into a folder what the platter holds after the cut."""
        for path, platter in self.files.items():
            (folder / path.name).write_bytes(platter.after_cut(chance))


class _Platter:
    """One file as the platter holds it, and what was written since the last sync."""

    def __init__(self, kept: bytes) -> None:
        self.kept = bytearray(kept)
        self.loose: list[tuple[int, bytes | None]] = []  # offset and data; None: cut to this size

    def sync(self) -> None:
        for offset, data in self.loose:
            _apply(self.kept, offset, data)
        self.loose.clear()

    def after_cut(self, chance: random.Random) -> bytes:
        image = bytearray(self.kept)
        for offset, data in self.loose:
            if data is None:
                if chance.random() < 0.5:
                    _apply(image, offset, None)
                continue
            for start in range(0, len(data), SECTOR):
                if chance.random() < 0.5:
                    _apply(image, offset + start, data[start : start + SECTOR])
        return bytes(image)


def _apply(image: bytearray, offset: int, data: bytes | None) -> None:
    if data is None:
        del image[offset:]
        return
    if len(image) < offset:
        image.extend(bytes(offset - len(image)))
    image[offset : offset + len(data)] = data


class _PowerCutFile(apsw.VFSFile):
    def __init__(
        self,
        disk: PowerCutDisk,
        platter: _Platter | None,
        name: str | URIFilename | None,
        flags: list[int],
    ) -> None:
        self._disk, self._platter = disk, platter
        super().__init__("", name, flags)

    def xWrite(self, data: Any, offset: int) -> None:
        self._disk.count()
        if self._platter is not None:
            self._platter.loose.append((offset, bytes(data)))
        super().xWrite(data, offset)

    def xTruncate(self, newsize: int) -> None:
        self._disk.count()
        if self._platter is not None:
            self._platter.loose.append((newsize, None))
        super().xTruncate(newsize)

    def xSync(self, flags: int) -> None:
        self._disk.count()
        super().xSync(flags)
        if self._platter is not None:
            self._platter.sync()

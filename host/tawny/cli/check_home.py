"""Checks of the home folder: settings, the record, and the disk it lies on."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from tawny.cli.commission_show import reminders
from tawny.cli.findings import Finding, Level, Machine
from tawny.core.messages import Here
from tawny.core.record import HeatGone
from tawny.settings.home import Home
from tawny.settings.workshop import load_workshop
from tawny.store.folder import file_system
from tawny.store.reader import Reader
from tawny.store.verdict import Verdict
from tawny.words import _, ngettext, sentence_of
from tawny.words.numbers import number

_FREE_LEAST_MB, _FREE_LOW_MB = 100.0, 1000.0


def settings(home: Home) -> Iterator[Finding]:
    """Look at press, moulds and recipes."""
    if home.root.exists() and not home.root.is_dir():
        yield Finding(
            "settings",
            Level.MEND,
            _("{path} is a file, not a folder").format(path=home.root),
            _("choose another folder with --home"),
        )
        return
    if not home.settled:
        yield Finding(
            "settings",
            Level.LOOK,
            _("{path} holds no settings yet").format(path=home.root),
            _("tawny demo tries everything on a simulated press"),
        )
        return
    workshop = load_workshop(home)
    said = _("{press} of {workshop}: {moulds}, {recipes}").format(
        press=workshop.press.name,
        workshop=workshop.press.workshop,
        moulds=ngettext("{count} mould", "{count} moulds", len(workshop.moulds)).format(
            count=len(workshop.moulds)
        ),
        recipes=ngettext("{count} recipe", "{count} recipes", len(workshop.recipes)).format(
            count=len(workshop.recipes)
        ),
    )
    if workshop.simulated:
        said = _("{said}; SIMULATED").format(said=said)
    yield Finding("settings", Level.GOOD, said)
    for note in workshop.notes:
        yield Finding("settings", Level.LOOK, sentence_of(note), _("write it in degC to be sure"))


def record(home: Home) -> Iterator[Finding]:
    """Look at the record, without changing it."""
    if not home.store.exists():
        yield Finding("record", Level.GOOD, _("no record yet; it begins with the first start"))
        return
    with Reader.open(home.root) as reader:
        verdict = reader.verify()
        if not verdict.sound:
            yield Finding(
                "record",
                Level.MEND,
                _("{path} is damaged: {why}").format(path=home.store, why=_damage(verdict)),
                _("copy the whole folder, keep it, and go on in another one: --home DIR"),
            )
            return
        last = reader.parts(1)
        yield Finding(
            "record",
            Level.GOOD,
            _("{path}, last part {part}, last hash {hash}…").format(
                path=home.store,
                part=last[0].part_id if last else _("none"),
                hash=reader.last_hash()[:12],
            ),
        )
        for left in reader.spooled():
            yield Finding(
                "record",
                Level.LOOK,
                _("pressing {pressing} is open or was interrupted").format(
                    pressing=left.pressing_id
                ),
                _("if no press runs, the next start seals it and shows its rescue card"),
            )


def relays(home: Home) -> Iterator[Finding]:
    """Tell how often relays have switched: they wear out by that, and are parts to replace."""
    if not (home.settled and home.store.exists()):
        return
    if load_workshop(home).press.output != "relay":
        return
    with Reader.open(home.root) as reader:
        ends = [entry.read(HeatGone).operations for entry in reader.entries(kinds=("heat_gone",))]
    said = _(
        "in this record the upper relay has switched on {upper} times, the lower {lower} times"
    ).format(
        upper=number(sum(end.get("upper", 0) for end in ends), 0),
        lower=number(sum(end.get("lower", 0) for end in ends), 0),
    )
    yield Finding("relays", Level.GOOD, said, _("compare it with the life their maker gives"))


def commissioning(home: Home, met: Sequence[Here] = ()) -> Iterator[Finding]:
    """Look whether each mould was commissioned, not too long ago and with this board.

    Args:
        home: Whose settings and record.
        met: The board that answered, if one did.
    """
    if not home.settled:
        return
    if load_workshop(home).simulated:
        said = _("simulated: nothing is due")
        yield Finding("commissioning", Level.GOOD, said)
        return
    board, build = (met[0].board, met[0].build) if met else ("", "")
    found = reminders(home, board=board, build=build)
    for said in found:
        yield Finding("commissioning", Level.LOOK, said, "tawny commission --mould NAME")
    if not found:
        said = _("every mould is commissioned, none of them a year ago or longer")
        yield Finding("commissioning", Level.GOOD, said)


def _damage(verdict: Verdict) -> str:
    """Return what of a record no longer fits together."""
    if verdict.broken_seq is not None:
        said = _("entry {number} was changed, or one before it is missing ({code})")
        return said.format(number=verdict.broken_seq, code=verdict.why)
    if verdict.why == "models":
        return _("its lists do not agree with its journal")
    return _("its pages do not fit together")


def disk(home: Home, machine: Machine) -> Iterator[Finding]:
    """Look at the file system of the home folder, or of where it would be made."""
    folder = _existing(home.root)
    mounts = machine.text("proc/self/mountinfo")
    system = file_system(folder, mounts) if mounts else None
    if system is None:
        yield Finding("file system", Level.LOOK, _("the kind of file system is not known"))
    elif system.network:
        yield Finding(
            "file system",
            Level.MEND,
            _("{path} is on {kind}, on another machine, where a record can be lost").format(
                path=folder, kind=system.kind
            ),
            _("keep the home folder on a local disk and export copies: --home DIR"),
        )
    elif system.unordered:
        yield Finding(
            "file system",
            Level.LOOK,
            _("{mount} is mounted with data=writeback, which a power cut can damage").format(
                mount=system.mount
            ),
            _("mount it with data=ordered"),
        )
    else:
        yield Finding("file system", Level.GOOD, f"{system.kind}, {system.mount}")
    yield _room(folder)
    yield _writable(folder)


def _existing(folder: Path) -> Path:
    while not folder.is_dir():
        folder = folder.parent
    return folder


def _room(folder: Path) -> Finding:
    free_mb = shutil.disk_usage(folder).free / 1e6
    said = _("{free} MB free").format(free=number(free_mb, 0))
    if not free_mb >= _FREE_LEAST_MB:
        return Finding("room", Level.MEND, said, _("free some space: a full disk stops the record"))
    if not free_mb >= _FREE_LOW_MB:
        return Finding("room", Level.LOOK, said, _("free some space soon"))
    return Finding("room", Level.GOOD, said)


def _writable(folder: Path) -> Finding:
    try:
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        return Finding(
            "rights",
            Level.MEND,
            _("{path} cannot be written: {reason}").format(path=folder, reason=error.strerror),
            _("make it yours (chown), or choose another folder with --home"),
        )
    return Finding("rights", Level.GOOD, _("{path} can be written").format(path=folder))

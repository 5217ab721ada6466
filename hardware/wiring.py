"""The net list and the parts that it joins, with what can be proved of them."""

from __future__ import annotations

import csv
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from pins import FOLDER, TableError

PARTS = FOLDER / "parts.csv"
WIRING = FOLDER / "wiring.csv"
# What stands inside some of those parts, drawn once for all that are alike.
CIRCUIT_PARTS = FOLDER / "circuit_parts.csv"
CIRCUIT_WIRING = FOLDER / "circuit_wiring.csv"

# Which wires may share a duct. Between two classes only a part that separates them may stand.
CLASSES = ("mains", "earth", "chain", "low", "probe", "computer")
LAYERS = ("2", "3", "F", "E", "-")
VARIANTS = (
    *("all", "ssr", "relay", "two-zone"),
    *("next", "call", "mould-switch", "identity", "force"),
)
SEPARATIONS = ("-", "functional", "reinforced")


@dataclass(frozen=True)
class Part:
    """One part of the list.

    Attributes:
        part: Its mark, the same on drawings, in the enclosure and in the pages.
        what: A class of parts, never a make.
        layer: Which protection it belongs to, as in hazards.md.
        variants: What it is needed for.
        separates: How far it keeps classes of wires apart: `reinforced`, `functional` or `-`.
        paths: Pairs of terminals that conduct while it lets current through.
    """

    part: str
    what: str
    rating: str
    why: str
    layer: str
    variants: tuple[str, ...]
    separates: str
    paths: tuple[tuple[str, str], ...]
    notes: str


@dataclass(frozen=True, order=True)
class End:
    """One terminal of a part."""

    part: str
    terminal: str

    def __str__(self) -> str:
        return f"{self.part}.{self.terminal}"


@dataclass(frozen=True)
class Net:
    """What is joined by wire."""

    name: str
    wires: str  # one of CLASSES
    ends: tuple[End, ...]


def _rows(table: Path, columns: list[str]) -> list[dict[str, str]]:
    with table.open(encoding="ascii", newline="") as file:
        rows = csv.DictReader(file, strict=True)
        if rows.fieldnames != columns:
            raise TableError(f"{table.name}: the columns are {rows.fieldnames}, not {columns}")
        return list(rows)


def read_parts(table: Path = PARTS) -> dict[str, Part]:
    """Return the parts by their marks.

    Raises:
        TableError: For the first row that cannot be meant.
    """
    columns = ["part", "what", "rating", "why", "layer", "variant", "separates", "paths", "notes"]
    parts: dict[str, Part] = {}
    for row in _rows(table, columns):
        part = Part(
            part=row["part"],
            what=row["what"],
            rating=row["rating"],
            why=row["why"],
            layer=row["layer"],
            variants=tuple(row["variant"].split()),
            separates=row["separates"],
            paths=tuple(
                (pair.split("-")[0], pair.split("-")[1])
                for pair in row["paths"].split()
                if pair != "-"
            ),
            notes=row["notes"],
        )
        if part.part in parts:
            raise TableError(f"{part.part} stands twice in the list of parts")
        if part.layer not in LAYERS or part.separates not in SEPARATIONS:
            raise TableError(f"{part.part}: layer or separation is not one of those known")
        if not part.variants or not set(part.variants) <= set(VARIANTS):
            raise TableError(f"{part.part}: {row['variant']!r} names no variant")
        if not (part.what and part.rating and part.why):
            raise TableError(f"{part.part}: say what it is, its rating, and why")
        parts[part.part] = part
    return parts


def read_nets(table: Path = WIRING) -> dict[str, Net]:
    """Return the nets by name.

    Raises:
        TableError: For a class that is not known, a terminal on two nets, or a net with one end.
    """
    wires: dict[str, str] = {}
    ends: dict[str, list[End]] = defaultdict(list)
    seen: set[End] = set()
    for row in _rows(table, ["net", "class", "part", "terminal"]):
        name, end = row["net"], End(row["part"], row["terminal"])
        if row["class"] not in CLASSES or wires.setdefault(name, row["class"]) != row["class"]:
            raise TableError(f"{name}: {row['class']} is not its class")
        if end in seen:
            raise TableError(f"{end} is wired twice")
        seen.add(end)
        ends[name].append(end)
    for name, those in ends.items():
        if len(those) < 2:
            raise TableError(f"{name}: a wire has two ends, this one only {those[0]}")
    return {name: Net(name, wires[name], tuple(those)) for name, those in ends.items()}


def reaches(
    parts: dict[str, Part],
    nets: dict[str, Net],
    start: str,
    goal: str,
    *,
    opened: Iterable[str] = (),
) -> bool:
    """Return whether current can flow from one net to another.

    Args:
        parts: All contacts closed but those opened.
        nets: What is wired.
        start: Name of a net.
        goal: Name of another.
        opened: Marks of parts that let nothing through, or `part.terminal` for one path only.
    """
    cut = set(opened)
    net_of = {end: net.name for net in nets.values() for end in net.ends}
    near: dict[str, set[str]] = defaultdict(set)
    for part in parts.values():
        for one, two in part.paths:
            if part.part in cut or f"{part.part}.{one}" in cut:
                continue
            ends = End(part.part, one), End(part.part, two)
            if all(end in net_of for end in ends):
                near[net_of[ends[0]]].add(net_of[ends[1]])
                near[net_of[ends[1]]].add(net_of[ends[0]])
    found, todo = {start}, [start]
    while todo:
        fresh = near[todo.pop()] - found
        found |= fresh
        todo += fresh
    return goal in found


def mixed_parts(nets: dict[str, Net]) -> dict[str, set[str]]:
    """Return each part that has wires of more than one class, earth left out, with the classes."""
    classes: dict[str, set[str]] = defaultdict(set)
    for net in nets.values():
        if net.wires != "earth":
            for end in net.ends:
                classes[end.part].add(net.wires)
    return {part: those for part, those in classes.items() if len(those) > 1}

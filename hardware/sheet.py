"""A sheet of drawing: symbols whose terminals have places, and wires drawn from the net list."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from pins import TableError
from wiring import End, Net, Part

INK = "#111111"
# Colour, width and dashes of each class of wire: they differ in width and dashes too, for print.
WIRES = {
    "mains": ("#8a1010", 3.4, ""),
    "earth": ("#1d5a1d", 2.4, "10 3 2 3"),
    "chain": ("#123a86", 2.2, ""),
    "low": (INK, 1.2, ""),
    "probe": ("#5c3d00", 1.6, "5 3"),
    "computer": ("#444444", 1.6, "2 3"),
}
SAID = {
    "mains": "mains",
    "earth": "protective earth",
    "chain": "24 V coil chain",
    "low": "5 V",
    "probe": "thermocouple",
    "computer": "USB",
}
RAILS = {"V5": "5 V", "V33": "3.3 V", "GND": "GND", "M24": "0 V of 24 V", "PE": "PE"}
STEP = 60  # height of a two-terminal symbol
CAUTION = (
    "Example wiring, tried in simulation only, not certified. "
    "The rules of your country and a licensed electrician stand above it."
)

Place = tuple[float, float]


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


class Sheet:
    """One drawing. Terminals are put down by symbols, then joined by the nets of the list."""

    def __init__(
        self,
        title: str,
        size: tuple[int, int],
        parts: dict[str, Part],
        nets: dict[str, Net],
    ) -> None:
        self.title = title
        self.width, self.height = size
        self.parts = parts
        self.nets = nets
        self.at: dict[End, Place] = {}
        self.wired: set[End] = set()
        self._wires: list[str] = []
        self._marks: list[str] = []
        self._used: set[str] = set()
        self._net_of = {end: net for net in nets.values() for end in net.ends}

    # Plain shapes.

    def line(self, *points: Place, width: float = 1.4, dash: str = "", colour: str = INK) -> None:
        """Draw a line through points."""
        self._marks.append(self._polyline(points, colour, width, dash))

    def rect(self, x: float, y: float, w: float, h: float, *, fill: str = "none") -> None:
        """Draw a rectangle."""
        self._marks.append(
            f'<rect x="{_n(x)}" y="{_n(y)}" width="{_n(w)}" height="{_n(h)}" fill="{fill}" '
            f'stroke="{INK}" stroke-width="1.4"/>'
        )

    def shape(self, *points: Place, fill: str = "none") -> None:
        """Draw a closed shape."""
        path = " ".join(f"{_n(x)},{_n(y)}" for x, y in points)
        self._marks.append(
            f'<polygon points="{path}" fill="{fill}" stroke="{INK}" stroke-width="2"/>'
        )

    def circle(self, x: float, y: float, radius: float, *, fill: str = "none") -> None:
        """Draw a circle."""
        self._marks.append(
            f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}" fill="{fill}" stroke="{INK}" '
            'stroke-width="1.4"/>'
        )

    def text(
        self,
        x: float,
        y: float,
        said: str,
        *,
        size: float = 13,
        anchor: str = "start",
        bold: bool = False,
    ) -> None:
        """Write one line."""
        weight = ' font-weight="bold"' if bold else ""
        self._marks.append(
            f'<text x="{_n(x)}" y="{_n(y)}" font-size="{_n(size)}" text-anchor="{anchor}"{weight}>'
            f"{escape(said)}</text>"
        )

    def note(self, x: float, y: float, *lines: str, size: float = 12) -> None:
        """Write lines below each other."""
        for number, said in enumerate(lines):
            self.text(x, y + number * size * 1.3, said, size=size)

    def label(self, part: str, x: float, y: float, *, anchor: str = "start") -> None:
        """Write a part's mark, what it is, and its rating, as the list of parts has them."""
        entry = self.parts[part]
        self.text(x, y, part, anchor=anchor, bold=True)
        what, rating = (said.split(";")[0] for said in (entry.what, entry.rating))
        for number, said in enumerate((what, rating) if rating != "-" else (what,)):
            self.text(x, y + 14 + 13 * number, said, size=11, anchor=anchor)

    # Terminals and wires.

    def terminal(self, part: str, name: str, x: float, y: float) -> None:
        """Put a terminal down; one that the net list does not know is a slip."""
        end = End(part, name)
        if end not in self._net_of:
            raise TableError(f"{end} is drawn on {self.title!r} but not wired")
        self.at[end] = (x, y)

    def place_of(self, end: str) -> Place:
        """Return where a terminal, `part.terminal`, lies."""
        part, name = end.split(".", 1)
        return self.at[End(part, name)]

    def join(
        self, name: str, *, x: float | None = None, y: float | None = None, only: Sequence[str] = ()
    ) -> None:
        """Draw a net over those of its terminals that lie on this sheet.

        Args:
            name: Of the net.
            x: Of the vertical line that they all go to sideways ...
            y: ... or of the level one that they go to up or down; neither for two in a line.
            only: The terminals to take, `part.terminal`, where not all.
        """
        net = self.nets[name]
        ends = [end for end in net.ends if end in self.at and (not only or str(end) in only)]
        if len(ends) < 2:
            raise TableError(f"{name}: nothing to join on {self.title!r}")
        points = [self.at[end] for end in ends]
        lines: list[list[Place]]
        if x is not None:
            feet = [(x, place[1]) for place in points]
            lines = [[place, foot] for place, foot in zip(points, feet, strict=True)]
            lines.append([min(feet, key=lambda f: f[1]), max(feet, key=lambda f: f[1])])
        elif y is not None:
            feet = [(place[0], y) for place in points]
            lines = [[place, foot] for place, foot in zip(points, feet, strict=True)]
            lines.append([min(feet), max(feet)])
        else:
            (x1, y1), (x2, y2) = points
            if x1 != x2 and y1 != y2:
                raise TableError(f"{name}: its two terminals do not lie in a line")
            feet, lines = [], [points]
        dots = self._meetings(feet, points)
        self._wire(net, lines, ends, dots)

    def flag(self, end: str, side: str, said: str = "") -> None:
        """End a terminal's wire in a flag that names where it goes on.

        Args:
            end: The terminal, `part.terminal`.
            side: `left`, `right`, `up` or `down`.
            said: In place of what the net list gives.
        """
        x, y = self.place_of(end)
        part, name = end.split(".", 1)
        net = self._net_of[End(part, name)]
        dx, dy = {"left": (-1, 0), "right": (1, 0), "up": (0, -1), "down": (0, 1)}[side]
        to = (x + 18 * dx, y + 18 * dy)
        self._wire(net, [[(x, y), to]], [End(part, name)], [])
        if net.wires == "earth":
            self._earth(*to, dx, dy)
            return
        others = ", ".join(str(other) for other in net.ends if str(other) != end)
        said = said or RAILS.get(net.name) or f"to {others}"
        colour = WIRES[net.wires][0]
        tip = (to[0] + 6 * dx, to[1] + 6 * dy)
        self._marks.append(
            f'<circle cx="{_n(to[0])}" cy="{_n(to[1])}" r="3" fill="white" stroke="{colour}"/>'
        )
        if dx:
            self.text(tip[0], tip[1] + 4, said, size=11, anchor="start" if dx > 0 else "end")
        else:
            self.text(tip[0], tip[1] + (9 if dy > 0 else 0), said, size=11, anchor="middle")

    def svg(self) -> str:
        """Return the drawing, with a legend of its classes of wire and the caution."""
        unwired = sorted(str(end) for end in self.at if end not in self.wired)
        if unwired:
            raise TableError(f"{self.title!r}: no wire ends at {', '.join(unwired)}")
        marks, self._marks = self._marks, []
        self.text(24, 36, self.title, size=20, bold=True)
        self._legend()
        self.text(24, self.height - 16, CAUTION, size=12)
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{self.width}" height="{self.height}" '
            f'viewBox="0 0 {self.width} {self.height}" font-family="sans-serif" fill="{INK}">'
        )
        white = f'<rect width="{self.width}" height="{self.height}" fill="white"/>'
        lines = [head, f"<title>{escape(self.title)}</title>", white]
        lines += [*self._wires, *marks, *self._marks, "</svg>", ""]
        return "\n".join(lines)

    # Inner ones.

    @staticmethod
    def _polyline(points: Sequence[Place], colour: str, width: float, dash: str) -> str:
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        path = " ".join(f"{_n(x)},{_n(y)}" for x, y in points)
        return (
            f'<polyline points="{path}" fill="none" stroke="{colour}" '
            f'stroke-width="{_n(width)}"{dashes}/>'
        )

    @staticmethod
    def _meetings(feet: Sequence[Place], points: Sequence[Place]) -> list[Place]:
        """Where three wires meet."""
        if len(feet) < 3:
            return []
        ends = {min(feet), max(feet)}
        dots = {foot for foot in feet if foot not in ends}
        # At an end of the trunk wires meet where two terminals have their foot, or one lies on it.
        dots |= {foot for foot in ends if feet.count(foot) > 1}
        return sorted(dots - {p for p in points if feet.count(p) == 0})

    def _wire(
        self,
        net: Net,
        lines: Sequence[Sequence[Place]],
        ends: Sequence[End],
        dots: Sequence[Place],
    ) -> None:
        colour, width, dash = WIRES[net.wires]
        self._used.add(net.wires)
        self.wired |= set(ends)
        inside = [self._polyline(points, colour, width, dash) for points in lines]
        inside += [f'<circle cx="{_n(x)}" cy="{_n(y)}" r="4" fill="{colour}"/>' for x, y in dots]
        for end in ends:
            x, y = self.at[end]
            inside.append(
                f'<circle data-end="{end}" cx="{_n(x)}" cy="{_n(y)}" r="2.6" fill="white" '
                f'stroke="{colour}"/>'
            )
        self._wires.append(f'<g data-net="{net.name}">{"".join(inside)}</g>')

    def _earth(self, x: float, y: float, dx: int, dy: int) -> None:
        """The bars of an earth symbol, across the wire that ends here."""
        for number, half in enumerate((9, 6, 3)):
            cx, cy = x + 4 * number * dx, y + 4 * number * dy
            self.line(
                (cx - half * abs(dy), cy - half * abs(dx)),
                (cx + half * abs(dy), cy + half * abs(dx)),
                width=1.8,
                colour=WIRES["earth"][0],
            )

    def _legend(self) -> None:
        x = 24.0
        for kind, (colour, width, dash) in WIRES.items():
            if kind in self._used:
                y = self.height - 40.0
                self._marks.append(self._polyline([(x, y), (x + 44, y)], colour, width, dash))
                self.text(x + 50, y + 4, SAID[kind], size=12)
                x += 80 + 7 * len(SAID[kind])

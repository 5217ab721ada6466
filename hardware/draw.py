"""Makes what is drawn from the tables of this folder: `python hardware/draw.py [--header]`.

Without an option all drawings and the firmware's header, with it the header alone.
"""

from __future__ import annotations

import sys
from pathlib import Path

from pins import FOLDER, HEADER, header_text, read_pins
from sheet import Sheet
from sheets_circuits import circuits
from sheets_control import box_of_next, controller, inputs
from sheets_overview import layers, probes
from sheets_power import chain, power
from wiring import CIRCUIT_PARTS, CIRCUIT_WIRING, read_nets, read_parts


def sheets() -> dict[Path, Sheet]:
    """Return every drawing by the file that it belongs into."""
    parts, nets = read_parts(), read_nets()
    drawn = {
        "layers": layers(parts, nets),
        "power": power(parts, nets),
        "chain": chain(parts, nets),
        "controller": controller(parts, nets, read_pins()),
        "inputs": inputs(parts, nets, read_pins()),
        "circuits": circuits(parts | read_parts(CIRCUIT_PARTS), read_nets(CIRCUIT_WIRING)),
        "next-box": box_of_next(parts, nets),
        "probes": probes(parts, nets),
    }
    return {FOLDER / f"{name}.svg": sheet for name, sheet in drawn.items()}


def main(arguments: list[str]) -> int:
    """Write what the tables give."""
    if arguments not in ([], ["--header"]):
        sys.stderr.write(f"{__doc__}\n")
        return 2
    HEADER.write_text(header_text(read_pins()), encoding="ascii")
    if not arguments:
        for path, sheet in sheets().items():
            path.write_text(sheet.svg(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

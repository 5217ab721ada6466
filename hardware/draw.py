"""Makes what is drawn from the tables of this folder: `python hardware/draw.py [--header]`."""

from __future__ import annotations

import sys

from pins import HEADER, header_text, read_pins


def main(arguments: list[str]) -> int:
    """Write the firmware's header."""
    if arguments not in ([], ["--header"]):
        sys.stderr.write(f"{__doc__}\n")
        return 2
    HEADER.write_text(header_text(read_pins()), encoding="ascii")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

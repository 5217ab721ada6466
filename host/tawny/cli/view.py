"""The dashboard in a process of its own: `python -m tawny.cli.view HOME [no-mouse] [light]`."""

from __future__ import annotations

import sys
from pathlib import Path

NO_MOUSE, LIGHT = "no-mouse", "light"


def main(arguments: list[str]) -> int:
    """Show the press of a home folder until the person leaves."""
    from tawny.cli.main import choose_language  # noqa: PLC0415 - before any sentence is made

    choose_language()
    from tawny.desk.client import DeskClient  # noqa: PLC0415
    from tawny.settings.home import Home  # noqa: PLC0415
    from tawny.ui.app import run_dashboard  # noqa: PLC0415

    viewer = DeskClient(Home(Path(arguments[0])).socket)
    return run_dashboard(
        viewer,
        mouse=NO_MOUSE not in arguments[1:],
        theme="light" if LIGHT in arguments[1:] else "dark",
    )


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))

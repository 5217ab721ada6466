"""`tawny check` on a press with relays: how often they have switched."""

from __future__ import annotations

from pathlib import Path

from tawny.cli import check_home
from tawny.cli.findings import Level
from tawny.settings.demo import lay_demo
from tawny.settings.home import Home
from tawny.store.store import Store


def test_check_tells_how_often_relays_have_switched(tmp_path: Path) -> None:
    """Summed over every end of heat; an output that does not wear by switching is not counted."""
    home = lay_demo(Home(tmp_path))
    with Store.open(home.root, simulated=True) as store:
        for count in (120, 3):
            ended = {"cause": "heat_off", "operations": {"upper": count, "lower": count + 1}}
            store.append("heat_gone", ended, who="board", utc_ms=1_750_000_000_000, mono_ms=count)
        # One of an earlier program.
        store.append("heat_gone", {"cause": "heat_off"}, who="board", utc_ms=1, mono_ms=9)
    assert list(check_home.relays(home)) == []
    text = home.press.read_text(encoding="utf-8")
    relay = text.replace('kind = "ssr"', 'kind = "relay"').replace(
        'window = "1 s"', 'window = "20 s"'
    )
    assert relay != text
    home.press.write_text(relay, encoding="utf-8")
    (found,) = check_home.relays(home)
    assert "123 times, the lower 125 times" in found.said
    assert found.level is Level.GOOD

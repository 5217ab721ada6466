"""The compiled image keeps the wire contract: the same tests as the simulated board's."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

pytest.register_assert_rewrite(
    "board_rig",
    "contract_hand",
    "contract_limits",
    "contract_off_limits",
    "contract_output",
    "contract_rate",
    "contract_refusal",
    "contract_session",
    "contract_state",
    "contract_trip",
)

# Imported after the asserts of these files are made to explain themselves.
from board_rig import MakeRig, Rig  # noqa: E402
from contract_hand import ButtonContract, CommissioningContract  # noqa: E402
from contract_limits import (  # noqa: E402
    DisagreeContract,
    NoRiseContract,
    OverTemperatureContract,
    SensorContract,
)
from contract_off_limits import (  # noqa: E402
    ContactorContract,
    FullDutyContract,
    StuckContract,
    WeldedContract,
)
from contract_output import OpenContract, OutputContract, PresenceContract  # noqa: E402
from contract_rate import RateContract  # noqa: E402
from contract_refusal import RefusalContract  # noqa: E402
from contract_session import LineContract, LogContract, SessionContract  # noqa: E402
from contract_state import ArmingContract, StateContract  # noqa: E402
from contract_trip import SilenceContract, TripContract  # noqa: E402
from elf_rig import ElfRig  # noqa: E402


@pytest.fixture
def make_rig() -> Iterator[MakeRig]:
    """Makes boards of other builds; none of them may have done what no image must."""
    made: list[ElfRig] = []

    def make(**options: Any) -> ElfRig:
        made.append(ElfRig(**options))
        return made[-1]

    yield make
    for rig in made:
        assert rig.misused() == {}


@pytest.fixture
def rig(make_rig: MakeRig) -> Rig:
    """The board under test."""
    return make_rig()


class TestElfSession(SessionContract):
    """Sections 2 and 3."""


class TestElfLine(LineContract):
    """Section 1."""


class TestElfRefusal(RefusalContract):
    """Sections 2 and 4."""


class TestElfLog(LogContract):
    """Section 5."""


class TestElfState(StateContract):
    """Section 6.1."""


class TestElfArming(ArmingContract):
    """Section 6.2."""


class TestElfSilence(SilenceContract):
    """Section 6.3."""


class TestElfTrip(TripContract):
    """Section 6.1."""


class TestElfOverTemperature(OverTemperatureContract):
    """Section 6.5."""


class TestElfSensor(SensorContract):
    """Section 6.5."""


class TestElfDisagree(DisagreeContract):
    """Section 6.5."""


@pytest.mark.slow
class TestElfNoRise(NoRiseContract):
    """Section 6.5."""


@pytest.mark.slow
class TestElfRate(RateContract):
    """Section 6.5."""


@pytest.mark.slow
class TestElfWelded(WeldedContract):
    """Section 6.5."""


@pytest.mark.slow
class TestElfStuck(StuckContract):
    """Section 6.5."""


@pytest.mark.slow
class TestElfFullDuty(FullDutyContract):
    """Section 6.5."""


class TestElfContactor(ContactorContract):
    """Section 6.5."""


@pytest.mark.slow
class TestElfOutput(OutputContract):
    """Section 6.4."""


@pytest.mark.slow
class TestElfOpen(OpenContract):
    """Section 6.6."""


@pytest.mark.slow
class TestElfPresence(PresenceContract):
    """Section 6.7."""


@pytest.mark.slow
class TestElfCommissioning(CommissioningContract):
    """Section 6.8."""


class TestElfButton(ButtonContract):
    """Section 6.9."""

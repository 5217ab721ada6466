"""The board's pure C keeps the wire contract, on this machine."""

from __future__ import annotations

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
from board_rig import MakeRig  # noqa: E402
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
from core_rig import CoreRig  # noqa: E402


@pytest.fixture
def rig() -> CoreRig:
    """The board under test."""
    return CoreRig()


@pytest.fixture
def make_rig() -> MakeRig:
    """Makes boards of other builds."""
    return CoreRig


class TestCoreSession(SessionContract):
    """Sections 2 and 3."""


class TestCoreLine(LineContract):
    """Section 1."""


class TestCoreRefusal(RefusalContract):
    """Sections 2 and 4."""


class TestCoreLog(LogContract):
    """Section 5."""


class TestCoreState(StateContract):
    """Section 6.1."""


class TestCoreArming(ArmingContract):
    """Section 6.2."""


class TestCoreSilence(SilenceContract):
    """Section 6.3."""


class TestCoreTrip(TripContract):
    """Section 6.1."""


class TestCoreOverTemperature(OverTemperatureContract):
    """Section 6.5."""


class TestCoreSensor(SensorContract):
    """Section 6.5."""


class TestCoreDisagree(DisagreeContract):
    """Section 6.5."""


class TestCoreNoRise(NoRiseContract):
    """Section 6.5."""


class TestCoreRate(RateContract):
    """Section 6.5."""


class TestCoreWelded(WeldedContract):
    """Section 6.5."""


class TestCoreStuck(StuckContract):
    """Section 6.5."""


class TestCoreFullDuty(FullDutyContract):
    """Section 6.5."""


class TestCoreContactor(ContactorContract):
    """Section 6.5."""


class TestCoreOutput(OutputContract):
    """Section 6.4."""


class TestCoreOpen(OpenContract):
    """Section 6.6."""


class TestCorePresence(PresenceContract):
    """Section 6.7."""


class TestCoreCommissioning(CommissioningContract):
    """Section 6.8."""


class TestCoreButton(ButtonContract):
    """Section 6.9."""

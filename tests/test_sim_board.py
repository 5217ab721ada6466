"""The simulated board keeps the wire contract; the contract's tests serve any other board too."""

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
from board_rig import MakeRig, SimRig  # noqa: E402
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


@pytest.fixture
def rig() -> SimRig:
    """The board under test."""
    return SimRig()


@pytest.fixture
def make_rig() -> MakeRig:
    """Makes boards of other builds."""
    return SimRig


class TestSimSession(SessionContract):
    """Sections 2 and 3."""


class TestSimLine(LineContract):
    """Section 1."""


class TestSimRefusal(RefusalContract):
    """Sections 2 and 4."""


class TestSimLog(LogContract):
    """Section 5."""


class TestSimState(StateContract):
    """Section 6.1."""


class TestSimArming(ArmingContract):
    """Section 6.2."""


class TestSimSilence(SilenceContract):
    """Section 6.3."""


class TestSimTrip(TripContract):
    """Section 6.1."""


class TestSimOverTemperature(OverTemperatureContract):
    """Section 6.5."""


class TestSimSensor(SensorContract):
    """Section 6.5."""


class TestSimDisagree(DisagreeContract):
    """Section 6.5."""


class TestSimNoRise(NoRiseContract):
    """Section 6.5."""


class TestSimRate(RateContract):
    """Section 6.5."""


class TestSimWelded(WeldedContract):
    """Section 6.5."""


class TestSimStuck(StuckContract):
    """Section 6.5."""


class TestSimFullDuty(FullDutyContract):
    """Section 6.5."""


class TestSimContactor(ContactorContract):
    """Section 6.5."""


class TestSimOutput(OutputContract):
    """Section 6.4."""


class TestSimOpen(OpenContract):
    """Section 6.6."""


class TestSimPresence(PresenceContract):
    """Section 6.7."""


class TestSimCommissioning(CommissioningContract):
    """Section 6.8."""


class TestSimButton(ButtonContract):
    """Section 6.9."""

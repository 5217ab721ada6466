"""Sentences and numbers as people read them."""

from __future__ import annotations

import ast
import gettext
import io
import os
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import tawny
from tawny.core import names
from tawny.core.alarm_list import ALARMS as DECIDED
from tawny.core.snapshot import AlarmView, Code, Permissive
from tawny.words import commission, numbers, sentences, tables, thermal, use_language, vocabulary
from tawny.words.alarms import ALARMS

PACKAGE = Path(tawny.__file__).parent


def _listed(codes: str) -> list[str]:
    return codes.split()


SENTENCE_CODES = _listed(
    """
connect wrong_device version_refused link_lost start_day need_empty_dry arm press_arm tripped
mains_off heat_off_button preheat soak ready clean oil fill fill_slow close breathe breathe_wait
hold hold_no_topup release open demould cool touchable paused rescue learning no_desk
half_warmed dry_out dry_out_stalled ready_standby demould_first_off standby manual_heat manual_time
manual_ceiling manual_doubt
"""
)
REFUSAL_CODES = _listed(
    """
not_at_desk stale_phase too_soon held_key not_allowed_now permissive unknown_recipe unknown_alarm
not_shelvable alarm_true not_connected not_ready bad_version rescue_first rescue_steps_left
manual_limits
"""
)
PERMISSIVE_CODES = _listed(
    """
in_band soaked armed mould_closed mould_open sensors_good not_tripped recording confirmed_empty
mains rescue_done desk_taken mould_in_use breaths_done
"""
)
ALARM_CODES = _listed(
    """
overtemp_host deviation_high deviation_low disagree sensor_bad link_lost link_stale board_tripped
board_reset heat_off_button mains_lost limit_chain duty_refused hold_too_long mould_left_open
fell_fast presence_due desk_empty store_full store_stalled store_failed interrupted clock_step
dry_out_stalls bad_lines loop_late no_rise non_finite version_refused wrong_device
"""
)
RESCUE_CODES = _listed(
    """
heat_stays_off stand_aside let_down_steps wait_hiss finish_stored_heat take_out gap_marked
look_cause
"""
)


@pytest.fixture
def zone() -> Iterator[None]:
    """Set a fixed time zone, three hours east of UTC."""
    before = os.environ.get("TZ")
    os.environ["TZ"] = "EAST-3"
    time.tzset()
    yield
    os.environ.pop("TZ")
    if before is not None:
        os.environ["TZ"] = before
    time.tzset()


def test_words_has_a_sentence_for_every_code_of_the_contract() -> None:
    """No code that the core may send is without its own words."""
    assert set(SENTENCE_CODES) <= tables.SENTENCES.keys()
    assert set(REFUSAL_CODES) <= tables.REFUSALS.keys()
    assert set(PERMISSIVE_CODES) <= tables.PERMISSIVES.keys()
    assert set(ALARM_CODES) <= ALARMS.keys()
    assert set(RESCUE_CODES) <= tables.RESCUE_STEPS.keys()


def _codes_built_in(folder: Path) -> dict[str, set[str]]:
    """Find every literal code in a call of Code, Permissive or AlarmView."""
    found: dict[str, set[str]] = {"Code": set(), "Permissive": set(), "AlarmView": set()}
    for path in folder.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name)):
                continue
            if node.func.id not in found:
                continue
            named = [k.value for k in node.keywords if k.arg in {"code", "alarm"}]
            for value in (*node.args[:1], *named):
                if isinstance(value, ast.Constant) and isinstance(value.value, str):
                    found[node.func.id].add(value.value)
    return found


def test_words_has_a_sentence_for_every_alarm_of_the_core() -> None:
    """Each alarm decided beforehand has its two sentences."""
    assert DECIDED.keys() <= ALARMS.keys()


def test_words_has_a_sentence_for_every_reason_of_the_port() -> None:
    """The codes that a port's failure carries are all among the link's reasons."""
    page = (PACKAGE / "link" / "port.py").read_text(encoding="utf-8")
    codes = set(re.findall(r'code="(\w+)"|"code": "(\w+)"', page))
    assert {one or other for one, other in codes} <= tables.LINK_REASONS.keys()
    assert len(codes) > 4


def test_words_has_a_sentence_for_every_code_the_program_builds() -> None:
    """A code written anywhere below the screens is found in one of the tables."""
    everything = ALARMS.keys()
    for table in (
        *(tables.SENTENCES, tables.AHEAD, tables.REFUSALS),
        *(tables.LINK_REASONS, tables.GOODBYES),
        *(commission.FAILURES, commission.NOTES, commission.DUE, thermal.REFUSALS),
    ):
        everything |= table.keys()
    for layer in ("core", "link", "store", "service", "desk", "sim", "cli"):
        found = _codes_built_in(PACKAGE / layer)
        assert found["Code"] <= everything, layer
        assert found["Permissive"] <= tables.PERMISSIVES.keys(), layer
        assert found["AlarmView"] <= ALARMS.keys(), layer


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        (vocabulary.HALVES, names.Half),
        (vocabulary.PHASES, names.Phase),
        (vocabulary.BOARD_STATES, names.BoardState),
        (vocabulary.FIRST_OUTS, names.FirstOut),
        (vocabulary.RESET_CAUSES, names.ResetCause),
        (vocabulary.LINKS, names.LinkStatus),
        (vocabulary.QUALITIES, names.Quality),
        (vocabulary.RESULTS, names.Result),
        (vocabulary.PRIORITIES, names.Priority),
        (vocabulary.ALARM_STATES, names.AlarmState),
    ],
)
def test_words_names_every_member_of_every_enum(words: dict[object, str], kind: type) -> None:
    """Each name of the field has a word, and no two of one kind share it."""
    assert set(words) == set(kind)  # type: ignore[call-overload]
    assert len(set(words.values())) == len(words)


def test_words_knows_every_lock_reason_of_the_protocol() -> None:
    """The words of PROTOCOL.md's `stat` line for `why` all have a phrase."""
    page = (PACKAGE.parents[1] / "firmware" / "PROTOCOL.md").read_text(encoding="utf-8")
    said = re.search(r"`why` says why the board is not ready:(.*?)\. `uc`", page, re.DOTALL)
    assert said is not None
    assert set(re.findall(r"`(\w+)`", said[1])) == vocabulary.LOCK_REASONS.keys()


def test_words_puts_values_into_the_sentence() -> None:
    """Fields are written by the unit that ends their name."""
    hold = Code("hold", {"topup_force": 110.0, "force_unit": "bar"})
    assert sentences.sentence(hold) == (
        "Hold. Top up the pressure when the gauge falls to 110 bar."
    )
    fill = Code("fill", {"cavities": 2, "charge_g": 38.0, "water_g": 6.1})
    assert sentences.sentence(fill) == "Fill 38.0 g into each cavity, 6.1 g of it water."
    lost = Code("link_lost", {"silence_s": 4.2})
    assert sentences.sentence(lost).startswith("No word from the board for 4 s.")
    tripped = Code("tripped", {"first_out": "overtemp"})
    assert sentences.sentence(tripped).startswith("Heat stays off: the mould was too hot.")
    stale = Code("stale_phase", {"phase": "release"})
    assert sentences.refusal(stale).startswith("The press has gone on to release")
    missing = Code("permissive", {"code": "in_band", "upper_k": -4.2, "lower_k": 2.0})
    assert sentences.refusal(missing) == ("First: both halves in band (upper -4 K, lower +2 K).")
    soaked = Permissive(code="soaked", met=False, fields={"left_s": 75.0})
    assert sentences.permissive(soaked) == "heated through, 1:15 min"


def test_words_takes_the_shorter_sentence_when_a_field_is_absent() -> None:
    """A time that is not known yet is left out, not shown as a dash."""
    assert sentences.sentence(Code("preheat")) == "Heating up. Lay out gloves, oil and jig."


def test_words_tells_of_an_alarm_what_happened_and_what_to_do() -> None:
    """Each alarm has two sentences that fit a line of 80 columns beside its time and key."""
    fields = {
        "half": "upper",
        "value_c": 201.2,
        "limit_c": 200.0,
        "deviation_k": 12.0,
        "silence_s": 125.0,
        "first_out": "selftest",
        "reset_cause": "brownout",
        "why": "limit",
        "left_s": 119.0,
        "pressing": "0142",
    }
    for code in ALARM_CODES:
        words = sentences.alarm_words(code, fields)
        assert words.what != words.do
        assert 10 < len(words.what) <= 56, words.what
        assert 10 < len(words.do) <= 70, words.do


@pytest.mark.parametrize("code", ["", "not_invented_yet", "{", "{0}", "{x!r}"])
def test_words_says_an_unknown_code_plainly(code: str) -> None:
    """A code from a later version gives a readable sentence that names it."""
    for said in (
        sentences.sentence(Code(code)),
        sentences.refusal(Code(code)),
        sentences.cause(Code(code)),
        sentences.goodbye(Code(code)),
        sentences.permissive(Permissive(code=code, met=False)),
        sentences.rescue_step(code),
        sentences.alarm_words(code, {}).what,
    ):
        assert f"“{code}”" in said


@given(
    code=st.sampled_from(SENTENCE_CODES + REFUSAL_CODES + PERMISSIVE_CODES + ALARM_CODES),
    fields=st.dictionaries(
        st.sampled_from(
            ["half", "phase", "code", "first_out", "left_s", "ready_at_utc_ms", "value_c", "done"]
        ),
        st.one_of(st.text(max_size=8), st.integers(0, 2**40), st.floats(), st.booleans()),
    ),
)
def test_words_never_falls_over_a_field(code: str, fields: dict[str, object]) -> None:
    """Whatever the fields hold, there is a sentence, and no place is left open in it."""
    said = Code(code, fields)  # type: ignore[arg-type]
    for text in (sentences.sentence(said), sentences.refusal(said), sentences.cause(said)):
        assert text
        assert "{" not in text or "{" in str(fields)


def test_words_never_calls_anything_safe() -> None:
    """No sentence promises safety, fitness for food, or conformity."""
    everything = str(
        (
            *(tables.SENTENCES, tables.AHEAD, tables.REFUSALS, tables.PERMISSIVES),
            *(tables.RESCUE_STEPS, ALARMS),
            *(commission.STEPS, commission.DOES, commission.FAILURES, commission.NOTES),
        )
    ).lower()
    for promise in ("safe", "certif", "complies", "compliant"):
        assert promise not in everything


def test_words_release_is_said_in_full() -> None:
    """The release asks for time, distance and patience, and gives no figure."""
    assert sentences.sentence(Code("release")) == (
        "Release slowly, in steps. Stand aside. Wait until the hissing stops."
    )


@pytest.mark.usefixtures("zone")
def test_words_shows_alarm_states_in_the_words_of_the_shop() -> None:
    """Returned, shelved and latched alarms are named as an operator would."""

    def state(value: names.AlarmState, until: int | None = None) -> str:
        view = AlarmView(
            alarm="disagree",
            state=value,
            priority=names.Priority.MEDIUM,
            since_utc_ms=0,
            first_out=False,
            shelvable=True,
            latching=False,
            quiet_until_utc_ms=until,
        )
        return sentences.alarm_state(view)

    assert state(names.AlarmState.RETURNED) == "gone, not seen"
    assert state(names.AlarmState.LATCHED_SEEN) == "needs reset"
    at_14_20_local = (11 * 60 + 20) * 60_000
    assert state(names.AlarmState.SHELVED, at_14_20_local) == "quiet until 14:20"


def test_words_stands_by_the_source_when_a_translation_is_broken(tmp_path: Path) -> None:
    """A place misspelt by a translator costs the translation, not the screen."""
    from babel.messages import Catalog
    from babel.messages.mofile import write_mo

    catalogue = Catalog(locale="de", domain="tawny")
    catalogue.add("Ready. Go on when the charge is weighed and at hand.", "Bereit. {")
    catalogue.add("Oil both halves, thinly. Gloves on.", "Beide Hälften dünn ölen.")
    folder = tmp_path / "de" / "LC_MESSAGES"
    folder.mkdir(parents=True)
    buffer = io.BytesIO()
    write_mo(buffer, catalogue)
    (folder / "tawny.mo").write_bytes(buffer.getvalue())
    assert gettext.find("tawny", tmp_path, ["de"]) is not None
    try:
        use_language("de", tmp_path)
        assert sentences.sentence(Code("ready")).startswith("Ready. Go on")
        assert sentences.sentence(Code("oil")) == "Beide Hälften dünn ölen."
    finally:
        use_language(None)
    assert sentences.sentence(Code("oil")).startswith("Oil both halves")


def test_numbers_writes_each_kind_with_its_unit() -> None:
    """Temperatures, differences, masses, fractions and times as DESIGN names them."""
    assert numbers.temperature(181.24) == "181.2 °C"
    assert numbers.difference(-1.4) == "1 K"
    assert numbers.grams(38.0) == "38.0 g"
    assert numbers.percent(0.337) == "34 %"
    assert numbers.litres(10.36) == "10 l"
    assert numbers.litres(3.14) == "3.1 l"
    assert numbers.seconds(8.4) == "8 s"
    assert numbers.seconds(59.6) == "1:00 min"
    assert numbers.seconds(125.0) == "2:05 min"
    assert numbers.shortest(110.0) == "110"
    assert numbers.number(-0.04) == "0.0"


@pytest.mark.parametrize(
    ("value_s", "text"),
    [
        (0, "0:00"),
        (59.4, "0:59"),
        (62, "1:02"),
        (3599.6, "1:00:00"),
        (3725, "1:02:05"),
        (-8, "-0:08"),
    ],
)
def test_numbers_writes_minutes_and_seconds(value_s: float, text: str) -> None:
    """Rounding carries into the minute and the hour; the sign stands before."""
    assert numbers.minutes(value_s) == text


@pytest.mark.parametrize("value", [None, float("nan"), float("inf"), float("-inf")])
def test_numbers_writes_a_dash_for_what_is_not_a_number(value: float | None) -> None:
    """An absent or non-finite value never gets a stand-in number, nor a unit."""
    for formatted in (
        numbers.temperature,
        numbers.difference,
        numbers.grams,
        numbers.percent,
        numbers.litres,
        numbers.seconds,
        numbers.minutes,
        numbers.shortest,
        numbers.clock,
    ):
        assert formatted(value) == "–"


def test_words_name_both_halves_where_an_alarm_is_about_both() -> None:
    """An alarm about both halves names both, in the same sentence."""
    said = sentences.alarm_words("sensor_bad", {"half": "both"}).what
    assert said == "HEAT IS OFF: no good reading from the upper and lower sensor."


def test_numbers_follow_the_locale_of_the_reader() -> None:
    """The decimal sign is CLDR's for the locale; an unknown locale keeps the point."""
    try:
        numbers.use_locale("de_DE.UTF-8")
        assert numbers.temperature(181.24) == "181,2 °C"
        numbers.use_locale("en_GB")
        assert numbers.temperature(181.24) == "181.2 °C"
        numbers.use_locale("xx_nowhere")
        assert numbers.temperature(181.24) == "181.2 °C"
    finally:
        numbers.use_locale(None)


@pytest.mark.usefixtures("zone")
def test_numbers_show_local_times_of_day() -> None:
    """Times of day are those of the machine's own zone."""
    assert numbers.clock(0) == "03:00"
    assert numbers.clock(45_296_000, with_seconds=True) == "15:34:56"
    assert sentences.weekday(numbers.local_time(0)) == "Thu"  # 1 January 1970


def test_words_load_no_babel_for_the_decimal_point() -> None:
    """An English reader never pays for the locale tables."""
    code = (
        "import sys; from tawny.words import numbers, sentences; numbers.use_locale('en_GB');"
        "numbers.temperature(181.2); sys.exit('babel' in sys.modules or 'textual' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], check=False)
    assert done.returncode == 0

"""The page for bad moments says what the program says and does."""

from __future__ import annotations

import configparser
import re
import unicodedata
from pathlib import Path

import click
import pytest
from babel.messages.extract import extract_from_dir

import tawny
from tawny.cli.root import COMMANDS, root
from tawny.link.ports import grabbers
from tawny.ui import marks

PACKAGE = Path(tawny.__file__).parent
PAGE = (PACKAGE / "guide" / "troubleshooting.md").read_text(encoding="utf-8")
TESTS = Path(__file__).parent

# What each row of the page rests on: the test that holds the behaviour, or why none can.
SYSTEM = "of the system"
HELD = {
    "`externally-managed-environment`": "test_readme_commands_work_as_written",
    "no module named `venv`": SYSTEM,
    "`No space left on device` while": SYSTEM,
    "packages are compiled": SYSTEM,
    '"can lose rows"': "test_store_refuses_an_old_sqlite",
    '"belongs to the group"': "test_port_without_rights_names_the_group_and_the_command",
    '"Nothing answers on this port yet."': "test_upset_silent_port_is_told_and_nothing_is_sent",
    '"is in use by"': "test_upset_second_copy_on_the_same_board_is_told_who_has_it",
    "the port is there": "test_ports_names_services_that_grab_ports_with_the_line_that_mends_it",
    "connecting takes 15 s": "test_reader_is_patient_with_a_busy_port_for_15_s",
    "the port has another name": "test_ports_lists_stable_names_and_usb_numbers",
    '"is not a press board"': "test_upset_stranger_on_the_port_is_an_alarm_and_never_told_to_heat",
    '"speaks': "test_session_refuses_another_major_version_and_says_which_to_update",
    '"Another program holds the board."': "test_session_says_so_when_another_host_holds_the_board",
    '"No word from the board"': "test_board_killed_in_mid_press_is_noticed_and_comes_back",
    '"The board has started anew"': "test_session_tells_a_reset_in_mid_session_and_greets_again",
    "the board starts again whenever": "test_port_leaves_dtr_up_after_closing",
    "it drops out when a contactor": "test_reader_comes_back_after_a_replug",
    "it drops out at any time": "test_check_finds_a_supply_that_sagged",
    '"Many spoilt lines': "test_session_gives_no_event_for_garbage",
    '"the other one warms it"': "test_halves_too_far_apart_are_told_once_it_has_lasted",
    '"The dry-out has ended"': "test_dry_out_that_does_not_get_warm_ends_without_heat_and_says_so",
    '"Waiting for the program': "test_dashboard_waits_for_an_owner_and_greets_it_again",
    '"the dashboard needs a terminal"': "test_terminal_is_one_only_at_both_ends",
    '"half fell"': "test_faults_take_the_heat_off_and_open_the_contactor",
    '"while heated."': "test_faults_are_named_rightly_within_their_time",
    '"sensor has not moved for"': "test_faults_are_named_rightly_within_their_time",
    '"of heat missing."': "test_faults_are_named_rightly_within_their_time",
    '"HEAT STAYS ON"': "test_faults_see_an_output_that_stays_on_without_any_heat_wanted",
    '"each half answers': "test_faults_are_named_rightly_within_their_time",
    '"less heat than it did."': "test_faults_name_the_supply_where_both_halves_are_weak_alike",
    '"Setpoint out of reach"': "test_faults_say_what_power_a_setpoint_takes_that_is_out_of_reach",
    "figures struck through": "test_dashboard_strikes_old_figures_through",
    '"The screen has died"': "test_terminal_is_whole_after_the_screen_was_killed",
    "the window was closed": "test_upset_signals_end_the_owner_in_good_order",
    "everything ends when you log out": "test_troubleshooting_service_is_one_of_the_system",
    "Ctrl+C, Ctrl+Q": "test_terminal_chord_neither_ends_nor_stops_the_screen",
    '"The key is held down."': "test_random_keys_space_held_down_advances_once",
    "Escape takes half a second": "test_dashboard_lets_a_question_go_unanswered",
    "text cannot be selected": "test_terminal_keeps_its_mouse_when_told_so",
    "no colours": "test_terminal_without_colour_is_grey_throughout",
    "boxes or dots": "test_terminal_of_any_kind_shows_the_press_and_is_whole_after",
    "rows are missing": "test_terminal_of_any_size_is_followed",
    "slow or flickering": "test_dashboard_paints_only_what_changed",
    "odd characters after the mouse": "test_terminal_bytes_that_are_no_text_do_no_harm",
    "it cannot be read aloud": "test_parts_as_json_are_one_object_a_line",
    "a sentence that begins with": "test_bad_input_in_a_file_is_told_before_anything_is_heated",
    '"has a comma"': "test_bad_input_in_a_file_is_told_before_anything_is_heated",
    '"is a temperature where': "test_bad_input_in_a_file_is_told_before_anything_is_heated",
    '"already uses"': "test_upset_second_copy_in_the_same_home_is_refused",
    '"mend its permissions"': "test_bad_input_folder_of_somebody_else_is_told",
    '"is on a network file system"': "test_store_refuses_a_folder_on_a_network",
    '"NOT RECORDING': "test_upset_full_disk_in_mid_press_alarms_and_loses_nothing",
    '"the disk is full; free some': "test_bad_input_disk_without_room_is_told_and_nothing_is_lost",
    '"is damaged"': "test_bad_input_damaged_record_is_kept_and_copied",
    '"install the later program"': "test_bad_input_record_of_a_newer_program_is_left_alone",
    "a copied record is old": "test_store_is_one_file_once_closed",
    '"was interrupted"': "test_owner_killed_in_mid_press_is_sealed_by_the_next",
    "times jump": "test_csv_time_is_given_three_ways",
    "power cuts happen here": "test_store_loses_nothing_acknowledged_in_a_power_cut",
    "everything in one column": "test_csv_for_decimal_commas_opens_in_columns",
    "times are text": "test_csv_time_is_given_three_ways",
    '"Parquet needs pyarrow"': "test_parquet_without_its_extra_is_one_sentence",
    "a script must tell": "test_output_that_nobody_reads_ends_quietly",
    '"a fault in the program"': "test_fault_in_the_program_is_a_report_and_one_sentence",
}


def rows() -> list[str]:
    """Return what stands in the first column of the page's tables."""
    cells = [line.split("|")[1].strip() for line in PAGE.splitlines() if line.startswith("| ")]
    return [cell for cell in cells if cell != "what you see"]


def templates() -> list[str]:
    """Return every sentence of the program."""
    found = extract_from_dir(str(PACKAGE), keywords={"_": None, "N_": None, "ngettext": (1, 2)})
    texts: list[str] = []
    for _file, _line, message, _comments, _context in found:
        texts += message if isinstance(message, tuple) else (message,)
    return texts


def test_troubleshooting_quotes_what_the_program_says() -> None:
    """Every phrase in quotes in the first column stands in a sentence of the program."""
    quoted = {phrase for cell in rows() for phrase in re.findall(r'"([^"]+)"', cell)}
    said = templates()

    assert len(quoted) > 20
    assert {phrase for phrase in quoted if not any(phrase in text for text in said)} == set()


def test_troubleshooting_rows_each_rest_on_a_test() -> None:
    """Each row names a behaviour that a test holds; no row without one, none left over."""
    for cell in rows():
        assert len([start for start in HELD if cell.startswith(start)]) == 1, cell
    assert len(rows()) == len(HELD)
    text = "\n".join(path.read_text(encoding="utf-8") for path in TESTS.glob("test_*.py"))
    held = set(HELD.values()) - {SYSTEM}
    assert {name for name in held if f"def {name}(" not in text} == set()


def test_troubleshooting_names_commands_that_are_there() -> None:
    """Each `tawny ...` of the page is a command, with the options it is given."""
    named = [words.split() for words in re.findall(r"`(?:\w+=\S+ )?tawny ([^`]+)`", PAGE)]

    assert len(named) > 10
    for name, *words in named:
        assert name in COMMANDS
        command = root.get_command(click.Context(root), name)
        assert command is not None
        options = {option for each in command.params for option in each.opts}
        assert {word for word in words if word.startswith("--")} <= options


def test_troubleshooting_rules_are_those_that_check_prints(tmp_path: Path) -> None:
    """The udev lines of the page and of the program are the same, letter for letter."""
    for pid, name in (("7", "ModemManager"), ("8", "brltty")):
        (tmp_path / pid).mkdir()
        (tmp_path / pid / "comm").write_text(f"{name}\n", encoding="utf-8")

    assert [one.rule for one in grabbers(proc=tmp_path)] == [
        line for line in PAGE.splitlines() if line.startswith("SUBSYSTEM==")
    ]


def test_troubleshooting_service_is_one_of_the_system() -> None:
    """A unit for a user of its own, started with the system, that never starts again unasked."""
    unit = configparser.ConfigParser()
    unit.optionxform = str  # type: ignore[assignment, method-assign]
    (text,) = re.findall(r"```ini\n(.*?)```", PAGE, re.DOTALL)
    unit.read_string(text)
    program, command, *options = unit["Service"]["ExecStart"].split()

    assert unit["Service"]["User"] not in {"", "root"}
    assert (Path(program).name, command, options[0]) == ("tawny", "serve", "--home")
    assert unit["Service"]["Restart"] == "no"
    assert unit["Install"]["WantedBy"] == "multi-user.target"
    assert "systemctl --user" not in PAGE


@pytest.mark.parametrize("shapes", [marks.UNICODE, marks.ASCII])
def test_troubleshooting_no_letter_is_two_cells_wide(shapes: marks.Marks) -> None:
    """Wide letters and emoji shift the columns of some terminals: no sentence has one."""
    drawn = [*templates(), *(str(getattr(shapes, name)) for name in shapes.__slots__)]
    wide = {
        letter
        for text in drawn
        for letter in text
        if unicodedata.east_asian_width(letter) in {"W", "F"}
        or letter == "\N{VARIATION SELECTOR-16}"
    }

    assert wide == set()

"""The sentences of commissioning: what each step is about, what to do, what went wrong.

A value is one template, or several of which the first whose fields are all there is used.
"""

from __future__ import annotations

from tawny.errors import N_
from tawny.words.tables import Templates

# Headings: the numbers are those of the form in hardware/commissioning.md.
STEPS: dict[str, Templates] = {
    "person": N_("Who commissions"),
    "second": N_("Who stands at the isolator"),
    "paper": N_("Parts 1 to 3 on paper"),
    "room": N_("Both probes at room temperature (2.4)"),
    "arm_button": N_("ARM/RESET (2.5)"),
    "next_button": N_("NEXT/MARK (2.5)"),
    "mould_switch": N_("Mould switch (2.5)"),
    "call_lamp": N_("Call lamp (2.5)"),
    "buzzer": N_("Buzzer (2.5)"),
    "heat_off": N_("Heat-off button opens the contactor (4.1)"),
    "thermostat": N_("Limit thermostat of the {half} half opens the contactor (4.2, 4.3)"),
    "mains": N_("Mains off and on starts nothing (4.4)"),
    "permission": N_("The board's permission holds the contactor (4.5)"),
    "mirror": N_("Mirror contact shows a contactor that is in (2.5)"),
    "moves": N_("Heat in the {half} half moves the {half} reading (5.1)"),
    "measure": N_("Rise and lag of the {half} half (5.2)"),
    "hot_lamp": N_("HOT lamp (2.2)"),
    "trip_point": N_("Trip point for this mould (7.8)"),
    "store": N_("Store what was measured in slot {slot}"),
    "use": N_("Use slot {slot}"),
    "trip": N_("Set the trip point and read the limits back"),
}

DOES: dict[str, Templates] = {
    "type_person": N_("Type your name."),
    "type_second": N_("Type the name of the second person, who has nothing else to do."),
    "type_paper": N_(
        "Parts 1 to 3 of hardware/commissioning.md are done and signed, with 2.4 and 3.4; 2.2 and"
        " 2.5 are tried once more here, with mains on. The platens are propped, the mould is empty"
        " and closed: type yes."
    ),
    "clear": (
        N_(
            "Wait until the board is at rest: ARM up, no trip, mains on."
            " It is not ready: {lock_reason}."
        ),
        N_("Wait until the board is at rest: ARM up, no trip, mains on."),
    ),
    "type_room": N_(
        'Lay a second thermometer at the mould and wait. Type what it shows, as "21.5 degC".'
    ),
    "hold_arm": N_("Hold ARM down."),
    "let_go_of_arm": N_("Let go of ARM."),
    "press_next": N_("Press NEXT/MARK once."),
    "press_next_again": N_("Press NEXT/MARK once more."),
    "open_mould": N_("Open the mould. Stand aside of the parting line."),
    "close_mould": N_("Close the mould. Keep your hands out of the gap."),
    "type_lamp": N_("Look at the call lamp. Type what it does: off, on or blink."),
    "type_tones": N_("Listen for 15 s. Type how many tones a group has: 0, 1 or 2."),
    "hold_arm_for_contactor": N_(
        "Hold ARM down and keep it down: the contactor comes in. Nothing is heated."
    ),
    "press_heat_off": N_("Press the heat-off button. ARM stays down."),
    "pull_heat_off": N_("Pull the heat-off button out."),
    "contactor_stays_out": N_("Wait: the contactor must stay out."),
    "open_thermostat": N_(
        "Trip the limit thermostat of the {half} half by its test button, or pull its plug."
        " ARM stays down."
    ),
    "reset_trip": N_(
        "Let go of ARM. Reset the thermostat. Then hold ARM/RESET for 3 s and let go."
    ),
    "type_opening": N_(
        "With its sensor back beside the heater, clamped: type the temperature at which it opened"
        ' this thermostat in the dry block, as "252 degC". The weakest part of the mould bears'
        " {rated_c} by its passport."
    ),
    "isolator_off": N_("Switch the isolator off. ARM stays down."),
    "isolator_on": N_("Switch the isolator on. ARM stays up."),
    "pull_usb": N_(
        "Pull the USB plug that feeds the board. After 5 s put it back in. ARM stays down."
    ),
    "type_dropped_at_once": N_("Did the contactor drop at once? Type yes if it did."),
    "isolator_off_and_locked": N_("Switch the isolator off and lock it."),
    "push_armature": N_("Push the contactor's armature in with a rod that does not conduct."),
    "armature_back": N_(
        "Let the armature back. Then hold ARM/RESET for 3 s and let go. Leave the isolator off."
    ),
    "heating_a_moment": N_(
        "Full heat in the {half} half for a moment. ARM stays down; letting go ends it."
    ),
    "rest_before": N_("Wait until both halves are at rest. Leave the mould closed."),
    "heating": N_(
        "Full heat in the {half} half, up to 10 min, never above 100 °C. ARM stays down;"
        " letting go ends it."
    ),
    "rest_after": N_("Leave the mould closed for 5 min: how it cools is measured too."),
    "hot_seen": N_("The board says that the mould is hot."),
    "type_hot_lamp": N_("Look at the HOT lamp, not at the screen. Type yes if it is lit."),
    "type_trip": N_(
        "Type the trip point for this mould, or nothing for {proposed_c}."
        " Its highest setpoint is {setpoint_c}."
    ),
    "store": N_("Keep ARM down: the board stores."),
    "use": N_("The board takes the slot."),
    "trip": N_("Keep ARM down: the board takes the trip point."),
}

FAILURES: dict[str, Templates] = {
    "nothing_seen": N_("The board has not seen it. Look at the wiring of what you moved."),
    "arm_let_go": N_("ARM came up too early; the heat is off. Hold it down until told otherwise."),
    "not_restarted": N_(
        "The board has not started again. Pull its USB plug for 5 s. A supply of its own beside USB"
        " keeps it alive: then fit a plug into that one, isolator off and locked, and pull that."
    ),
    "contactor_not_in": N_(
        "The contactor did not come in. Look at mains, thermostats, heat-off button, start relay"
        " and enable circuit."
    ),
    "contactor_stays_in": N_(
        "THE CONTACTOR STAYS IN although its chain is open. Isolator off now. Find out what bridges"
        " the chain, or whether it is welded."
    ),
    "comes_in_by_itself": N_(
        "THE CONTACTOR CAME IN BY ITSELF. Isolator off now. Look at start relay and holding"
        " contact."
    ),
    "mould_opened": N_("The mould was opened. Close it; this is measured with a closed mould."),
    "other_trip": N_(
        "The board tripped: {first_out}. Find the cause, then hold ARM/RESET for 3 s."
    ),
    "mirror_not_seen": N_(
        "The board did not see the contactor's armature. Look at the mirror contact and its wires."
    ),
    "reversed": N_(
        "The {half} reading falls while it is heated: its wires are the wrong way round somewhere."
        " Look at the colours at every joint."
    ),
    "other_falls": N_(
        "The other reading falls while the {half} half is heated: probes or heaters are swapped,"
        " and its wires are the wrong way round."
    ),
    "swapped": N_(
        "The other half moved first: heaters or probes of the two halves are swapped."
        " Isolator off, then change them over."
    ),
    "does_not_move": N_(
        "The {half} reading did not rise, or no faster than the other. Look at its heater, its"
        " output and its probe."
    ),
    "not_full": N_(
        "Only {percent} % of full heat was delivered to the {half} half. Look at the output"
        " and the supply limit."
    ),
    "too_little": N_(
        "The {half} half rose by less than {least_k}: too little to measure. Let it cool and look"
        " at its heater."
    ),
    "too_strong": N_(
        "The {half} half rises by {rise_mk} mK/s, more than {most_mk}: its heater is too strong."
        " Do not go on."
    ),
    "unlike_its_mass": N_(
        "The {half} half rises by {rise_mk} mK/s; power and mass in its passport say {expected_mk}."
        " Look at probe and heater, and correct the passport."
    ),
    "never_heats_up": N_("The {half} half would not reach {setpoint_c} within 2 h."),
    "no_fit": N_(
        "The temperatures of the {half} half do not show rise and lag. Leave the mould alone"
        " meanwhile; if this comes again, leave and begin anew."
    ),
    "not_hot": N_("The board does not say that the mould is hot. It has cooled: begin anew."),
    "refused": N_("The board refused it: {why}."),
    "limits_differ": N_(
        "The limits read back differ from what was asked or what the settings say: {differs}."
    ),
    "not_read_back": N_("What was stored could not be read back."),
    "board_restarted": N_("The board started again by itself. Look at its supply and its plug."),
    "tripped": N_("The board tripped: {first_out}. Mend the cause, then hold ARM/RESET for 3 s."),
    "no_link": N_(
        "No word from the board, so nothing is known of contactor and heat. Heat goes off by itself"
        " where the board is whole; in doubt isolator off. Check the plug."
    ),
    "no_name": N_("A name has 2 to 80 letters."),
    "same_name": N_("Two people are needed, and this is the same name."),
    "not_yes": N_("That was not yes. Do it first, or mend what is wrong."),
    "other_lamp": N_("The board was asked for something else. Look at the lamp and its wires."),
    "other_tones": N_("The board was asked for something else. Look at the buzzer and its wires."),
    "no_temperature": N_('That is no temperature. Type it with its unit, as "21.5 degC".'),
    "room_range": N_(
        "The room is not between {least_c} and {most_c}. Begin with a mould that is cold."
    ),
    "probe_off": N_(
        "The {half} probe reads {reading_c}, your thermometer {thermometer_c}: more than {within_k}"
        " apart. Wait until the mould is cold; then look at type, polarity and wires of the probe."
    ),
    "opening_range": N_(
        "A limit thermostat must open above {least_c} and at {most_c} at most; the weakest part of"
        " the mould bears {rated_c}. Set it, or fit another."
    ),
    "trip_range": N_(
        "The trip point must be between {least_c} and {most_c}; the highest setpoint of this mould"
        " is {setpoint_c}, its weakest part bears {rated_c}."
    ),
}

NOTES: dict[str, Templates] = {
    "board": N_("Board {board}, build {build}."),
    "not_fitted": N_("Not fitted: noted so."),
    "cannot_skip": N_(
        'No step can be skipped. Type "leave" to end; nothing is recorded then. The board is'
        " changed by the last three steps only."
    ),
    "temperatures": (
        N_("upper {upper_c}, lower {lower_c}"),
        N_("upper {upper_c}"),
    ),
    "measured": N_("{half}: rise {rise_mk} mK/s, lag {lag_s}, heats up in {heat_up_s} (computed)"),
    "other_board": N_(
        "Another board answers, or another build: what was tried so far says nothing of it. Begin"
        " the commissioning anew with it."
    ),
    "left": N_("Left. Heat is off; the board and the record are as they were before."),
    "left_changed": N_(
        "Left while the board was being changed. Heat is off. Commission this mould again before"
        " you use it."
    ),
    "done": N_("Done. Mould {mould} is commissioned and in slot {slot}."),
}

DUE: dict[str, Templates] = {
    "never_commissioned": N_("mould {mould} was never commissioned with this record"),
    "commissioned_long_ago": N_(
        "the commissioning of mould {mould} is {days} days old: the yearly proof test is due"
    ),
    "commissioned_ahead": N_(
        "the commissioning of mould {mould} is dated ahead of this computer's clock, by {days} d:"
        " set the clock; if it is right, nobody knows how old the proof test is"
    ),
    "commissioned_other_board": N_("mould {mould} was commissioned with board {then}, not {board}"),
    "commissioned_other_build": N_(
        "mould {mould} was commissioned with build {then}; the board now has {build}"
    ),
}

"""The sentence of every code: the next action, refusals, permissives, rescue steps, goodbyes.

A value is one template, or several of which the first whose fields are all there is used.
"""

from __future__ import annotations

from tawny.errors import N_

Templates = str | tuple[str, ...]

SENTENCES: dict[str, Templates] = {
    "connect": (
        N_("Looking for the board on {port}. Check that its USB plug is in."),
        N_("Looking for the board. Check that its USB plug is in."),
    ),
    "wrong_device": N_(
        "What answers on this port is not a press board. Put the plug in, or choose another port."
    ),
    "version_refused": (
        N_(
            "The board speaks protocol version {board_version}, this program {host_version}."
            " Update the older of the two."
        ),
        N_("The board and this program are of different versions. Update the older of the two."),
    ),
    "link_lost": N_(
        "No word from the board for {silence_s}. It switches the heat off by itself."
        " Check the USB plug."
    ),
    "start_day": N_("Look into the mould and at the gauge. Then start the day."),
    "need_empty_dry": N_(
        "Empty and dry the mould, clear its vents, let the press down. Then start the day."
    ),
    "arm": N_("Ask for arming. Then press ARM at the board within 10 s."),
    "press_arm": N_("Press ARM at the board now."),
    "tripped": (
        N_(
            "Heat stays off: {first_out}. Mend the cause; once cool, hold RESET at the board"
            " for 2 s."
        ),
        N_("Heat stays off. Mend the cause; once cool, hold RESET at the board for 2 s."),
    ),
    "mains_off": N_("No mains at the press. See to the isolator."),
    "heat_off_button": N_(
        "The heat-off button is in. It does not let the jack down."
        " Pull it out once the reason is gone."
    ),
    "preheat": (
        N_("Heating up. Ready about {ready_at_utc_ms}; lay out gloves, oil and jig."),
        N_("Heating up. Lay out gloves, oil and jig."),
    ),
    "preheat_never_ready": (
        N_(
            "Heating up, but it will never be ready: {goal_c} needs {needs_w}, the {half} half"
            " has {has_w}. Tap h."
        ),
        N_("Heating up, but it will never be ready: too little power. Tap h."),
    ),
    "preheat_never_ready_supply": (
        N_(
            "Heating up, but it will never be ready: {goal_c} needs {needs_w}, the supply is"
            " set to {has_w}. Tap h."
        ),
        N_("Heating up, but it will never be ready: too little supply. Tap h."),
    ),
    "preheat_never_open": N_(
        "The mould is open: heated so it will not get ready. Close it to heat it up."
    ),
    "dry_out": (
        N_(
            "Drying the heaters slowly: stage {stage} of {stages}, {goal_c}. If the"
            " residual-current device trips: stop, call an electrician."
        ),
        N_(
            "Drying the heaters slowly. If the residual-current device trips: stop, call an"
            " electrician."
        ),
    ),
    "dry_out_stalled": N_(
        "The dry-out has ended, no heat is asked for: not warm in two hours. Tap h, then see to"
        " heaters and supply."
    ),
    "half_warmed": (
        N_(
            "The {half} half stays {above_k} above setpoint without heat: the other one warms it."
            " Choose setpoints nearer each other."
        ),
        N_(
            "A half stays above setpoint without heat: the other one warms it. Choose setpoints"
            " nearer each other."
        ),
    ),
    "soak": (
        N_(
            "Heating through: {left_s} more, ready about {ready_at_utc_ms}. Weigh the next charge"
            " meanwhile."
        ),
        N_("Heating through: {left_s} more. Weigh the next charge meanwhile."),
        N_("Heating through. Weigh the next charge meanwhile."),
    ),
    "ready": N_("Ready. Go on when the charge is weighed and at hand."),
    "ready_standby": (
        N_("Ready, and nothing pressed for {idle_s}. Key k rests the mould warm; Space goes on."),
        N_("Ready, and nothing pressed for long. Key k rests the mould warm; Space goes on."),
    ),
    "clean": N_("Clean both halves and the vents. Gloves on."),
    "oil": N_("Oil both halves, thinly. Gloves on."),
    "fill": (
        N_("Fill {charge_g} into each cavity, {water_g} of it water."),
        N_("Fill each cavity with its charge."),
    ),
    "fill_slow": N_("Filling takes long and the mould cools. Close now, or scrap this charge."),
    "close": (
        N_("Close the mould. Pump up to {force} {force_unit}."),
        N_("Close the mould and pump up."),
    ),
    "breathe": (
        N_("Let it breathe: valve open for {open_s}, then closed. {done} of {wanted} done."),
        N_("Let it breathe: open the valve, count two, close it."),
    ),
    "breathe_wait": (
        N_("Keep it closed. Next breath in {next_s}. {done} of {wanted} done."),
        N_("Keep it closed until the next breath."),
    ),
    "hold": (
        N_("Hold. Top up the pressure when the gauge falls to {topup_force} {force_unit}."),
        N_("Hold. Keep an eye on the gauge."),
    ),
    "hold_no_topup": N_("Hold. Leave the pressure as it is."),
    "release": N_("Release slowly, in steps. Stand aside. Wait until the hissing stops."),
    "open": N_("Open slowly and stand aside. If it hisses, stop and wait."),
    "demould": N_("Take it out into the jig. Gloves on."),
    "demould_first_off": N_(
        "Take it out into the jig. Gloves on. First-off: keep it apart and check it."
    ),
    "cool": (
        N_(
            "Heat is off. The mould is still {hottest_c}, touchable about {touchable_utc_ms}:"
            " leave it alone."
        ),
        N_("Heat is off. The mould is still {hottest_c}: leave it alone."),
        N_("Heat is off. The mould is still hot: leave it alone."),
    ),
    "touchable": N_("Both halves read below 45 °C. Feel with care before you touch them."),
    "paused": N_("Paused. The mould stays hot."),
    "standby": (
        N_("Standby: resting warm at {goal_c}, still hot. Key k or Space: back to pressing heat."),
        N_("Standby: resting warm, still hot. Key k or Space: back to pressing heat."),
    ),
    "manual_heat": (
        N_(
            "Heat by hand for {left_s}: upper {upper_duty}, lower {lower_duty}. Stay here. Space:"
            " back to automatic."
        ),
        N_("Heat by hand. Stay here. Space: back to automatic."),
    ),
    "manual_time": N_(
        "Heat by hand is over: its time has passed. No heat is asked for. Space: back to automatic."
    ),
    "manual_ceiling": N_(
        "Heat by hand is over: a half reached its setpoint. No heat is asked for. Space: back to"
        " automatic."
    ),
    "manual_doubt": N_(
        "Heat by hand is over: heat was in doubt. Find out why. Space: back to automatic."
    ),
    "rescue": N_("A pressing was interrupted. Work down the card below, one step at a time."),
    "learning": N_("The mould is being learned. Leave the press as it is until this ends."),
    "no_desk": N_("Nobody is at the desk. Heat goes off within a minute unless somebody comes."),
}

# What is foreseen, beside the sentence. None of it starts, stops or changes heat.
AHEAD: dict[str, Templates] = {
    "press_by": N_(
        "For {at_utc_ms} switch on by {by_utc_ms}, {margin_min} min to spare. It never heats by"
        " itself."
    ),
    "press_by_rests": N_(
        "For {at_utc_ms} heat up again by {by_utc_ms}, {margin_min} min to spare. It never does by"
        " itself."
    ),
    "press_now": (
        N_(
            "For {at_utc_ms} switch on now: ready about {ready_at_utc_ms}. It never heats by"
            " itself."
        ),
        N_("For {at_utc_ms} switch on now. It never heats by itself."),
    ),
    "press_now_rests": N_("For {at_utc_ms} heat up again now. It never does by itself."),
    "press_late_off": (
        N_("Too late for {at_utc_ms}: switched on now, it is ready about {ready_at_utc_ms}."),
        N_("Too late to be ready at {at_utc_ms}."),
    ),
    "press_late_rests": (
        N_("Too late for {at_utc_ms}: if heated now, it is ready about {ready_at_utc_ms}."),
        N_("Too late to be ready at {at_utc_ms}."),
    ),
    "press_late": (
        N_("Ready about {ready_at_utc_ms}, later than {at_utc_ms}, when you want to press."),
        N_("It will not be ready at {at_utc_ms}, when you want to press."),
    ),
    "closing_last": (
        N_("{what} at {at_utc_ms}: last closing {close_by_utc_ms}, {parts} parts left."),
        N_("{what} at {at_utc_ms}: last closing {close_by_utc_ms}."),
    ),
    "closing_none": N_("{what} at {at_utc_ms}: no pressing fits in before it. Close no more."),
    "closing_in_hand_late": N_("{what} at {at_utc_ms}: the part in hand will not be out by then."),
    "never_ready": N_("Never ready: {goal_c} needs {needs_w}, the {half} half has {has_w}."),
    "never_ready_supply": N_(
        "Never ready: {goal_c} needs {needs_w}, the supply is set to {has_w}."
    ),
    "never_open": N_("Not foreseen while the mould is open."),
    "dry_out_stalled": N_("Not foreseen: the dry-out did not get warm."),
    "no_readings": N_("Not foreseen: a temperature is missing."),
    "not_foreseen": N_("Not foreseen: it would take longer than half a day."),
    "room_too_warm": N_("Never touchable: the room is set to {room_c}."),
}

REFUSALS: dict[str, Templates] = {
    "unknown_announcement": N_("That cannot be announced."),
    "announced_past": N_("That time is past. Give one that is still to come."),
    "announced_far": (
        N_("That is more than {most_days} days off. Give a nearer time."),
        N_("That is too far off. Give a nearer time."),
    ),
    "not_at_desk": N_("Only the one at the desk can do that. Take the desk first."),
    "stale_phase": (
        N_("The press has gone on to {phase} meanwhile. Look again, then tap."),
        N_("The press has gone on meanwhile. Look again, then tap."),
    ),
    "too_soon": N_("Too soon after the last tap. Wait a moment, then tap once."),
    "too_late": N_("This came too late: the program stood still. Look again, then repeat it."),
    "held_key": N_("The key is held down. Let go, then tap once."),
    "not_allowed_now": (
        N_("That cannot be done now: the press is at {phase}."),
        N_("That cannot be done now."),
    ),
    "manual_limits": (
        N_("By hand each half takes at most {most_duty}, for at most {most_s}."),
        N_("That is outside the limits of heat by hand."),
    ),
    "permissive": (N_("First: {permissive}."), N_("Something is missing first.")),
    "unknown_recipe": (
        N_("There is no recipe called {name}. Choose one from the list."),
        N_("There is no such recipe. Choose one from the list."),
    ),
    "unknown_alarm": N_("No alarm waits for that any more."),
    "not_shelvable": N_("This alarm cannot be made quiet."),
    "alarm_true": N_("Its cause is still there, so it cannot be reset."),
    "not_seen": N_("Acknowledge it first, then reset it."),
    "already_seen": N_("It is acknowledged already."),
    "not_connected": N_("The board is not connected. Check its USB plug."),
    "not_ready": (
        N_("The board is not ready: {lock_reason}."),
        N_("The board is not ready."),
    ),
    "bad_version": N_("This screen and the owner of the press are of different versions."),
    "rescue_first": N_("Work down the rescue card first."),
    "rescue_steps_left": N_("Not every step of the rescue card is ticked yet."),
    # Why a pressing was cut short, where no alarm says it.
    "heat_off": N_("The heat was switched off by hand."),
    "disarmed": N_("The board was disarmed."),
    "owner_gone": N_("The program that held the press had ended."),
}

PERMISSIVES: dict[str, Templates] = {
    "in_band": (
        N_("both halves in band (upper {upper_k}, lower {lower_k})"),
        N_("both halves in band"),
    ),
    "soaked": (N_("heated through, {left_s}"), N_("heated through")),
    "armed": N_("armed at the board"),
    "mould_closed": N_("mould closed"),
    "mould_open": N_("mould open"),
    "sensors_good": N_("both sensors good"),
    "setpoint_taken": (
        N_("setpoint {setpoint_c} at most {limit_c}, the limit of board and mould"),
        N_("setpoint within the limit of board and mould"),
    ),
    "cut_off_reset": N_("the cut-off's alarm acknowledged and reset"),
    "not_tripped": N_("no trip standing"),
    "recording": N_("recording"),
    "confirmed_empty": N_("mould seen empty and dry, press let down"),
    "mains": N_("mains on"),
    "rescue_done": N_("rescue card done"),
    "desk_taken": N_("somebody at the desk"),
    "mould_in_use": (
        N_("this mould's values stored at the board, in slot {slot}, and in use there"),
        N_("this mould's values stored at the board, and in use there"),
    ),
    "breaths_done": (N_("breaths marked, {done} of {wanted}"), N_("breaths marked")),
}

RESCUE_STEPS: dict[str, Templates] = {
    "heat_stays_off": N_("Leave the heat off. Only a new arming brings it back."),
    "stand_aside": N_("Stand aside of the mould's rim and vents."),
    "let_down_steps": N_("Let the press down slowly, in small steps."),
    "wait_hiss": N_("Wait until the hissing has stopped."),
    "finish_stored_heat": N_("Choose: finish it with the stored heat, or give it up."),
    "take_out": N_("Take it out. Gloves on: the mould is hot."),
    "gap_marked": N_("Know that the gap in its trace is marked."),
    "look_cause": N_("Find the cause before you heat again."),
}

# Why the board is not there, or not used: the link's own reasons.
LINK_REASONS: dict[str, Templates] = {
    "no_board": N_("Nothing answers on this port yet."),
    "board_busy": N_("Another program holds the board. End that program."),
    "bye": N_("The board has ended the session."),
    "no_reply": N_("The board did not answer a request."),
    "port_gone": (N_("{port} has gone. Check the plug."), N_("The port has gone.")),
    "port_absent": (N_("There is no port {port}. Put the board's plug in."), N_("No such port.")),
    "port_busy": (
        N_("{port} is in use by {holder}. End that program."),
        N_("Another program uses the port. End that program."),
    ),
    "port_denied": (
        N_("{user} may not use {port}. What mends it is shown by: tawny check"),
        N_("This user may not use the port. What mends it is shown by: tawny check"),
    ),
    "port_unreachable": (N_("{port} cannot be reached."), N_("The port cannot be reached.")),
    "port_wrong": (N_("{port} is not a serial port that can be used."), N_("Not a usable port.")),
}

GOODBYES: dict[str, Templates] = {
    "owner_ended": N_("The program that ran the press has ended. Heat is off."),
    "owner_failed": N_(
        "A fault ended the program that ran the press. Heat is off. "
        "Look at the press first, then start again."
    ),
    "bad_version": N_("This screen and the owner of the press are of different versions."),
    "bad_message": N_("The owner of the press did not understand this screen. Start it again."),
    "too_many_viewers": N_("Too many screens watch this press already. Close one of them."),
}

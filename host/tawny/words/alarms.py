"""The words of every alarm: what happened, and what to do about it."""

from __future__ import annotations

from tawny.errors import N_
from tawny.words.tables import Templates

# code: (what happened, what to do). On screen each has one line of 80 columns.
ALARMS: dict[str, tuple[Templates, Templates]] = {
    "overtemp_host": (
        (
            N_("HEAT IS OFF: {half} half at {value_c}, limit {limit_c}."),
            N_("HEAT IS OFF: a half is too hot."),
        ),
        N_("Stand clear and let it cool. Look at that half's relay."),
    ),
    "deviation_high": (
        (
            N_("Too hot: {half} half {deviation_k} above setpoint."),
            N_("A half is too far above setpoint."),
        ),
        N_("Wait before you fill. If it goes on rising: heat off."),
    ),
    "deviation_low": (
        (
            N_("Too cool: {half} half {deviation_k} below setpoint."),
            N_("A half is too far below setpoint."),
        ),
        N_("Close the mould if it stands open; else look at its heater."),
    ),
    "disagree": (
        N_("The halves disagree."),
        N_("Is a sensor loose? Parts will differ in shade from side to side."),
    ),
    "sensor_bad": (
        (
            N_("HEAT IS OFF: no good reading from the {half} sensor."),
            N_("HEAT IS OFF: no good reading from a sensor."),
        ),
        N_("Look at its plug and lead before you arm again."),
    ),
    "link_lost": (
        (
            N_("No word from the board for {silence_s}."),
            N_("No word from the board."),
        ),
        N_("It switches the heat off by itself. Check the USB plug."),
    ),
    "link_stale": (
        N_("The readings are old: the board is silent."),
        N_("Check the USB plug. No heat is asked for meanwhile."),
    ),
    "board_tripped": (
        (N_("HEAT IS OFF: {first_out}."), N_("HEAT IS OFF: the board has tripped.")),
        N_("Mend the cause. Reset by hand at the board once it is cool."),
    ),
    "board_reset": (
        (N_("The board has started anew: {reset_cause}."), N_("The board has started anew.")),
        N_("Heat is off. Find out why, then arm again."),
    ),
    "heat_off_button": (
        N_("HEAT IS OFF: the heat-off button was pressed."),
        N_("It does not let the jack down. Pull it out once the reason is gone."),
    ),
    "mains_lost": (
        N_("HEAT IS OFF: no mains at the press."),
        N_("See to the isolator, then arm again."),
    ),
    "limit_chain": (
        N_("HEAT IS OFF: a limit thermostat has opened."),
        N_("Let it cool. Find out why before you reset it by hand."),
    ),
    "duty_refused": (
        (N_("The board refuses to heat: {why}."), N_("The board refuses to heat.")),
        N_("Compare the recipe's setpoint with the limits of mould and board."),
    ),
    "dry_out_stalls": (
        (
            N_("HEAT IS AT 0: no {stage_c} in 2 h of drying out."),
            N_("HEAT IS AT 0: drying out does not get warm."),
        ),
        N_("Heat off. See to heaters and supply, or allow a higher duty."),
    ),
    "hold_too_long": (
        N_("The hold has passed the recipe's longest time."),
        N_("Release now, slowly, in steps. Stand aside."),
    ),
    "mould_left_open": (
        N_("The hot mould stands open."),
        N_("Close it, or take the heat off."),
    ),
    "fell_fast": (
        N_("A half cooled fast: the board holds the heat off."),
        N_("See to mould and sensors. Then heat off, and arm again."),
    ),
    "presence_due": (
        (N_("Is anybody there? Heat goes off in {left_s}."), N_("Is anybody there?")),
        N_("Press any button or pedal at the press."),
    ),
    "desk_empty": (
        N_("Nobody is at the desk."),
        N_("Take the desk, or open the screen again: heat goes off after a minute."),
    ),
    "store_full": (
        N_("NOT RECORDING: the disk is full."),
        N_("Make room on the disk. No new pressing until then."),
    ),
    "store_stalled": (
        N_("NOT RECORDING: the disk does not answer."),
        N_("No new pressing until it does. See what else keeps it busy."),
    ),
    "store_failed": (
        N_("NOT RECORDING: the record cannot be written."),
        N_("No new pressing until it can. Look at it with: tawny check"),
    ),
    "interrupted": (
        (N_("Pressing {pressing} was interrupted."), N_("A pressing was interrupted.")),
        N_("Work down the rescue card; then reset this alarm."),
    ),
    "clock_step": (
        N_("The computer's clock has jumped."),
        N_("Check date and time. Times of day before and after may not agree."),
    ),
    "bad_lines": (
        N_("Many spoilt lines from the board."),
        N_("Look at the USB cable; keep it away from the heater leads."),
    ),
    "loop_late": (
        N_("This computer is too slow for the press."),
        N_("Close other programs. Heat drops out whenever it is late."),
    ),
    "no_rise": (
        (
            N_("HEAT IS OFF: {half} half, {amount_k} of heat missing."),
            N_("HEAT IS OFF: a half does not warm up."),
        ),
        N_("It cools slowly: heater, its fuse, its relay. At once: sensor."),
    ),
    "sensor_loose": (
        (
            N_("HEAT IS OFF: {half} half fell {amount_k} in {span_s}."),
            N_("HEAT IS OFF: a half fell faster than metal can."),
        ),
        N_("No metal cools so fast: seat the sensor in its hole, to the end."),
    ),
    "sensor_reversed": (
        (
            N_("HEAT IS OFF: {half} half fell {amount_k} while heated."),
            N_("HEAT IS OFF: a half falls while it is heated."),
        ),
        N_("The sensor's two wires are exchanged: mend that, mains off."),
    ),
    "sensor_stuck": (
        (
            N_("HEAT IS OFF: {half} sensor has not moved for {span_s}."),
            N_("HEAT IS OFF: a sensor does not move."),
        ),
        N_("A sensor always moves a little. See to its plug and converter."),
    ),
    "heats_unasked": (
        (
            N_("HEAT STAYS ON: {half} half rose {amount_k} unasked."),
            N_("HEAT STAYS ON: a half rises without being heated."),
        ),
        N_("Isolator off now. Then look for an output that does not switch off."),
    ),
    "halves_swapped": (
        N_("HEAT IS OFF: each half answers the other's heat."),
        N_("Sensors or heaters are in each other's plugs. Commission anew."),
    ),
    "heater_weak": (
        (
            N_("The {half} half gets {short_duty} less heat than it did."),
            N_("A half gets less heat than it did."),
        ),
        N_("One heater dead, a loose wire, or insulation lost? It heats on."),
    ),
    "supply_weak": (
        (
            N_("Both halves get {short_duty} less heat than they did."),
            N_("Both halves get less heat than they did."),
        ),
        N_("Measure the supply first; then heaters and insulation. It heats on."),
    ),
    "power_short": (
        (
            N_("Setpoint out of reach: {half} half has {rated_w} W."),
            N_("The setpoint is out of reach."),
        ),
        (
            N_("To hold it takes {power_w} W. Insulate it, or set it lower."),
            N_("Insulate the mould, or set it lower."),
        ),
    ),
    "non_finite": (
        (
            N_("HEAT IS OFF: no number from the {half} half."),
            N_("HEAT IS OFF: no number from a half."),
        ),
        N_("Look at its sensor and the limits in use before you arm again."),
    ),
    "version_refused": (
        (
            N_("The board speaks protocol version {board_version}, this program {host_version}."),
            N_("The board and this program are of different versions."),
        ),
        N_("Update the older of the two. The board is not used until then."),
    ),
    "wrong_device": (
        N_("What answers on this port is not a press board."),
        N_("Put the board's plug in, or choose another port."),
    ),
}

"""What to do in each check of fluids, air, exhaust, calibration, use and papers: title and steps.

What to do in the others stands in `check_step_words`, with what no text here may say.
"""

from __future__ import annotations

from collections.abc import Mapping

PLACE_STEPS: Mapping[str, tuple[str, str]] = {
    "oil_level_dipstick": (
        "Engine oil by the dipstick",
        "Engine off for ten minutes, level ground. Wipe the dipstick, dip again: level, colour, "
        "smell of fuel. Milky or risen oil means: leave it standing.",
    ),
    "coolant_level_cold": (
        "Coolant level, cold",
        "Engine off and cold, below {50 degC}. Look at the level by the mark on the tank, and for "
        "oil or foam in it. The cap stays on unless it is cold.",
    ),
    "soot_stage": (
        "Where the particulate filter stands",
        "Read soot load and stage on the dash or the screen, and the maker's limit in the manual. "
        "Look at the engine oil level and for any fuel or oil leak. Above the limit, with risen "
        "oil or with a leak there is no regeneration by yourself.",
    ),
    "fuel_leak_look": (
        "Look for fuel",
        "Engine off, no flame, no smoking. Look under and along the engine from outside for drops "
        "and wet places, with cardboard and never a hand. If there is any, leave it to the "
        "workshop.",
    ),
    "mechanical_gauge": (
        "Oil pressure by a mechanical gauge",
        "For a workshop, or somebody practised in it: engine off and cold, fit a tested gauge at "
        "the port that the manual names, then read by the manual's own steps, hot idle last. If "
        "the needle does not rise within the seconds that the manual allows, engine off at once.",
    ),
    "workshop_gauge": (
        "The pressure by a workshop's gauge",
        "For a workshop: a tested gauge at the test port that the manual names, pressure let off "
        "before anything is opened; compare with the manual and with the reading.",
    ),
    "arm_mark": (
        "Look at the sensor's arm and its mark",
        "Load on the ground, engine off, key out, nobody between the links. Does the arm stand at "
        "its mark, on the right spline, the rod straight and its ends tight?",
    ),
    "lever_ends": (
        "Do the readings reach both ends",
        "Read the position at both ends of its travel, moved from the seat with nobody near, and "
        "compare with the manual's two values. Smooth but short means: teach the ends anew by the "
        "maker's procedure.",
    ),
    "fitted_before": (
        "What was opened just before",
        "Ask and look in the book: was a part fitted, a plug opened, software loaded or something "
        "adjusted in the ten hours before this first came?",
    ),
    "part_number": (
        "Is it the right part",
        "Engine off. Compare the number on the part with the parts list for this machine's serial "
        "number; alike is not enough.",
    ),
    "taught_record": (
        "Was it taught after fitting",
        "Ask who fitted it, and look in the manual whether this part must be taught or matched. "
        "Was that done, and did it end without an error?",
    ),
    "tyre_size": (
        "Tyres as they are set",
        "Read the size on the tyres, and compare it with the one set on the dash. Were wheels or "
        "tyres changed?",
    ),
    "cooler_clean": (
        "Blow out the coolers",
        "Engine off, key out, fan at rest. Open the screens, and look through the coolers against "
        "the light, each one, charge-air cooler included. Blow out from the clean side, with "
        "goggles, low pressure, a hand's breadth off. Then compare the reading at the same load.",
    ),
    "fan_and_belt": (
        "Fan and belt",
        "Engine off, key out, fan at rest. Belt: torn, shining, or to be pressed in farther than "
        "the manual allows? Fan: blades whole, does it turn freely by hand, is its drive plugged "
        "in?",
    ),
    "charge_air_hoses": (
        "Charge-air hoses and clamps",
        "Engine off and cooled down. Feel along the hoses between turbocharger, cooler and "
        "manifold for splits, oil film and loose clamps, the underside too.",
    ),
    "thermostat_feel": (
        "Does the thermostat open",
        "From a cold start, watch the temperature from the seat: it should rise steadily and stay "
        "near the opening temperature. Engine off; when the fan stands, compare the hose behind "
        "the thermostat with its housing by the infrared thermometer: warm or still cold?",
    ),
    "air_filter": (
        "Air filter",
        "Engine off. Look at the restriction indicator and the filter's face; knock nothing out at "
        "the machine. Change it when the indicator or the manual says so.",
    ),
    "filter_warm": (
        "Does it light with warm oil too",
        "From the seat: low engine speed until the oil is above {40 degC}, then working speed for "
        "half a minute. Does the switch report with cold oil only, with warm oil too, or even with "
        "the engine at rest and key on?",
    ),
    "filter_age": (
        "When was the filter last changed",
        "Look in the service notes: hours since the last change against the manual's interval.",
    ),
    "fluid_level_colour": (
        "Level and colour of the oil",
        "Level ground, loads lowered, engine as the manual says. Read the level; look at the oil "
        "on a white cloth: burnt, milky or foaming?",
    ),
    "find_leak": (
        "Find where it is lost",
        "Engine off, cooled down, loads on the ground, pressure let off. Look from above to below, "
        "with a torch; near lines use cardboard, never a hand.",
    ),
    "water_bowl": (
        "Water in the fuel filter's bowl",
        "Engine off, cold, no flame. Drain a glass from the bowl of the first filter into a jar, "
        "and let it stand: does water settle below the fuel? Close it, catch what drips.",
    ),
    "fuel_filter_tank": (
        "Tank, vent, tap and first filter",
        "Engine off, no flame. Is there fuel in the tank, is the tap open, does the cap let air "
        "in, is the strainer free, when was the filter changed? Lines under pressure stay closed.",
    ),
    "same_delivery": (
        "Has a sister machine the same",
        "Ask: which machines had fuel or DEF from the same delivery, and has another the same "
        "trouble since?",
    ),
    "breather_look": (
        "Crankcase breather",
        "Engine off, cooled down. Look at the breather and its hose: kinked, frozen, full of oil "
        "or sludge?",
    ),
    "linkage_moves": (
        "Does it move freely",
        "Engine off, key out, cold, loads on the ground. Look at the actuator's rod or flap: bent, "
        "sooted, rusty? Move it gently by hand if the manual allows it; does it go all the way?",
    ),
    "where_from": (
        "Where does it come from",
        "Stand clear and listen or look, from several sides: engine, front, drive, rear? With what "
        "does it change: engine speed, ground speed, load, turning? Write it down.",
    ),
    "pto_guards_bolt": (
        "PTO: shaft, clutch and bolt",
        "Engine off, key out, wait for standstill. Look at the shear bolt or clutch, the shaft's "
        "joints and guards, and whether the implement is blocked. A new bolt only of the size and "
        "grade that the manual names.",
    ),
    "regeneration_history": (
        "What became of the last regenerations",
        "Read on the screen: how many started, how many finished, and which condition stood when "
        "one broke off (PTO, speed, cold exhaust, the switch, a fault).",
    ),
    "work_pattern": (
        "How it is worked",
        "Ask the driver: how long are the runs under load, how often does it queue or idle, and is "
        "it switched off while it regenerates?",
    ),
    "inhibit_switch": (
        "The inhibit switch",
        "Key on. Is the switch that holds regeneration back on? In dry crop that is right; on the "
        "road and on bare ground it may come off.",
    ),
    "drop_after_regeneration": (
        "Pressure drop after a whole regeneration",
        "Only with soot below the maker's limit, oil level right and no leak: after a regeneration "
        "that finished, read the pressure drop at the same speed and load as before. Does it fall "
        "well, or stay high?",
    ),
    "ash_hours": (
        "Hours since the filter was cleaned of ash",
        "Look in the service notes, and compare with the manual's interval for ash.",
    ),
    "pressure_lines": (
        "The filter's pressure lines",
        "Engine off, exhaust cold. Look at the two thin lines from the filter to its pressure "
        "sensor: off, split, kinked, changed over, or holding water? They must fall towards the "
        "filter.",
    ),
    "tail_pipe": (
        "Wipe the tail pipe",
        "Engine off, exhaust cold. Wipe inside the tail pipe with a white cloth: behind a sound "
        "filter it stays clean.",
    ),
    "exhaust_leak": (
        "Soot marks along the exhaust",
        "Engine off, exhaust cold. Look at joints, clamps and sensor bosses for black marks and "
        "cracks.",
    ),
    "def_refractometer": (
        "DEF by the refractometer",
        "Engine off. Take a few drops from the tank with a clean cup, and read the concentration "
        "at room temperature; calibrate with clean water first.",
    ),
    "def_look": (
        "Look at the DEF",
        "Take a little from the tank into a clean jar: clear as water, or cloudy, coloured, with a "
        "film of fuel or oil? How old is the drum, and was it sealed?",
    ),
    "def_crust": (
        "White crust at the dosing valve",
        "Engine off, exhaust cold, the pump's after-run over. Look round the dosing valve and its "
        "lines for white crust and drips.",
    ),
    "def_thaw": (
        "Is it only frost",
        "Below {-11 degC} DEF freezes. Let the machine stand in the warm or run for the thaw time "
        "that the manual gives; does it go?",
    ),
    "driver_interview": (
        "Ask the driver",
        "Ask, without blame: what was being done each time, is there a habit with pedal, seat, "
        "lever, PTO or key, and does another driver have it too?",
    ),
    "switch_state_live": (
        "Read the switch while it is used",
        "Machine braked, engine off, key on, everybody clear. Watch the switch's state on the "
        "screen while the driver uses it as meant (sits down and stands up, sets and releases the "
        "lever), five times. Nothing is unplugged.",
    ),
    "switch_place": (
        "Look at the switch's place",
        "Engine off, key out. Is something in the way of the switch, is its bracket bent, does it "
        "meet its stop? It must work as built.",
    ),
    "manual_text": (
        "Read what the manual says of this number",
        "Look up the number as the dash shows it in the operator's or service manual of this "
        "machine, and write down what it names.",
    ),
    "other_codes": (
        "Read the other codes first",
        "Key on: list the active codes of all controllers. Does another fault stand there that "
        "this one follows from? Begin with that one.",
    ),
    "key_off_on": (
        "Key off, wait, key on",
        "Machine braked, engine off. Key off, wait until all is quiet (five minutes), key on: does "
        "it come back at once?",
    ),
    "call_workshop": (
        "Call a workshop",
        "Hand it over with what is known: the sheet with the codes, the recording, and what was "
        "checked. Write down afterwards what they found.",
    ),
}

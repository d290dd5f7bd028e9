"""What to do in each check of plugs, wires, sensors, battery and network: a title, then the steps.

What to do in the others stands in `check_place_words`. Nothing here may tell how to get round a
switch that keeps people safe, or how to make a starter turn by other means than its key.
"""

from __future__ import annotations

from collections.abc import Mapping

WIRE_STEPS: Mapping[str, tuple[str, str]] = {
    "adapter_unplugged": (
        "Unplug our adapter first",
        "Key off, take the listening adapter out of the diagnostic socket, key on again and watch "
        "the dash for two minutes. Write down whether the trouble stays away without it.",
    ),
    "look_at_plug": (
        "Look into the plug",
        "Engine off, key out. Open the plug of this part and look with a torch: water, green or "
        "white crust, a pin bent or pushed back, a seal missing, a wire that comes out by a gentle "
        "pull. Dry it, close it until it clicks.",
    ),
    "harness_chafe": (
        "Follow the wires",
        "Engine off, key out. Follow the wires from the part to where they enter the main harness. "
        "Look where they bend or rub: at the articulation and the axle with the steering at one "
        "lock and then the other, at clamps, edges, hot parts and where animals nest.",
    ),
    "wiggle_live": (
        "Move the plug and watch the reading",
        "Key on, engine off. One person watches the reading on the screen; the other moves the "
        "plug, then the wires hand by hand along their way. A jump or a drop-out at one place is "
        "the answer; do it twice.",
    ),
    "wiggle_code": (
        "Move the plug and watch the code",
        "Key on, engine off. One person watches the list of active codes; the other moves the "
        "plug, then the wires hand by hand along their way. Wait some seconds at each place, for a "
        "code comes late.",
    ),
    "reference_voltage": (
        "Measure the sensor's supply",
        "Engine off, plug of the sensor open, key on. Meter on volts between the supply pin and "
        "the ground pin of the harness side. The manual's wiring page tells the pins.",
    ),
    "supply_unplug_one_by_one": (
        "Find who pulls the supply down",
        "Engine off, key on, meter on the sensor supply. Open the plugs of the pressure senders "
        "that share this supply one after another, by the wiring page, and close each again; "
        "pedals, brakes, steering and every safety switch stay plugged in. The sender with which "
        "the voltage comes back, or its wire, is the one.",
    ),
    "ground_drop": (
        "Measure the voltage lost in the ground wire",
        "Engine off, key on, everything plugged in. Meter on volts between the ground pin of this "
        "part (probed from behind, not pierced) and the minus post of the battery.",
    ),
    "sensor_resistance": (
        "Measure the sensor's resistance",
        "Engine off, key out, plug open. Meter on ohm across the sensor's two pins, and note the "
        "temperature at the sensor. The manual's table is best; without it the common curves "
        "serve.",
    ),
    "exhaust_sensor_resistance": (
        "Measure the exhaust sensor's resistance, cold",
        "Engine off, key out, exhaust cold, plug open. Meter on ohm across the two pins, and note "
        "the temperature. A sensor with its own electronics, or a thermocouple, cannot be measured "
        "so: then answer that it could not be done.",
    ),
    "unplug_test": (
        "Unplug it and see what the reading does",
        "Engine off. Open the plug of this one sensor, then key on and read the value: with wires "
        "and controller in order it goes to an end of its scale. Key off and plug it in again.",
    ),
    "pickup_resistance": (
        "Measure the speed sensor's coil",
        "Engine off, key out, plug open. Meter on ohm across the sensor's two pins. A sensor with "
        "three pins has electronics inside and cannot be measured so: then answer that it could "
        "not be done.",
    ),
    "coil_resistance": (
        "Measure the coil",
        "Engine off, key out, plug open. Meter on ohm across the coil's two pins and compare with "
        "the manual, or with another one of the same kind.",
    ),
    "swap_twin": (
        "Change it over with its twin",
        "Engine off, key out, everything cold. Change this part over with the same part at another "
        "place (same part number), and see whether the fault goes with the part or stays at the "
        "place. Never with a part of brakes, steering or a safety switch.",
    ),
    "fuse_and_relay": (
        "Fuse and relay",
        "Key off. Find fuse and relay of this circuit by the lid of the box, pull the fuse, look "
        "at it and at its seat, and put it back. One that is blown is replaced once, by the same "
        "size; if it blows again, stop there.",
    ),
    "pickup_gap": (
        "Speed sensor: tip, gap and ring",
        "Engine off, key out, machine chocked. Take the sensor out, wipe swarf off its tip, turn "
        "nothing by hand that others could start; look at the teeth through the hole and set the "
        "gap by the manual.",
    ),
    "cold_soak": (
        "Compare temperatures after a night's standing",
        "After 8 hours at rest, before starting: key on and read all temperatures. How many "
        "degrees is this one off the middle of the others? No block heater, no sun on one side.",
    ),
    "second_thermometer": (
        "Hold a second thermometer against it",
        "Warm it up from the seat, then engine off and key on again. When fan and shafts stand, "
        "point the infrared thermometer at the metal beside the sensor (dull, not shining), and "
        "read the value at the same moment. How far are they apart?",
    ),
    "oil_pressure_at_rest": (
        "Oil pressure with the engine stopped",
        "Engine stopped for a minute, key on: read the oil pressure. It has to be next to nothing.",
    ),
    "boost_at_rest": (
        "Boost with the engine stopped",
        "Engine stopped for half a minute, key on: read the boost. It has to be next to nothing.",
    ),
    "drop_at_rest": (
        "Filter pressure drop with the engine stopped",
        "Engine stopped for half a minute, key on: read the pressure drop of the particulate "
        "filter. It has to be next to nothing.",
    ),
    "other_pressure_at_rest": (
        "The pressure with everything stopped",
        "Engine stopped for some minutes, loads on the ground, key on: read the pressure. It has "
        "to be next to nothing. If it is not, do not open anything to see.",
    ),
    "speed_compare": (
        "Compare with a second speed",
        "From the seat, at a steady speed on a clear track or with the machine standing: read this "
        "speed and a second one (satellite speed, engine speed, the dash) at the same moment. By "
        "how many percent do they differ, and does one drop out? A second person writes.",
    ),
    "level_by_eye": (
        "Look at the level itself",
        "Engine off, level ground, cold. Look at the level by sight glass, dipstick or tank, and "
        "compare it with the reading.",
    ),
    "pedal_sweep": (
        "Press the pedal slowly and watch",
        "Engine off, key on. Press the pedal slowly to the floor and let it come back, twice, and "
        "watch the reading: smooth from end to end, or with jumps, or short of an end?",
    ),
    "sweep_by_hand": (
        "Move the sensor's own lever and watch",
        "Load on the ground, engine off, key on, nobody between the links. Take the rod off the "
        "sensor's lever, move the lever slowly from end to end by hand, and watch the reading. Put "
        "the rod back as it was.",
    ),
    "battery_rest": (
        "Battery voltage at rest",
        "After some hours at rest, or a minute of lights on and off again: meter on volts across "
        "the battery posts, everything off.",
    ),
    "battery_terminals": (
        "Battery posts and cables",
        "Key off, and wait until the DEF pump has stopped. Turn each clamp by hand: none may move. "
        "Look for white or green crust under it and where the earth cable meets frame and engine; "
        "clean and tighten.",
    ),
    "earth_cable_drop": (
        "Voltage lost in the earth cable while cranking",
        "Engine off: clip the meter between the bare engine block and the battery's minus post, "
        "leads clear of belts and fan, and everybody back. A second person cranks from the seat, "
        "in neutral, park lock on, for three seconds; read the steady value.",
    ),
    "feed_drop": (
        "Voltage lost between battery and fuse box while cranking",
        "Engine off: clip the meter between the battery's plus post and the feed at the fuse box "
        "or after the isolator, leads clear of belts, and everybody back. A second person cranks "
        "from the seat, in neutral, park lock on, for three seconds; read the steady value.",
    ),
    "cranking_drop": (
        "Battery voltage while cranking",
        "Engine off: clip the meter to the battery posts, everybody back. A second person cranks "
        "from the seat, in neutral, park lock on; read the lowest steady value after the first "
        "half second, and note how cold the battery is.",
    ),
    "charging_voltage": (
        "Charging voltage",
        "Engine off: clip the meter to the battery posts, its face turned so that it can be read "
        "well clear of belts and fan. Then, from the seat, engine at 1,500 rpm, lights on: read it "
        "after some minutes.",
    ),
    "bus_60_ohm": (
        "60 ohm between the two bus wires",
        "Key off, wait for the after-run, then the battery switched off. Meter on ohm between CAN "
        "high and CAN low at the diagnostic socket, our adapter unplugged.",
    ),
    "bus_high_volts": (
        "Voltage of CAN high",
        "Key on, engine off, adapter unplugged. Meter on volts between CAN high and ground at the "
        "diagnostic socket: the mean of a busy line.",
    ),
    "unit_power_under_load": (
        "Power of the unit while it works",
        "Engine off, key on. Meter on volts between the battery's plus post and the power pin of "
        "the unit, then between its ground pin and the minus post, with the unit's lamps or valves "
        "switched on from the cab; write down the larger. If something must move for it, nobody "
        "stands near it and the meter's leads are fixed and read from afar.",
    ),
    "breakaway_plug": (
        "The implement's plug",
        "Engine off, key out, implement lowered. Open the plug between tractor and implement: "
        "look at the thick power and ground pins for burns, looseness and crust, and at the cable "
        "where it bends when something lowers or turns. Clean, close, fix it.",
    ),
    "which_units_silent": (
        "Which units are silent",
        "Key on, engine off. Look at the list of controllers heard now: is one missing, or several "
        "at once, or none?",
    ),
}

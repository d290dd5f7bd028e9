"""The words of the pages for what documents hold as keys. Data only."""

from __future__ import annotations

from collections.abc import Mapping

ADVICE: Mapping[str, str] = {
    "stop_now": "Stop now",
    "finish_gently": "Finish gently",
    "keep_working": "Keep working",
    "note_only": "Carry on, and note it",
    "none": "No advice yet",
}
"""What to do, in two or three words."""
ADVICE_ORDER = ("stop_now", "finish_gently", "none", "keep_working", "note_only")
"""In which order the yard is walked: what nobody has judged comes before what is well."""
YARD_HEADS: Mapping[str, str] = {
    "stop_now": "Leave standing",
    "finish_gently": "Only gently",
    "none": "Not judged yet",
    "keep_working": "Can go out",
    "note_only": "Can go out",
}
ENGINE: Mapping[str, str] = {
    "off_at_once": "Off at once.",
    "idle_then_off": "Let it idle for 2 to 3 minutes, then off.",
    "keep_running_until_safe": "Keep it running until the machine is held.",
}
STATES: Mapping[str, str] = {
    "active": "On at the last look",
    "previously_active": "Was on before",
    "pending": "Suspected by the machine, not sure yet",
    "permanent": "Kept by the machine until it has proved itself",
    "cleared": "Wiped from the machine's memory",
    "unknown": "Not known how it stands",
}
LAMPS: Mapping[str, str] = {
    "mil": "engine check lamp",
    "red_stop": "red stop lamp",
    "amber_warning": "amber warning lamp",
    "protect": "protect lamp",
}
LAMP_STATES: Mapping[str, str] = {
    "on": "lit",
    "slow": "flashing slowly",
    "fast": "flashing fast",
}
ENDED: Mapping[str, str] = {
    "healed": "then it healed",
    "key_off": "until the key was turned off",
    "silence": "until the controller fell silent",
    "recording_end": "still on when the recording ended",
    "unknown": "how it ended is not known",
}
CAUSES: Mapping[str, str] = {
    "real_condition": "it is truly so",
    "sensor": "the sensor",
    "wiring": "the wiring",
    "shared_supply": "a supply that several sensors share",
    "low_voltage": "low voltage",
    "network": "the data line between controllers",
    "operator": "the manner of use",
    "calibration": "calibration",
    "inhibited_regeneration": "regenerations that are kept from finishing",
    "ash": "ash in the filter",
}
HELD: Mapping[str, str] = {
    "held": "It held",
    "not_held": "It did not hold",
    "too_early": "Too early to say",
    "unknown": "Not judged yet",
}
SCALES: Mapping[str, str] = {
    "engine_hours": "engine hours",
    "loaded_hours": "hours under load",
    "starts": "starts",
    "key_cycles": "key cycles",
}
KINDS: Mapping[str, str] = {
    "recording": "Recording",
    "live": "Listened to",
    "by_hand": "Written down",
}
QUALITY: Mapping[str, str] = {
    "complete": "Nothing is missing from it.",
    "lossy": "Frames were lost, so its silence proves nothing.",
    "filtered": "The recorder left things out, so its silence proves nothing.",
    "unknown": "Whether anything is missing from it is not known.",
}
RECOGNISED: Mapping[str, str] = {
    "vin": "by its identification number",
    "names": "by its controllers",
    "given": "by your word",
    "new": "new in the book",
}
START_FROM: Mapping[str, str] = {
    "recording": "",
    "bus_clock": "Its times are those of the machine's own clock.",
    "given": "Its times rest on the start that was typed in.",
    "file_date": "Its times rest on the date of the file.",
    "none": "Its times of day are not known.",
}
MANNERS: Mapping[str, str] = {
    "always": "tells its faults all the time",
    "while_active": "tells its faults only while one is on",
    "at_key_on": "tells its faults once at key-on",
    "never_heard": "was never heard to tell its faults",
    "unknown": "how it tells its faults is not known",
}
SYMPTOMS: tuple[str, ...] = (
    "Won't crank",
    "Cranks but won't start",
    "Stalls",
    "Low power",
    "Power limited by the machine",
    "Overheats",
    "Black smoke",
    "White smoke",
    "Unusual noise",
    "Hydraulics slow or weak",
    "Brakes weak",
    "Warning lamp without a code",
)
"""What can be tapped instead of typed; all are understood by notes."""
MEASURED: Mapping[str, str] = {
    "reference_voltage": "V",
    "ground_drop": "V",
    "sensor_resistance": "ohm",
    "exhaust_sensor_resistance": "ohm",
    "pickup_resistance": "ohm",
    "coil_resistance": "ohm",
    "cold_soak": "K",
    "second_thermometer": "K",
    "oil_pressure_at_rest": "kPa",
    "boost_at_rest": "kPa",
    "drop_at_rest": "kPa",
    "other_pressure_at_rest": "kPa",
    "mechanical_gauge": "kPa",
    "speed_compare": "%",
    "def_refractometer": "%",
    "battery_rest": "V",
    "earth_cable_drop": "V",
    "feed_drop": "V",
    "cranking_drop": "V",
    "charging_voltage": "V",
    "bus_60_ohm": "ohm",
    "bus_high_volts": "V",
    "unit_power_under_load": "V",
}
"""Checks in which something is measured, with the unit in which it is filed."""
BY_TEMPERATURE = frozenset(("sensor_resistance", "exhaust_sensor_resistance", "cranking_drop"))
"""Of those the ones whose value means nothing without the temperature at that place."""
BY_BATTERY = frozenset(("battery_rest", "feed_drop", "charging_voltage"))
"""Of those the ones whose bands are doubled for a 24 V machine."""

"""Limits and codes of the standards: profiles, and decoding over them."""

from pilotsignal.standard.decode import (
    ContactKind,
    ContactReading,
    DecodedDuty,
    DutyKind,
    NominalDuty,
    cable_of_resistance,
    current_of_duty,
    diode_present,
    duty_of_current,
    proximity_of_resistance,
    proximity_of_voltage,
    state_of,
)
from pilotsignal.standard.profile import BUILT_IN, DEFAULT, Profile, load_profile, parse_profile
from pilotsignal.standard.width import nominal_width_us, pulse_width_error_us

__all__ = [
    "BUILT_IN",
    "DEFAULT",
    "ContactKind",
    "ContactReading",
    "DecodedDuty",
    "DutyKind",
    "NominalDuty",
    "Profile",
    "cable_of_resistance",
    "current_of_duty",
    "diode_present",
    "duty_of_current",
    "load_profile",
    "nominal_width_us",
    "parse_profile",
    "proximity_of_resistance",
    "proximity_of_voltage",
    "pulse_width_error_us",
    "state_of",
]

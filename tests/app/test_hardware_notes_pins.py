"""The pin table against the firmware's header, the relay word against firmware and circuit."""

import re
from typing import Any

import pytest
from hardware_scripts import NOTES, page, rows, script

design: Any = script("standin_design")
PINS_H = NOTES / "firmware/src/pins.h"
RELAYS_C = NOTES / "firmware/src/relays.c"
PINS = {row[0]: row for row in rows(page("pins.md")) if re.fullmatch(r"[DA]\d+", row[0])}
RELAYS = {int(row[0]): row for row in rows(page("pins.md")) if row[0].isdigit()}

# Names in the firmware, and the pin that the table gives to that use.
BITS = {
    "INTERLOCK_BIT": "D5",
    "HEARTBEAT_BIT": "D6",
    "ENABLED_BIT": "D7",
    "COMPARATOR_BIT": "D8",
    "RAMP_BIT": "D9",
    "LATCH_BIT": "D10",
    "DATA_BIT": "D11",
    "READ_BACK_BIT": "D12",
    "CLOCK_BIT": "D13",
    "ARMED_LAMP_BIT": "A4",
    "ENERGISED_BIT": "A5",
}
INPUTS = {
    "PILOT_INPUT": "A0",
    "RAMP_INPUT": "A1",
    "HALF_REFERENCE_INPUT": "A2",
    "THERMISTOR_INPUT": "A3",
}


def defined(path: Any, name: str) -> str:
    found = re.search(rf"^#define {name} (.+?)(?: +/\*.*)?$", path.read_text("utf-8"), re.M)
    assert found, name
    return found[1]


@pytest.mark.parametrize(("name", "pin"), BITS.items())
def test_a_pin_is_where_the_firmware_has_it(name: str, pin: str) -> None:
    assert defined(PINS_H, name) == PINS[pin][1]


@pytest.mark.parametrize(("name", "pin"), INPUTS.items())
def test_a_converter_input_is_where_the_firmware_has_it(name: str, pin: str) -> None:
    assert f"ADC{defined(PINS_H, name)}" == PINS[pin][1]


def test_the_mains_senses_are_where_the_firmware_has_them() -> None:
    ports = re.findall(r"P[BCD]\d", defined(PINS_H, "MAINS_MASK"))
    assert ports == [PINS[pin][1] for pin in ("D2", "D3", "D4")]
    assert [PINS[pin][3][:14] for pin in ("D2", "D3", "D4")] == [
        f"mains sense L{number}" for number in (1, 2, 3)
    ]


def test_eighteen_pins_besides_the_serial_line_no_port_twice() -> None:
    assert len(PINS) == 20
    assert len({row[1] for row in PINS.values()}) == 20


def test_the_relay_word_is_that_of_the_circuit() -> None:
    for group, role in enumerate(("permanent", "C", "D")):
        for number, which in enumerate(design.SETS):
            words = RELAYS[3 * group + number][2]
            assert which in words
            assert words.endswith(f"{design.LADDER[role][which].ohm:g} ohm")
    for number, (code, part) in enumerate(design.CABLE.items()):
        assert RELAYS[12 + number][2] == f"cable {code}: {part.ohm:g} ohm"
    assert [row[1] for row in RELAYS.values()] == [f"K{bit}" for bit in range(17)]
    assert len(RELAYS) == design.RELAYS


def test_the_relay_word_is_that_of_the_firmware() -> None:
    bits = {
        "PERMANENT": "permanent, low",
        "SWITCHED_C": "switched C, low",
        "SWITCHED_D": "switched D, low",
        "SHORT_TO_PE": "short",
        "DIODE_BYPASS": "diode bypass",
        "PE_RETURN_OPEN": "PE return open",
        "CABLE": "cable 13 A",
    }
    for name, words in bits.items():
        assert RELAYS[int(defined(RELAYS_C, name))][2].startswith(words)


def test_the_heartbeat_of_the_firmware_is_the_one_computed_with() -> None:
    half = int(defined(RELAYS_C, "BEAT_TICKS").rstrip("UL"))
    assert pytest.approx(16e6 / (2 * half)) == script("enable_chain").HEARTBEAT_HZ
    late = re.search(r"ENABLE_LATE_TICKS +\((\d+) \* TICKS_PER_MS\)", RELAYS_C.read_text("utf-8"))
    assert late
    # The pump has charged long before the firmware misses the enable.
    assert script("enable_chain").pump().longest_charge_s < int(late[1]) * 1e-3

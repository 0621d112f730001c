"""The bill of materials: types, tolerances and ratings, no makes."""

from collections.abc import Callable, Mapping

import mains_values as mains
import standin_design as design
from standin_design import Resistor

Table = tuple[list[str], list[list[str]]]

HEAD = ["part", "number", "what", "value, tolerance", "rating", "remark"]
_FINE = "0.1 %, 25 ppm/K"
_SENSE = "0.05 %, 25 ppm/K"


def _ladder() -> Table:
    every = [part for parts in design.LADDER.values() for part in parts.values()]
    rows = [_fine(part) for part in sorted(every, key=lambda part: int(part.name[1:]))]
    rows += [
        [
            "R10",
            "2",
            "resistor, film",
            "160 ohm 1 %",
            "2 W",
            "parallel",
        ],
        *(_code(part, code) for code, part in design.CABLE.items()),
        ["D1", "1", "fast silicon diode", "0.70 V at 5 mA", "100 V, 300 mA, 4 ns", _DIODE],
        ["K0..K16", "17", "signal relay, two changeover contacts, gold over silver", *_relay()],
        ["F1, F2", "2", "fuse, fast, 5 x 20 mm, high breaking", "500 mA", "250 V, 1500 A", _FUSE],
        ["TV1, TV2", "2", "suppressor, bidirectional, low capacitance", *_suppressor()],
        ["C1", "1", "capacitor, C0G", "2.2 nF 2 %", "100 V", "with jumper JP1"],
        ["C2", "1", "capacitor, C0G", "1.5 nF 2 %", "100 V", "with jumper JP2"],
    ]
    return HEAD, rows


_DIODE = "no Schottky: its drop is too small"
_FUSE = f"about {design.FUSE_OHM:g} ohm: it is calibrated with the ladder"


def _fine(part: Resistor) -> list[str]:
    number = str(len(part.parts) * part.chains)
    kind = "resistor, metal film"
    built = "" if number == "1" else f"built from {part.text()}"
    return [part.name, number, kind, f"{part.ohm:g} ohm {_FINE}", f"{part.rating_w:g} W", built]


def _code(part: Resistor, code: str) -> list[str]:
    value = f"{part.ohm:g} ohm 1 %"
    return [part.name, "1", "resistor, film", value, f"{part.rating_w:g} W", f"cable code {code}"]


def _relay() -> list[str]:
    coil = f"12 V, {design.COIL_OHM:g} ohm"
    return [coil, "1 A, 60 V DC; 5 ms", "1 kV over the open contact; K11 uses the closed one"]


def _suppressor() -> list[str]:
    rating = f"{design.SUPPRESSOR_PULSE_W:g} W for 1 ms"
    value = f"stands {design.FAULT_V:g} V, {design.SUPPRESSOR_CLAMP_V:g} V at 1 A"
    return [value, rating, f"not above {design.SUPPRESSOR_F * 1e12:g} pF"]


def _front() -> Table:
    top = f"{design.TOP_OHM / 1e3:g} kohm"
    rows = [
        ["R20, R21", "2", "resistor, metal film", f"{top} {_FINE}", "0.25 W, 250 V peak", ""],
        ["R22", "1", "resistor, metal film", f"274 kohm {_FINE}", "0.25 W", ""],
        ["C20, C21", "2", "capacitor, C0G", "47 pF 2 %", "1 kV", ""],
        ["C22", "1", "capacitor, C0G", "39 pF 2 %", "50 V", ""],
        ["C23", "1", "trimmer capacitor", "4..20 pF", "50 V", "step 7 of the build"],
        ["D20", "1", "two silicon diodes, low leakage", "1 nA, 2 pF", "75 V", "to +5 V and -5 V"],
        ["U20", "1", "operational amplifier, inputs and output rail to rail", *_buffer()],
        ["R23, R24", "2", "resistor, metal film", f"3.01 kohm {_FINE}", "0.1 W", "converter pair"],
        ["D21", "1", "two Schottky diodes", "0.3 V at 1 mA, 10 pF", "30 V", "converter pin"],
        [
            "R25, R26",
            "2",
            "resistor, metal film",
            f"4.99 kohm {_SENSE}",
            "0.1 W",
            "comparator pair",
        ],
        ["R27", "1", "resistor", "1.5 Mohm 1 %", "0.1 W", "hysteresis"],
        ["U21", "1", "comparator, 5 V, push-pull output, inputs rail to rail", *_comparator()],
        ["U22", "1", "reference", "4.096 V 0.1 %, 25 ppm/K", "5 mA, drop 0.3 V", _LOAD],
        ["R28, C24", "1 each", "filter of its supply", "10 ohm, 10 uF", "0.1 W, 10 V", ""],
        ["R29, R30", "2", "resistor, metal film", f"10 kohm {_SENSE}", "0.1 W", "half reference"],
        ["C25", "1", "capacitor, ceramic", "100 nF", "16 V", "on half reference"],
        ["R31", "1", "resistor", "10 kohm 1 % or better", "0.1 W", "temperature"],
        ["RT1", "1", "thermistor, NTC", "10 kohm, B 3950 K", "", "beside U22"],
        ["R32, C26", "1 each", "check ramp", "30 kohm 5 %, 100 nF film 10 %", "16 V", ""],
        ["U23", "1", "timer, CMOS, as an oscillator", "0.1 mA at 4 V", "4..5 V", "dither"],
        ["R33", "1", "resistor", f"{design.DITHER_OHM / 1e3:g} kohm 1 %", "0.1 W", "dither"],
        ["R34, C27", "1 each", "its frequency, 8.5 kHz", "18 kohm 1 %, 4.7 nF 2 % C0G", "", ""],
        ["R35, C30", "1 each", "filter of its supply", "100 ohm, 1 uF", "10 V", ""],
        ["U24", "1", "inverter with switched capacitors", "5 V to -5 V", "20 mA", ""],
        ["C28, C29", "2", "capacitor, ceramic", "10 uF", "10 V", "flying and store of U24"],
    ]
    return HEAD, rows


_LOAD = "40 ppm/mA or better"


def _buffer() -> list[str]:
    return ["10 MHz, 10 V/us", "10 V supply", "1 mV, 5 uV/K, 1 nA at 60 C or better"]


def _comparator() -> list[str]:
    offset = f"{design.COMPARATOR_OFFSET_V * 1e3:g} mV"
    return [f"{offset}, 60 ns", "5 V", "rising and falling alike within 10 ns"]


def _mains() -> Table:
    source = f"about {mains.SOURCE_OHM:g} ohm"
    part = f"{mains.LIMIT_PART_OHM / 1e3:g} kohm 5 %"
    rows = [
        ["F30", "4", "fuse, 10 x 38 mm, general purpose", "1 A", "500 V, 50 kA", "L1..L3 and N"],
        ["RV30", "3", "metal oxide varistor, 14 mm", "300 V AC", "4.5 kA", "after F30"],
        ["F31", "3", "fuse, fast, 5 x 20 mm, high breaking", "40 mA", "250 V, 1500 A", ""],
        ["R40, R41", "6", "resistor, fusible, flameproof", "470 ohm 5 %", "2 W, 500 V", ""],
        ["D40", "3", "bridge rectifier", "1 A", "1000 V", ""],
        [
            "Q40",
            "3",
            "MOSFET, n-channel, depletion, insulated tab",
            _SINK,
            "1000 V, 20 W",
            "15 K/W",
        ],
        ["R42", "3", "resistor", source, "0.25 W", "set at build to 17 mA"],
        ["R43..R45", "9", "resistor, metal oxide, flameproof", part, "2 W, 350 V", ""],
        ["Z40, Z41", "6", "zener diode", "22 V 5 %", "1.3 W", "against each other"],
        ["U40", "3", "optocoupler, AC input, reinforced", _TRANSFER, _BARRIER, ""],
        ["R46", "3", "resistor", "47 kohm 5 %", "0.1 W", "pull-up, board side"],
    ]
    return HEAD, rows


_SINK = "-1.5..-4 V, 50 mA or more at 0 V"
_TRANSFER = "100 % or more at 1 mA; off within 0.1 ms at 14 kohm"
_BARRIER = "IEC 60747-5-5, 5 kV RMS, pins 10.16 mm apart"


def _control() -> Table:
    rows = [
        ["U50", "1", "board with ATmega328P", "16 MHz crystal", "5 V", "20 pins, USB"],
        ["U51..U53", "3", "shift register, 8 open-drain outputs", "5 V logic", "50 V, 100 mA", ""],
        ["U54", "1", "four Schmitt NAND gates", "CMOS", "5 V", ""],
        ["C50, C51", "2", "capacitor, film or C0G", "100 nF 5 %", "16 V", "charge pump"],
        ["D50, D51", "2", "Schottky diode", "0.3 V at 1 mA", "30 V", ""],
        ["R50", "1", "resistor", "220 kohm 1 %", "0.1 W", ""],
        ["R51", "1", "resistor", "330 ohm", "0.1 W", "in the heartbeat"],
        ["R52", "1", "resistor", "10 kohm", "0.1 W", "pull-up of the enable input"],
        ["R56..R58", "3", "resistor", "10 kohm", "0.1 W", "pull-downs: data, clock, latch"],
        ["D52", "17", "silicon diode", "100 V, 200 mA", "", "one a coil, to the clamp rail"],
        ["D53", "6", "silicon diode", "100 V, 200 mA", "", "A5 to the outputs of K3..K8"],
        ["R59", "1", "resistor", "10 kohm", "0.1 W", "pull-up of A5"],
        ["TV50", "1", "suppressor", "stands 15 V", "400 W", "clamp rail to +12 V"],
        ["H1, R53", "1 each", "lamp `armed`, red", "LED, 1 kohm", "5 mA", ""],
        [
            "S1",
            "1",
            "emergency stop, positive opening",
            "supply contacts as the charger's",
            "",
            _STOP,
        ],
        ["R54, R55, C52", "1 each", "interlock input", "1 kohm, 1 kohm, 100 nF", "0.1 W", ""],
        [
            "G50, F50",
            "1 each",
            "adapter, double insulated",
            "12 V 1 A, fuse 315 mA",
            "SELV",
            "",
        ],
        ["G51", "1", "USB isolator, reinforced", "12 Mbit/s, 5 V 200 mA out", "300 V RMS", ""],
        ["box", "1", "insulating enclosure", "250 x 160 x 90 mm or more", "UL94 V-0", "two rooms"],
    ]
    return HEAD, rows


_STOP = "auxiliary contact, opens with it"

TABLES: Mapping[str, Callable[[], Table]] = {
    "parts-ladder": _ladder,
    "parts-front": _front,
    "parts-mains": _mains,
    "parts-control": _control,
}

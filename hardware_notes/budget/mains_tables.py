"""Tables of the mains senses: by hand and by ngspice."""

from collections.abc import Callable, Mapping

import mains_values as values
import spice_mains

Table = tuple[list[str], list[list[str]]]


def _thresholds() -> Table:
    most, least = values.threshold_most_v(), values.threshold_least_v()
    rows = [
        ["threshold, highest", f"{most:.1f} V"],
        ["threshold, lowest", f"{least:.1f} V"],
        ["leakage of 100 nF at 230 V, into a short", f"{1e3 * values.leak_a():.1f} mA"],
        ["leakage of 120 nF at 253 V, peak", f"{1e3 * values.worst_leak_peak_a():.1f} mA"],
        ["the sense takes at least", f"{1e3 * values.SINK_A * (1 - values.SINK_TOLERANCE):.1f} mA"],
        ["voltage that this leakage leaves, peak", f"{values.leak_v():.1f} V"],
    ]
    rows += [
        [f"blind around a zero crossing at {volts:.0f} V", f"{1e3 * blind:.2f} ms"]
        for volts in (values.LOW_V, values.NOMINAL_V, values.HIGH_V)
        for blind in (values.blind_s(most, volts),)
    ]
    return ["what", "value"], rows


def _burden() -> Table:
    cases = (
        ("230 V, 17 mA", values.NOMINAL_V, values.SINK_A),
        ("253 V, 18.7 mA", values.HIGH_V, values.SINK_A * (1 + values.SINK_TOLERANCE)),
    )
    found = [values.burden(volts, sink) for _, volts, sink in cases]
    lines = (
        ("sink transistor (W)", [f"{one.sink_w:.2f}" for one in found]),
        ("each of 2 series resistors (W)", [f"{one.series_part_w:.2f}" for one in found]),
        ("each of 3 resistors of the lamp (W)", [f"{one.limit_part_w:.2f}" for one in found]),
        ("peak current of the lamp (mA)", [f"{1e3 * one.lamp_peak_a:.1f}" for one in found]),
        ("one phase in all (W)", [f"{one.whole_w:.1f}" for one in found]),
        ("three phases (W)", [f"{3 * one.whole_w:.1f}" for one in found]),
        ("current of one phase, RMS (mA)", [f"{1e3 * one.rms_a:.1f}" for one in found]),
    )
    return ["what", *(name for name, _, _ in cases)], [[name, *cells] for name, cells in lines]


def _spice_mains() -> Table:
    rows = [
        ["current at a steady 60 V (mA)", f"{1e3 * spice_mains.sink_a():.1f}"],
        ["blind at 207 V (ms)", f"{1e3 * spice_mains.blind_s(values.LOW_V):.2f}"],
        ["blind at 230 V (ms)", f"{1e3 * spice_mains.blind_s(values.NOMINAL_V):.2f}"],
    ]
    for volts, farad in ((230.0, 100e-9), (253.0, 120e-9)):
        peak, pin = spice_mains.leaking(volts, farad)
        case = f"{farad * 1e9:.0f} nF at {volts:.0f} V"
        rows.append([f"{case}: peak at the sense (V)", f"{peak:.1f}"])
        rows.append([f"{case}: lowest voltage of the pin (V)", f"{pin:.2f}"])
    for degrees in (30.0, 90.0, 150.0):
        bare = spice_mains.opening(degrees, 0.0)
        snubbed = spice_mains.opening(degrees, 100e-9)
        rows.append([f"opening at {degrees:.0f} degrees: seen late by (ms)", _ms(bare)])
        rows.append(["the same with 100 nF over the contact (ms)", _ms(snubbed)])
    return ["what", "ngspice"], rows


def _ms(opening: spice_mains.Opening) -> str:
    return f"{1e3 * opening.late_s:.2f}"


TABLES: Mapping[str, Callable[[], Table]] = {
    "thresholds": _thresholds,
    "burden": _burden,
    "spice-mains": _spice_mains,
}

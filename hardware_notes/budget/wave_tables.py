"""Tables of the front end: by hand and by ngspice."""

from collections.abc import Callable, Mapping

import dither
import front_end_values as fe
import small_losses
import spice_front_end
import standin_design as design

Table = tuple[list[str], list[list[str]]]

WIDTH_CAPACITANCES_F = (0.4e-9, 3.1e-9, 5.5e-9)


def _transfer() -> Table:
    rows = [
        [f"{contact:g}", f"{buffer:.3f}", f"{pin:.4f}", f"{count:.1f}"]
        for contact, buffer, pin, count in fe.transfer_rows()
    ]
    return ["contact (V)", "buffer (V)", "converter pin (V)", "count"], rows


def _constants() -> Table:
    found = fe.constants()
    rows = [
        ["divider without compensation", f"{found.uncompensated * 1e9:.0f}"],
        ["divider, compensated", "none"],
        ["buffer", f"{found.buffer * 1e9:.0f}"],
        ["pair into the converter pin", f"{found.converter * 1e9:.0f}"],
        ["contact to converter pin", f"{found.whole * 1e9:.0f}"],
        ["pair into the comparator", f"{found.comparator * 1e9:.0f}"],
        ["contact to comparator", f"{found.to_comparator * 1e9:.0f}"],
    ]
    return ["stage", "time constant (ns)"], rows


def _spice_transfer() -> Table:
    contact, pin = spice_front_end.transfer()
    slope = (pin[-1] - pin[0]) / (contact[-1] - contact[0])
    middle = pin[len(pin) // 2]
    hertz = spice_front_end.bandwidth_hz()
    bare = spice_front_end.bandwidth_hz(topf=1e-18, bottomf=1e-18)
    up, down = spice_front_end.thresholds_v()
    by_hand = 0.5 * design.divider() * (1.0 - design.dither_share())
    high, low = fe.thresholds_v()
    rows = [
        ["volts at the pin per volt at the contact", f"{by_hand:.5f}", f"{slope:.5f}"],
        ["pin at 0 V (V)", f"{design.REFERENCE_V / 2:.4f}", f"{middle:.4f}"],
        ["bandwidth to the pin, -3 dB (MHz)", "", f"{hertz / 1e6:.2f}"],
        ["time constant that belongs to it (ns)", "", f"{159.155e6 / hertz:.0f}"],
        ["bandwidth without compensation (MHz)", "", f"{bare / 1e6:.2f}"],
        ["comparator turns high at (mV)", f"{high * 1e3:+.0f}", f"{up * 1e3:+.0f}"],
        ["comparator turns low at (mV)", f"{low * 1e3:+.0f}", f"{down * 1e3:+.0f}"],
    ]
    return ["what", "by hand", "ngspice"], rows


def width_row(rung: str, farad: float) -> list[str]:
    """One row of the table of widths: nominal, and with the threshold at its worst."""
    nominal = spice_front_end.width(rung, farad)
    offset = fe.threshold_bound_v() * design.divider() / 2.0
    moved = [
        spice_front_end.width(rung, farad, sign * offset).shift_ns - nominal.shift_ns
        for sign in (-1.0, 1.0)
    ]
    delays = [nominal.rise_delay_ns, nominal.fall_delay_ns, nominal.shift_ns]
    return [rung, f"{farad * 1e9:.1f}", *(f"{ns:.0f}" for ns in delays), f"{max(moved):+.0f}"]


def _spice_widths() -> Table:
    rows = [width_row(rung, farad) for farad in WIDTH_CAPACITANCES_F for rung in "BCD"]
    head = ["rung", "pilot (nF)", "delay, rising (ns)", "falling (ns)", "width longer by (ns)"]
    return [*head, "more, threshold at its worst (ns)"], rows


def _fuse() -> Table:
    rows = []
    for current in (1.0, 3.0, 10.0, 30.0, 100.0, 300.0):
        seconds, joule, stands = fe.suppressor_pulse(current)
        rows.append(
            [f"{current:g}", f"{seconds * 1e3:.3g}", f"{joule * 1e3:.0f}", f"{stands * 1e3:.0f}"]
        )
    return [
        "fault (A)",
        "fuse melts after (ms)",
        "into the suppressor (mJ)",
        "it stands (mJ)",
    ], rows


def _clamps() -> Table:
    peak_ma, volts, watt = fe.mains_on_pilot()
    least, most = fe.reference_load_a()
    rows = [
        ["mains (253 V) on the pilot contact: current into the clamp, peak", f"{peak_ma:.2f} mA"],
        ["the same: voltage over each top resistor, peak", f"{volts:.0f} V"],
        ["the same: dissipation of each top resistor", f"{1e3 * watt:.0f} mW"],
        ["converter pin at the most, buffer on +5 V", f"{(5 + design.REFERENCE_V) / 2:.2f} V"],
        ["converter pin at the least, buffer on -5 V", f"{(-5 + design.REFERENCE_V) / 2:+.2f} V"],
        [
            "current that both pairs draw from the reference",
            f"{1e3 * least:.2f}..{1e3 * most:.2f} mA",
        ],
        ["threshold of the comparator, worst error", f"{1e3 * fe.threshold_bound_v():.0f} mV"],
        ["one converter step", f"{1e3 * fe.step_v():.1f} mV"],
        ["dither, peak to peak", f"{fe.dither_v() / fe.step_v():.2f} steps"],
        ["dither, RMS", f"{1e3 * fe.dither_rms_v():.1f} mV"],
        ["capacitance of the divider at the contact", f"{design.input_f() * 1e12:.0f} pF"],
        ["capacitance of the stand-in at the contact", f"{design.own_f() * 1e12:.0f} pF"],
    ]
    return ["what", "value"], rows


TABLES: Mapping[str, Callable[[], Table]] = {
    "transfer": _transfer,
    "constants": _constants,
    "clamps": _clamps,
    "fuse": _fuse,
    "dither": dither.rows,
    "small-losses": small_losses.rows,
    "spice-transfer": _spice_transfer,
    "spice-widths": _spice_widths,
}

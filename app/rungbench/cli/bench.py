"""``rungbench bench``: ports, places, and what a bench is and can do."""

from collections.abc import Iterator
from dataclasses import asdict, fields
from itertools import chain

import click
from rich.table import Table
from rich.text import Text

from rungbench.cli.bench_calibrate import calibrate_command, calibrations_command
from rungbench.cli.bench_check import check_command
from rungbench.cli.bench_lines import record_lines
from rungbench.cli.printing import print_json
from rungbench.cli.qualify import require_bench
from rungbench.cli.terminal import SIMULATED, PageConsole, printable, safe
from rungbench.errors import BenchError
from rungbench.link.messages import Health, Identity
from rungbench.link.port import list_ports
from rungbench.link.usb import without_port
from rungbench.paths import paths
from rungbench.qualify.bench import open_bench
from rungbench.qualify.order import board_dict
from rungbench.settings import load_settings
from rungbench.standin.board import StandIn
from rungbench.standin.calibration import BenchCalibration

_json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


@click.group()
def bench() -> None:
    """Show ports, places and what a bench can do; calibrate it and let it check itself."""


bench.add_command(calibrate_command)
bench.add_command(calibrations_command)
bench.add_command(check_command)


@bench.command()
@_json_option
def ports(*, as_json: bool) -> None:
    """List the serial ports of this computer; none is opened or written to."""
    found, portless = list_ports(), without_port()
    if as_json:
        print_json(
            {
                "schema": "rungbench.ports/1",
                "ports": [asdict(port) for port in found],
                "driver_missing": [asdict(device) for device in portless],
            }
        )
        return
    for device in portless:
        text = device.text()
        click.echo(printable(text[0].upper() + text[1:]), err=True)
    if not found:
        click.echo("No serial port was found; plug the board in, or use --bench sim://sound.")
        return
    _print_pairs((port.url, f"{port.description}  {port.hardware}".strip()) for port in found)


@bench.command()
@_json_option
def where(*, as_json: bool) -> None:
    """Print where settings, plans, archives and the log lie, and the settings in force."""
    places = paths()
    chosen = load_settings()
    files = {field.name: str(getattr(places, field.name)) for field in fields(places)}
    settings = chosen.settings.shown()
    if as_json:
        print_json(
            {
                "schema": "rungbench.places/1",
                "places": files,
                "settings": {
                    name: {"value": value, "from": chosen.sources[name]}
                    for name, value in settings.items()
                },
            }
        )
        return
    _print_pairs((name.replace("_", " "), text) for name, text in files.items())
    click.echo()
    _print_pairs(
        (name.replace("_", " "), f"{value or '-'}  ({chosen.sources[name]})")
        for name, value in settings.items()
    )


@bench.command()
@click.option("--bench", "url", metavar="URL", help="Port or URL of the board.")
@_json_option
def show(*, url: str | None, as_json: bool) -> None:
    """Print who the board is, what it can do, how it is, and its calibration."""
    settings = load_settings({"bench": url}).settings
    with open_bench(require_bench(settings.bench)) as standin:
        health = _health(standin)
        identity, calibration = standin.identity, standin.calibration
    if as_json:
        print_json(
            {
                "schema": "rungbench.bench/1",
                "simulated": identity.simulated,
                "board": board_dict(identity),
                "health": health_dict(health),
                "calibration": calibration.as_dict(),
            }
        )
        return
    if identity.simulated:
        PageConsole().print(Text(SIMULATED, style="bold"))
    _print_pairs(
        chain(_identity_lines(identity), _health_lines(health), _calibration_lines(calibration))
    )


def _health(standin: StandIn) -> Health:
    health = standin.health
    if health is None:
        raise BenchError("The board sent no report; reset it and try again.")
    return health


def health_dict(health: Health) -> dict[str, object]:
    """A report of the board as plain values."""
    return {
        "overruns": health.overruns,
        "dropped_edges": health.dropped_edges,
        "dropped_samples": health.dropped_samples,
        "temperature_c": health.temperature_c,
        "armed": health.armed,
        "interlock_closed": health.interlock_closed,
        "setting": health.setting.text(),
        "mains_phases": list(health.mains),
    }


def _identity_lines(identity: Identity) -> Iterator[tuple[str, str]]:
    yield "board", f"{identity.board_id}, firmware {identity.firmware}"
    yield "protocol", str(identity.protocol)
    yield "oscillator", str(identity.oscillator)
    yield "last reset", str(identity.reset_cause)
    yield "rungs", ", ".join(identity.rungs)
    yield "ladder sets", ", ".join(identity.ladders)
    yield "cable codes", ", ".join(identity.cable_codes)
    yield "diode bypass", _can(identity.can_bypass_diode)
    yield "PE return open", _can(identity.can_open_pe)
    yield "phases sensed", str(identity.phases_sensed)
    low, high = identity.converter_low_v, identity.converter_high_v
    yield "converter", f"{identity.converter_bits} bit, {low:g}..{high:g} V by design"
    yield "sampling", ", ".join(identity.modes)
    yield "longest hold", f"C {identity.hold_c_s} s, D {identity.hold_d_s} s"


def _health_lines(health: Health) -> Iterator[tuple[str, str]]:
    lost = (health.overruns, health.dropped_edges, health.dropped_samples)
    yield "health", "{} overruns, {} edges and {} samples dropped".format(*lost)
    yield "interlock", "closed" if health.interlock_closed else "OPEN: no rung C or D"
    yield "presents", health.setting.text()
    yield "mains", ", ".join(f"L{phase}" for phase in health.mains) or "none"
    if health.temperature_c is not None:
        yield "temperature", f"{health.temperature_c:.1f} °C"


def _calibration_lines(calibration: BenchCalibration) -> Iterator[tuple[str, str]]:
    yield from record_lines(calibration.as_dict())
    volts, clock = calibration.volts, calibration.time_base
    if not volts.described:
        yield "volts", "not calibrated: voltages are shown and not judged"
    else:
        if not calibration.records:
            until = f", valid until {volts.valid_until}" if volts.valid_until else ""
            yield "calibration", f"{calibration.id}, made {volts.made} by {volts.by}{until}"
        gain, offset = (volts.u_gain_relative or 0.0) * 100, (volts.u_offset_v or 0.0) * 1e3
        yield "volts", f"standard uncertainty: gain {gain:.3g} %, offset {offset:.3g} mV"
        if volts.u_meter_relative is not None:
            meter, zero = volts.u_meter_relative * 100, (volts.u_meter_v or 0.0) * 1e3
            yield "", f"of the meter: {meter:.3g} % and {zero:.3g} mV (standard)"
    known = "" if clock.u_relative is None else f", {clock.u_relative * 1e6:.3g} ppm (standard)"
    off = f", {clock.correction * 1e6:+.2f} ppm off" if clock.correction else ""
    yield "time base", f"{clock.id}, {clock.kind}{off}{known}"
    for rung, bias in calibration.width_bias.items():
        name = f"width bias, rung {rung}" if rung else "width bias"
        yield name, f"{bias.bias_us:.4g} ± {bias.u_us:.2g} us (standard)"
    for part, known_part in calibration.parts.items():
        value = f"{known_part.value:.6g} ± {known_part.u:.2g} {known_part.unit} (standard)"
        yield part.replace("_", " "), value


def _can(able: bool) -> str:
    return "yes" if able else "no"


def _print_pairs(lines: Iterator[tuple[str, str]]) -> None:
    table = Table.grid(padding=(0, 2))
    table.add_column(style="dim", no_wrap=True)
    table.add_column(overflow="fold")
    for name, text in lines:
        table.add_row(safe(name), safe(text))
    PageConsole().print(table)

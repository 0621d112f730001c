"""``rungbench measure FILE``: what a recorded pilot says, and how it stands to the limits."""

import sys
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, replace
from typing import Any, BinaryIO

import click

from pilotsignal.csv_import import ImportedCapture, ReadOptions, read_capture
from pilotsignal.fold import Folded, fold
from pilotsignal.judge import Judgement, Verdict
from pilotsignal.measure import PilotMeasurement
from pilotsignal.measure import measure as measure_capture
from pilotsignal.quantity import Quantity
from pilotsignal.standard import Profile, load_profile
from rungbench.cli.amounts import amperes, seconds, share, uncertain_volts
from rungbench.cli.measure_fold import fold_document, save_fold
from rungbench.cli.printing import print_json
from rungbench.cli.segment_lines import changes_document, segments_document
from rungbench.errors import ExitStatus, InputError
from rungbench.qualify.readings import ReadingBasis, judge_readings
from rungbench.settings import load_settings

SCHEMA = "rungbench.measurement/1"
_STDIN = "-"
_STATE_THE_CURRENT = "State the current that the charger is set to (--set-current)."


@dataclass(frozen=True, slots=True)
class Reading:
    """A file, what it says, and the judgements by check."""

    imported: ImportedCapture
    measurement: PilotMeasurement
    judgements: tuple[tuple[str, Judgement], ...]
    profile: Profile
    folded: tuple[Folded, str] | None = None  # with the file that holds it


@click.command()
@click.argument("file", metavar="FILE")
@click.option("--channel", metavar="NAME", help="Which channel of the file.")
@click.option("--interval", type=seconds, metavar="TIME", help="Sample interval, as 10us.")
@click.option("--scale", type=float, default=1.0, metavar="X", help="Factor on the voltages.")
@click.option("--unit", metavar="UNIT", help="Unit of the voltages: V, mV.")
@click.option(
    "--gain-uncertainty",
    type=share,
    metavar="SHARE",
    help="Relative standard uncertainty of the voltages, as 0.3%. A bound of ±1 % from a data "
    "sheet is 1 % / √3.",
)
@click.option(
    "--offset-uncertainty",
    type=uncertain_volts,
    metavar="VOLTS",
    help="Standard uncertainty at 0 V, as 20mV.",
)
@click.option(
    "--time-base-uncertainty",
    type=share,
    metavar="SHARE",
    help="Relative standard uncertainty of the sample rate, as 25ppm.",
)
@click.option("--profile", metavar="NAME|FILE", help="Limits to judge by.")
@click.option(
    "--set-current",
    type=amperes,
    metavar="AMPERES",
    help="Current that the charger is set to; the pulse width is judged against it.",
)
@click.option("--judge", is_flag=True, help="End with 1 on a fail and 3 where undecided.")
@click.option("--budget", is_flag=True, help="Print what each uncertainty is made of.")
@click.option("--fold", metavar="OUT.csv", help="Write one period in equivalent time as CSV.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def measure(file: str, **stated: Any) -> ExitStatus:
    """Measure a pilot recorded by an oscilloscope or a logger.

    FILE is a CSV file, or - for standard input.  Nothing is assumed: what the file does not say
    about its interval, channel or unit has to be stated.  Uncertainties are printed for 95 %.
    """
    profile = load_profile(load_settings({"profile": stated["profile"]}).settings.profile)
    imported = _read(file, stated)
    measurement = measure_capture(imported.capture, profile=profile)
    basis = ReadingBasis(profile, stated["set_current"], ask_current=_STATE_THE_CURRENT)
    judgements = judge_readings(measurement, imported.capture, basis)
    reading = Reading(imported, measurement, judgements, profile)
    if stated["fold"] is not None:
        reading = replace(reading, folded=_fold(reading, stated["fold"]))
    if stated["as_json"]:
        print_json(as_document(reading))
    else:
        # Late: the tables are needed by people only.
        from rungbench.cli.measure_page import print_reading

        print_reading(reading, budget=stated["budget"])
    return _status(judgements) if stated["judge"] else ExitStatus.DONE


def _fold(reading: Reading, file: str) -> tuple[Folded, str]:
    capture = reading.imported.capture
    view = fold(capture, reading.measurement)
    save_fold(view, capture.origin, file)
    return view, file


def _read(file: str, stated: dict[str, Any]) -> ImportedCapture:
    options = ReadOptions(
        stated["channel"],
        stated["interval"],
        stated["scale"],
        stated["unit"],
        stated["gain_uncertainty"],
        stated["offset_uncertainty"],
        stated["time_base_uncertainty"],
        "standard input" if file == _STDIN else file,
    )
    with _open(file) as stream:
        return read_capture(stream, options)


def _open(file: str) -> AbstractContextManager[BinaryIO]:
    if file == _STDIN:
        if sys.stdin is None:
            raise InputError("Standard input is closed; name a file, or pipe one in.")
        return nullcontext(sys.stdin.buffer)
    if not file:
        raise InputError("The file's name is empty; name a file.")
    try:
        return open(file, "rb")
    except FileNotFoundError as problem:
        raise InputError(f"There is no file {file}; check the path.") from problem
    except IsADirectoryError as problem:
        raise InputError(f"{file} is a folder; name a file in it.") from problem
    except PermissionError as problem:
        raise InputError(f"{file} may not be read; get the right to read it.") from problem
    except ValueError as problem:  # a path with a NUL in it
        raise InputError(f"{file!r} is not a path; check it.") from problem


def _status(judgements: tuple[tuple[str, Judgement], ...]) -> ExitStatus:
    verdicts = {judgement.verdict for _, judgement in judgements} - {Verdict.OBSERVED}
    if Verdict.FAIL in verdicts:
        return ExitStatus.FAILED
    # An empty set is no pass: nothing was judged.
    return ExitStatus.DONE if verdicts == {Verdict.PASS} else ExitStatus.UNDECIDED


def as_document(reading: Reading) -> dict[str, Any]:
    """The measurement as plain values, as printed by ``--json``."""
    capture, measurement = reading.imported.capture, reading.measurement
    current = measurement.advertised_current_a
    return {
        "schema": SCHEMA,
        "capture": {
            "sha256": capture.sha256(),
            "samples": int(capture.samples.size),
            "interval_s": capture.interval_s,
            "duration_s": capture.duration_s,
            "origin": capture.origin,
            "calibration": capture.calibration.id,
            "time_base": capture.time_base.id,
            "missing_samples": sum(gap.missing for gap in capture.gaps),
            "remarks": list(reading.imported.remarks),
        },
        "quantities": {
            name: None if quantity is None else _quantity(quantity)
            for name, quantity in measurement.quantities().items()
        },
        "state": list(measurement.state),
        "pwm_on": measurement.pwm_on,
        "advertised_current_a": None if current is None else current.value,
        "notices": [{"code": one.code, "text": one.text} for one in measurement.notices],
        "changes": changes_document(measurement.steadiness),
        "segments": segments_document(measurement.steadiness),
        "fold": None if reading.folded is None else fold_document(*reading.folded),
        "judgements": [_judgement(check, judgement) for check, judgement in reading.judgements],
    }


def _quantity(quantity: Quantity) -> dict[str, Any]:
    plain = quantity.as_dict()
    return {
        "value": quantity.value,
        "expanded_uncertainty": quantity.expanded(),
        "coverage_factor": quantity.coverage_factor(),
        "degrees_of_freedom": plain["dof"],
        "unit": quantity.unit,
        "method": quantity.method,
        "budget": quantity.budget_lines(),
    }


def _judgement(check: str, judgement: Judgement) -> dict[str, Any]:
    limit = judgement.limit
    return {
        "check": check,
        "limit": {
            "low": limit.low,
            "high": limit.high,
            "unit": limit.unit,
            "profile": limit.profile,
            "clause": limit.clause,
            "rule": str(limit.rule),
            "guard_factor": limit.guard_factor,
        },
        "verdict": str(judgement.verdict),
        "why": judgement.why,
        "conformance_probability": judgement.conformance_probability,
    }

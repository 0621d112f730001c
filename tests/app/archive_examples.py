"""Runs made up for the archive's tests: invented names, numbers that are easy to recognise."""

import math
from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np

from pilotsignal.calibration import CRYSTAL_50_PPM, VoltCalibration, WidthBias
from pilotsignal.capture import Capture, EdgeRecord, Gap
from pilotsignal.judge import Judgement, Limit, Rule, Verdict
from pilotsignal.quantity import BudgetRow, Quantity
from rungbench.archive.record import ChargerIdentity, CheckResult, Role, RunHeader

CALIBRATION = VoltCalibration(
    id="CAL-7",
    gain_v=0.0293,
    offset_v=-15.0,
    u_gain_relative=0.001,
    u_offset_v=0.005,
    u_linearity_v=0.002,
    dof=9.0,
    made=date(2025, 3, 1),
    valid_until=date(2026, 3, 1),
    by="Example Laboratory",
)


def header(run_id: str = "aaaaa-bbbbb", *, simulated: bool = False) -> RunHeader:
    return RunHeader(
        run_id=run_id,
        simulated=simulated,
        charger=ChargerIdentity(
            "Demo Works", "Sample 11", "DEMO-0001", 16.0, None, 3, "cable", "lid open"
        ),
        operator="R. Example",
        bench_url="/dev/ttyEXAMPLE0",
        board={"firmware": "1.0", "modes": ["burst10", "stream8"], "oscillator": "crystal"},
        calibration={"id": "CAL-7", "made": "2025-03-01"},
        profile="iec-61851-1-2017",
        profile_hash="1234abcd",
        plan="quick",
        plan_hash="5678cdef",
        versions={"rungbench": "0.1.0"},
        started=datetime(2025, 7, 11, 14, 22, 33, 250000, UTC),
        left_out=(("cable-coding", "the charger has a fixed cable"),),
        planned=("open-level", "frequency"),
    )


def quantity(name: str = "frequency_hz", value: float = 1000.2, unit: str = "Hz") -> Quantity:
    rows = (
        BudgetRow("scatter@1", "residuals", "A", "normal", 0.01, unit, 41.0, 1.0),
        BudgetRow("clock@crystal-50ppm", "crystal", "B", "rectangular", 2.9e-5, "", math.inf, 1e3),
    )
    return Quantity(name, value, unit, 0.0306, math.inf, "regression of edge times", rows)


def limit(unit: str = "Hz") -> Limit:
    clause = "IEC 61851-1:2017, A.4.4"
    return Limit(995.0, 1005.0, unit, "iec-61851-1-2017", clause, Rule.GUARDED, "M", nominal=1000.0)


def check(
    name: str = "frequency", verdict: Verdict = Verdict.PASS, attempt: int = 1
) -> CheckResult:
    measured = quantity()
    only_judged = replace(measured, name="frequency_again_hz", dof=17.5)
    shown = replace(limit(), low=None, high=1020.0, decides=False, note="shown only")
    return CheckResult(
        check=name,
        title="Frequency in B",
        role=Role.REQUIRED,
        verdict=verdict,
        judgements=(
            Judgement(verdict, "1000.20 Hz ± 0.06 Hz lies inside.", measured, limit(), 0.999),
            Judgement(Verdict.OBSERVED, "shown", only_judged, shown),
            Judgement(Verdict.NOT_RUN, "It was not measured.", None, limit()),
        ),
        quantities=(measured, quantity("duty_percent", 26.7, "%")),
        observations={"state": "B2"},
        why="1000.20 Hz ± 0.06 Hz lies inside.",
        start_tick=2**40,
        end_tick=2**40 + 16_000_000,
        attempt=attempt,
    )


def counts(samples: int = 2000, seed: int = 1) -> Capture:
    noise = np.random.default_rng(seed).normal(0.0, 0.6, samples)
    phase = np.arange(samples) * 52e-6 % 1e-3
    raw = np.round(np.where(phase < 267e-6, 815, 102) + noise).astype(np.uint16)
    return Capture.from_counts(
        raw,
        52e-6,
        "board 17, stream10",
        calibration=CALIBRATION,
        time_base=CRYSTAL_50_PPM,
    ).recorded(gaps=(Gap(500, 32),), converter_range=(0, 1023), first_tick=2**33 + 5)


def edges(pairs: int = 50) -> EdgeRecord:
    high, period = 4272, 16_000
    starts = np.arange(pairs, dtype=np.int64) * period + 2**33
    times = np.column_stack((starts, starts + high)).reshape(-1)
    rising = np.tile(np.array([True, False]), pairs)
    bias = WidthBias("comparator-1", 0.1, 0.05)
    return EdgeRecord(times, rising, 62.5e-9, "board 17", CRYSTAL_50_PPM, bias, (Gap(7, 2),), 4)

"""The shipped profiles: rows as printed, each with its source, and tables that agree."""

import hashlib
import subprocess
import sys
from pathlib import Path
from typing import cast

import pytest

import pilotsignal
from pilotsignal.errors import ProfileError
from pilotsignal.judge import Limit, Rule
from pilotsignal.standard import BUILT_IN, Profile, load_profile

IEC = load_profile("iec-61851-1-2017")
SAE = load_profile("sae-j1772-2017")
BOTH = pytest.mark.parametrize("profile", [IEC, SAE], ids=lambda profile: profile.name)

IEC_ROWS = [
    ("open_high", None, 11.4, 12.6, "Table A.2"),
    ("open_low", None, -12.6, -11.4, "Table A.2"),
    ("frequency", None, 995.0, 1005.0, "A.4.4"),
    ("frequency_wide", None, 980.0, 1020.0, "Table A.2"),
    ("pulse_width_error_us", None, -5.0, 5.0, "Tables A.2 and A.7"),
    ("source_resistance", None, 970.0, 1030.0, "Table A.2"),
    ("cs_pf", None, 300.0, 1600.0, "Table A.2"),
    ("generator_rise_us", None, None, 2.0, "Table A.2"),
    ("rise_time_us", "B", None, 10.0, "Table A.11"),
    ("rise_time_us", "C2", None, 7.0, "Table A.11"),
    ("rise_time_us", "D", None, 5.0, "Table A.11"),
    ("fall_time_us", "B2", None, 13.0, "Table A.11"),
    ("high_level", "A1", 11.4, 12.6, "Table A.10"),
    ("high_level", "B2", 8.37, 9.59, "Table A.10"),
    ("high_level", "C", 5.47, 6.53, "Table A.10"),
    ("low_level", "B", -12.6, -11.4, "Table A.10"),
    ("mains_on_after_c_s", None, None, 3.0, "Table A.6, sequence 4"),
    ("mains_off_c_to_b_ms", None, None, 100.0, "Table A.6, sequence 8.1"),
    ("mains_off_c1_to_b1_ms", None, None, 100.0, "Table A.6, sequence 8.2"),
    ("mains_off_unplug_ms", None, None, 100.0, "Table A.6, sequence 2.2"),
    ("new_duty_s", None, None, 10.0, "Table A.6, sequence 6"),
    ("duty_changes_apart_s", None, 5.0, None, "Table A.6, sequence 6"),
    ("pwm_withdrawn_s", None, 6.0, None, "Table A.6, sequence 10.2"),
    ("b2_to_b1_s", None, 3.0, None, "Table A.6, sequence 9.2"),
    ("mains_off_short_ms", None, None, 3000.0, "Table A.6, sequence 12"),
    ("mains_off_pe_open_ms", None, None, 100.0, "A.4.8"),
    ("f_duration_ms", None, 300.0, None, "Annex A"),
]

SAE_ROWS = [
    ("open_high", None, 11.4, 12.6, "Table 3"),
    ("frequency", None, 980.0, 1020.0, "Table 3"),
    ("duty_error_points", None, -0.5, 0.5, "Table 3"),
    ("pulse_width_error_us", None, -5.0, 5.0, "50 %"),
    ("high_level", "B", 8.36, 9.59, "Table 2"),
    ("high_level", "C", 5.47, 6.53, "Table 2"),
    ("high_level", "D", 2.58, 3.28, "Table 2"),
    ("mains_on_after_c_s", None, None, 3.0, "timing"),
    ("mains_off_c_to_b_ms", None, None, 3000.0, "timing"),
    ("mains_off_unplug_ms", None, None, 100.0, "timing"),
    ("pwm_off_unplugged_s", None, None, 2.0, "timing"),
]

Row = tuple[str, str | None, float | None, float | None, str]


# IEC 61851-1:2017, tables and clauses as in each row.
@pytest.mark.parametrize("row", IEC_ROWS, ids=lambda row: f"{row[0]}-{row[1]}")
def test_iec_limits(row: Row) -> None:
    limit = IEC.limit(row[0], row[1])
    assert (limit.low, limit.high) == row[2:4]
    assert limit.clause.startswith("IEC 61851-1:2017, ")
    assert row[4] in limit.clause


# SAE J1772 OCT2017, tables as in each row.
@pytest.mark.parametrize("row", SAE_ROWS, ids=lambda row: f"{row[0]}-{row[1]}")
def test_sae_limits(row: Row) -> None:
    limit = SAE.limit(row[0], row[1])
    assert (limit.low, limit.high) == row[2:4]
    assert limit.clause.startswith("SAE J1772 OCT2017, ")
    assert row[4] in limit.clause


def parallel(first: float, second: float) -> float:
    return first * second / (first + second)


# Recomputed from other tables of the same edition: IEC 61851-1:2017, Tables A.2 and A.3 with all
# parts at their limits give Table A.10; SAE J1772 OCT2017, Tables 3 and 4 give Table 2.
@pytest.mark.parametrize(
    ("profile", "state", "switched"),
    [
        (IEC, "B", None),
        (IEC, "C", "switched_c"),
        (SAE, "B", None),
        (SAE, "C", "switched_c"),
        (SAE, "D", "switched_d"),
    ],
)
def test_plateaus_follow_from_the_parts(profile: Profile, state: str, switched: str | None) -> None:
    rail, source = profile.limit("open_high"), profile.limit("source_resistance")
    load, drop = profile.part("permanent"), profile.part("diode_drop")
    low_load, high_load = load.low, load.high
    if switched:
        low_load = parallel(load.low, profile.part(switched).low)
        high_load = parallel(load.high, profile.part(switched).high)
    assert rail.low is not None
    assert rail.high is not None
    assert source.low is not None
    assert source.high is not None
    lowest = drop.low + (rail.low - drop.low) * low_load / (low_load + source.high)
    highest = drop.high + (rail.high - drop.high) * high_load / (high_load + source.low)
    limit = profile.limit("high_level", state)
    assert limit.low == pytest.approx(lowest, abs=0.015)
    assert limit.high == pytest.approx(highest, abs=0.015)


@BOTH
def test_every_row_names_its_source(profile: Profile) -> None:
    for (key, _), limit in profile.limits.items():
        assert limit.profile == profile.name, key
        assert limit.clause.split(",")[0].rstrip().endswith(("2017", "OCT2017")), key
        assert limit.confidence in ("H", "S", "M", "MEM"), key


@BOTH
def test_no_limit_that_decides_is_from_memory(profile: Profile) -> None:
    assert not [key for key, limit in profile.limits.items() if limit.confidence == "MEM"]


@BOTH
def test_the_profile_asks_to_confirm_its_numbers(profile: Profile) -> None:
    assert "confirm against your own copy" in profile.confirm


def test_what_is_shown_does_not_decide() -> None:
    for key in ("frequency_wide", "frequency_vehicle", "generator_rise_us", "pwm_off_unplugged_s"):
        assert not IEC.limit(key).deciding, key
    # IEC 61851-1:2017, Table A.10 has no row for D.
    assert not IEC.limit("high_level", "D").deciding
    assert SAE.limit("high_level", "D").deciding


def test_edges_at_the_contact_can_fail_and_not_prove() -> None:
    assert not any(
        IEC.limit(key, state).can_pass
        for key in ("rise_time_us", "fall_time_us")
        for state in "BCD"
    )


@pytest.mark.parametrize("state", ["C2", "D2"])
def test_the_low_plateau_in_c_and_d_is_marked_as_an_extension(state: str) -> None:
    assert IEC.limit("low_level", state).note.startswith("Extension")
    assert IEC.limit("low_level", state).deciding


@BOTH
def test_the_source_resistance_names_its_own_rule(profile: Profile) -> None:
    assert profile.limit("source_resistance").rule is Rule.REJECT_BEYOND_U
    assert profile.limit("frequency").rule is Rule.GUARDED


def test_a_limit_that_is_not_there_is_named() -> None:
    assert not SAE.has("pwm_withdrawn_s")
    assert not IEC.has("high_level")
    assert not IEC.has("high_level", "E")
    with pytest.raises(ProfileError, match="sae-j1772-2017 has no limit 'pwm_withdrawn_s'"):
        SAE.limit("pwm_withdrawn_s")
    with pytest.raises(ProfileError, match="in state E"):
        IEC.limit("high_level", "E")
    with pytest.raises(ProfileError, match="no part 'coil'"):
        IEC.part("coil")


def test_an_unknown_profile_is_answered_with_the_choice() -> None:
    with pytest.raises(ProfileError, match="choose iec-61851-1-2017 or sae-j1772-2017"):
        load_profile("iec-2017")


def test_keys_come_once_and_in_order() -> None:
    assert IEC.keys()[:3] == ("open_high", "open_low", "frequency")
    assert len(set(IEC.keys())) == len(IEC.keys())


def test_profiles_cannot_be_written() -> None:
    limits = cast(dict[tuple[str, str | None], Limit], IEC.limits)
    with pytest.raises(TypeError, match="item assignment"):
        limits["frequency", None] = IEC.limit("open_high")


@pytest.mark.parametrize("name", BUILT_IN)
def test_the_hash_is_that_of_the_file(name: str) -> None:
    table = Path(pilotsignal.__file__).parent / "standard" / f"{name}.toml"
    assert load_profile(name).hash == hashlib.sha256(table.read_bytes()).hexdigest()


def test_judging_and_decoding_start_without_the_heavy_libraries() -> None:
    code = (
        "import sys, pilotsignal.judge, pilotsignal.standard as s; s.load_profile();"
        "print(*sorted({'numpy', 'scipy', 'GTC'} & set(sys.modules)))"
    )
    root = str(Path(pilotsignal.__file__).parent.parent)
    done = subprocess.run(
        [sys.executable, "-c", code], env={"PYTHONPATH": root}, capture_output=True, check=True
    )
    assert done.stdout.split() == []


# No text at hand says this of these states: it is read out of what they say of others.
OUR_READING = [
    ("low_level", "C"),
    ("low_level", "D"),
    ("mains_phases_unasked", None),
    ("pwm_edges_unplugged", None),
]


@BOTH
@pytest.mark.parametrize(("key", "state"), OUR_READING)
def test_what_is_our_reading_claims_no_second_text_and_says_so(
    profile: Profile, key: str, state: str | None
) -> None:
    limit = profile.limit(key, state)
    assert limit.confidence == "M"
    assert limit.note
    if state is not None:
        assert f"extended to {state}" in limit.clause


def test_a_table_that_we_do_not_know_is_not_named() -> None:
    unknown = [limit.clause for limit in SAE.limits.values() if "Table" not in limit.clause]
    assert unknown
    assert all("(table not known here)" in clause for clause in unknown)

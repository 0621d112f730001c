"""Profiles of one's own: what they inherit, what they show, what is refused with a sentence."""

import hashlib
from pathlib import Path

import pytest

import pilotsignal.standard
from pilotsignal.errors import ProfileError
from pilotsignal.standard import BUILT_IN, Profile, current_of_duty, load_profile, parse_profile

HEAD = """
[profile]
name = "house"
title = "House rules"
edition = "House rules 3"
based_on = "iec-61851-1-2017"
"""
FREQUENCY = """
[limit.frequency]
low = 999
high = 1001
unit = "Hz"
clause = "section 2"
confidence = "H"
"""
SHIPPED = Path(pilotsignal.standard.__file__).parent


def parsed(text: str) -> Profile:
    return parse_profile("house.toml", text.encode())


def refusal(text: str) -> str:
    with pytest.raises(ProfileError) as refused:
        parsed(text)
    return str(refused.value)


def test_a_row_of_ones_own_replaces_one_row() -> None:
    own = parsed(HEAD + FREQUENCY)
    assert (own.limit("frequency").low, own.limit("frequency").high) == (999.0, 1001.0)
    assert own.limit("frequency").clause == "House rules 3, section 2"
    assert own.pulse_width_level == "zero"


def test_inherited_rows_keep_the_edition_that_they_come_from() -> None:
    own = parsed(HEAD + FREQUENCY)
    assert own.limit("high_level", "B").clause == "IEC 61851-1:2017, Table A.10"
    assert current_of_duty(50.0, own).clause == "IEC 61851-1:2017, Table A.8"
    assert own.part("short_test_corrected").source.clause.startswith("EN IEC 61851-1:2019")


def test_one_state_can_be_replaced_without_the_others() -> None:
    row = '[limit.high_level.B]\nlow = 8.5\nunit = "V"\nclause = "4"\nconfidence = "H"\n'
    own = parsed(HEAD + row)
    assert (own.limit("high_level", "B").low, own.limit("high_level", "B").high) == (8.5, None)
    assert own.limit("high_level", "C").low == load_profile().limit("high_level", "C").low


def test_it_shows_its_hash_wherever_it_judges(tmp_path: Path) -> None:
    path = tmp_path / "house.toml"
    path.write_text(HEAD + FREQUENCY)
    own = load_profile(path)
    content = (SHIPPED / "iec-61851-1-2017.toml").read_bytes() + path.read_bytes()
    assert own.hash == hashlib.sha256(content).hexdigest()
    assert own.limit("frequency").profile == f"house ({own.hash[:12]})"
    assert own.limit("open_high").profile == own.label
    assert own.own
    assert not load_profile().own


def test_another_number_is_another_hash() -> None:
    assert parsed(HEAD + FREQUENCY).hash != parsed(HEAD + FREQUENCY.replace("999", "998")).hash


def test_a_path_may_be_given_as_text(tmp_path: Path) -> None:
    path = tmp_path / "house.toml"
    path.write_text(HEAD)
    assert load_profile(str(path)).name == "house"


@pytest.mark.parametrize("name", BUILT_IN)
def test_a_whole_profile_needs_no_base(name: str) -> None:
    text = (SHIPPED / f"{name}.toml").read_text().replace(f'name = "{name}"', 'name = "copy"')
    own, shipped = parsed(text), load_profile(name)
    assert own.duty_bands == shipped.duty_bands
    assert own.windows == shipped.windows
    assert own.keys() == shipped.keys()


def test_it_asks_to_confirm_its_numbers() -> None:
    assert "confirm them against your own copy" in parsed(HEAD).confirm


def test_a_memory_row_is_read_and_never_decides() -> None:
    own = parsed(HEAD + FREQUENCY.replace('"H"', '"MEM"'))
    assert own.limit("frequency").low == 999.0
    assert not own.limit("frequency").deciding


def limit_with(line: str) -> str:
    """The frequency row with one more or one other line."""
    key = line.split("=")[0].strip()
    kept = [old for old in FREQUENCY.splitlines() if not old.startswith(key)]
    return HEAD + "\n".join([*kept, line, ""])


# Each row: what is written, and what the sentence must name.
FAULTS = [
    (limit_with('low = "999"'), ("[limit.frequency]", "'low'", "not a number")),
    (limit_with("low = true"), ("[limit.frequency]", "'low'", "not a number")),
    (limit_with("low = nan"), ("[limit.frequency]", "'low'", "cannot be used")),
    (limit_with("high = inf"), ("[limit.frequency]", "'high'", "cannot be used")),
    (limit_with("low = 1002"), ("[limit.frequency]", "'low'", "above the upper")),
    (limit_with("guard_factor = -1"), ("[limit.frequency]", "guard band")),
    (limit_with('confidence = "sure"'), ("[limit.frequency]", "'confidence'", "H, S, M, MEM")),
    (limit_with('rule = "by eye"'), ("[limit.frequency]", "'rule'", "simple acceptance")),
    (limit_with("decides = 1"), ("[limit.frequency]", "'decides'", "true nor false")),
    (limit_with('clause = ""'), ("[limit.frequency]", "'clause'", "missing or empty")),
    (limit_with("clause = 4"), ("[limit.frequency]", "'clause'", "not a text")),
    (limit_with("hihg = 1002"), ("[limit.frequency]", "'hihg'", "not known")),
    (
        HEAD + '[limit.new]\nunit = "s"\nclause = "1"\nconfidence = "H"\n',
        ("[limit.new]", "lower or an upper bound"),
    ),
    (HEAD + "[limit.high_level.G]\nlow = 1\n", ("[limit.high_level.G]", "'G'", "no state")),
    (HEAD + "[limits.frequency]\nlow = 1\n", ("'limits'", "not known", "limit")),
    (HEAD + "[limit]\nfrequency = 3\n", ("[limit.frequency]", "a table is expected")),
    (
        HEAD + '[recognise.B]\nlow = 8\nhigh = 11.5\nunit = "V"\nclause = "1"\nconfidence = "H"\n',
        ("[recognise.B]", "'high'", "overlaps"),
    ),
    (
        HEAD + '[recognise.B]\nlow = 9\nhigh = 8\nunit = "V"\nclause = "1"\nconfidence = "H"\n',
        ("[recognise.B]", "'low'", "below"),
    ),
    (
        HEAD + '[recognise.B]\nlow = 8\nhigh = 10\nunit = "mV"\nclause = "1"\nconfidence = "H"\n',
        ("[recognise.B]", "'unit'"),
    ),
    (HEAD + "[recognise.G]\nlow = 1\n", ("[recognise.G]", "'G'")),
    (HEAD + "[[part]]\nnominal = 1\n", ("[part]", "a table is expected")),
    (
        HEAD + '[part.x]\nnominal = 5\nlow = 6\nunit = "ohm"\nclause = "1"\nconfidence = "H"\n',
        ("[part.x]", "'nominal'", "outside"),
    ),
    (HEAD + '[cable]\nkind = "error"\n', ("[[cable]]", "double brackets")),
    (HEAD.replace('based_on = "iec', 'based_on = "xyz'), ("[profile]", "'based_on'")),
    (HEAD.replace('"house"', '"sae-j1772-2017"'), ("[profile]", "'name'", "another name")),
    (HEAD.replace('name = "house"', ""), ("[profile]", "'name'", "missing")),
    (HEAD + 'pulse_width_level = "top"\n', ("[profile]", "'pulse_width_level'", "zero, mid")),
    (HEAD + 'colour = "blue"\n', ("[profile]", "'colour'", "not known")),
    ("", ("[profile]", "missing")),
    ("[profile\n", ("not valid TOML",)),
    (HEAD.replace('based_on = "iec-61851-1-2017"', 'pulse_width_level = "mid"'), ("[recognise]",)),
]


@pytest.mark.parametrize(("text", "words"), FAULTS)
def test_a_fault_is_named_by_file_table_and_key(text: str, words: tuple[str, ...]) -> None:
    sentence = refusal(text)
    assert sentence.startswith("house.toml")
    for word in words:
        assert word in sentence


DUTY = '[[duty_to_current]]\nduty = "{}"\nkind = "{}"\ntext = "t"\nclause = "1"\nconfidence = "H"\n'


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([("[0, 3]", "none"), ("[3, 7]", "none")], "the bands [0, 3] and [3, 7] overlap"),
        ([("[0, 5)", "none"), ("[3, 7]", "none")], "overlap"),
        ([("3 to 7", "none")], "not an interval"),
        ([("[7, 3]", "none")], "does not rise"),
        ([("[a, 3]", "none")], "not a number"),
        ([("[nan, 3]", "none")], "does not rise"),
        ([("[90, 101]", "none")], "leaves 0 to 100 %"),
        ([("[0, 3]", "maybe")], "'kind'"),
        ([("[0, 3]", "current")], "either 'current_a' or 'slope'"),
    ],
)
def test_bands_of_duty_that_contradict_themselves(rows: list[tuple[str, str]], words: str) -> None:
    sentence = refusal(HEAD + "".join(DUTY.format(*row) for row in rows))
    assert "[[duty_to_current]]" in sentence
    assert words in sentence


def test_bands_that_touch_do_not_overlap() -> None:
    own = parsed(HEAD + DUTY.format("[0, 3)", "none") + DUTY.format("[3, 7]", "digital"))
    assert [current_of_duty(duty, own).kind.value for duty in (2.9, 3.0, 7.0, 7.1)] == [
        "none",
        "digital",
        "digital",
        "not defined",
    ]


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(ProfileError, match="cannot be read: No such file"):
        load_profile(tmp_path / "none.toml")
    with pytest.raises(ProfileError, match="cannot be read: Is a directory"):
        load_profile(tmp_path)


def test_a_file_that_is_no_text() -> None:
    with pytest.raises(ProfileError, match=r"house\.toml is not a text in UTF-8"):
        parse_profile("house.toml", b"\xff\xfe[profile]")

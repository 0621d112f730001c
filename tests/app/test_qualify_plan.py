"""Plans: what ships, and what is refused, with the line and the key."""

from pathlib import Path

import pytest

from rungbench.archive.record import Role
from rungbench.errors import ExitStatus
from rungbench.qualify.checks import CHECK_KINDS
from rungbench.qualify.errors import PlanError
from rungbench.qualify.plan import Do
from rungbench.qualify.plan_file import load_plan, read_plan, shipped_plans

HEAD = 'schema = "rungbench.plan/1"\nname = "mine"\ntitle = "Mine"\n'
STEP = '[[step]]\nname = "open"\ndo = "observe"\nrung = "open"\n'
CHECK = '[[step.check]]\nkind = "idle-level"\n'
GOOD = HEAD + STEP + CHECK


def test_quick_holds_what_an_incoming_inspection_needs() -> None:
    plan = load_plan("quick")
    assert plan.name == "quick"
    assert plan.energises
    kinds = {check.kind for check in plan.checks if check.role is Role.REQUIRED}
    assert kinds == {
        *("no-mains", "no-pwm-unplugged", "idle-level", "frequency", "pulse-width"),
        *("advertised-current", "plateau-standard", "low-plateau", "source-resistance"),
        *("rail-high", "rail-low", "mains-on", "mains-off", "phases"),
    }
    assert kinds < set(CHECK_KINDS)
    assert plan.steps[0].setting.rung == "open"
    assert not any(step.setting.energising for step in plan.steps[:2])


def test_every_shipped_plan_loads_under_its_own_name() -> None:
    assert "quick" in shipped_plans()
    for name in shipped_plans():
        assert load_plan(name).name == name


def test_hash_is_that_of_the_text() -> None:
    assert read_plan(GOOD, "a").hash == read_plan(GOOD, "b").hash
    assert read_plan(GOOD, "a").hash != read_plan(GOOD + "\n", "a").hash


def test_own_plans_stand_beside_the_shipped_ones(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(GOOD, encoding="utf-8")
    assert load_plan("mine", tmp_path).title == "Mine"
    assert load_plan("quick", tmp_path).title == "Incoming inspection"


def test_own_plan_cannot_hide_a_shipped_one(tmp_path: Path) -> None:
    (tmp_path / "quick.toml").write_text(GOOD.replace('"mine"', '"quick"'), encoding="utf-8")
    with pytest.raises(PlanError, match="rename the file"):
        load_plan("quick", tmp_path)


def test_settings_are_read() -> None:
    odd = STEP + 'ladder = "high"\ndiode = "bypassed"\npe = "open"\ncable = "32"\n'
    (step,) = read_plan(HEAD + odd + CHECK, "p").steps
    assert step.do is Do.OBSERVE
    assert step.setting.text() == "open, high ladder, diode bypassed, PE return open, cable code 32"


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        (GOOD.replace("/1", "/9"), 1, "schema: must be 'rungbench.plan/1'"),
        (HEAD + "colour = 1\n" + STEP + CHECK, 4, "colour: there is no such key"),
        (HEAD.replace('title = "Mine"\n', "") + STEP + CHECK, 1, "'title' is missing"),
        (HEAD, 1, "step: the plan has none, and an empty plan proves nothing"),
        (HEAD + STEP, 1, "the plan has no check, and an empty plan proves nothing"),
        (HEAD + "step = 3\n", 4, "step: must be tables"),
        (GOOD.replace("observe", "ponder"), 6, "step[0].do: 'ponder' is none of observe, change"),
        (GOOD.replace('rung = "open"', 'rung = "Q"'), 7, "step[0].rung: 'Q' is none of open"),
        (GOOD.replace('rung = "open"\n', ""), 4, "step[0]: 'rung' is missing"),
        (HEAD + STEP + "record_s = -1\n" + CHECK, 8, "step[0].record_s: must lie between 0"),
        (HEAD + STEP + "record_s = true\n" + CHECK, 8, "must be a number of seconds"),
        (HEAD + STEP + 'record_s = "1"\n' + CHECK, 8, "must be a number of seconds"),
        (HEAD + STEP + "record_s = nan\n" + CHECK, 8, "must lie between 0"),
        (HEAD + STEP + "name = 4\n" + CHECK, None, "is not TOML"),
        (GOOD.replace("idle-level", "idle"), 9, "step[0].check[0].kind: there is no check 'idle'"),
        (GOOD.replace("idle-level", "mains-on"), 9, "judged from a step that does observe"),
        (GOOD + 'role = "important"\n', 10, "check[0].role: 'important' is none of required"),
        (GOOD + 'against = "open"\n', 10, "does not compare with another step"),
        (GOOD + CHECK, 10, "the id 'idle-level' is used twice"),
        (GOOD + STEP + CHECK + 'id = "x"\n', 11, "step[1].name: a step called 'open' came before"),
        (GOOD + 'role = "indicative"\n', 1, "no check of the plan is required"),
        (
            GOOD.replace("idle-level", "source-resistance") + 'against = "B"\n',
            10,
            "no step before this one is called 'B'",
        ),
        (GOOD.replace("idle-level", "source-resistance"), 8, "name it with 'against'"),
        (
            HEAD + STEP.replace("observe", "change") + '[[step.check]]\nkind = "mains-on"\n',
            4,
            "a change must say what to expect and by which limit",
        ),
        ("schema = ", None, "p.toml is not TOML"),
    ],
)  # fmt: skip
def test_faulty_plans_are_refused(text: str, line: int | None, said: str) -> None:
    with pytest.raises(PlanError) as refusal:
        read_plan(text, "p.toml")
    assert said in str(refusal.value)
    assert refusal.value.exit_status is ExitStatus.WRONG_USE
    if line is not None:
        assert str(refusal.value).startswith(f"p.toml, line {line}, ")


@pytest.mark.parametrize("name", ["nothing", "../quick", "Quick", "", "quick.toml"])
def test_unknown_plans_are_refused(name: str, tmp_path: Path) -> None:
    with pytest.raises(PlanError, match=r"no plan 'nothing'; known: .*quick|small letters"):
        load_plan(name, tmp_path)

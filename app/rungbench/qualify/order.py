"""What is to be run, and what a record says of it before the first check."""

import platform
from dataclasses import asdict, dataclass
from importlib.metadata import PackageNotFoundError, version
from typing import Any, Final

from pilotsignal.errors import QuantityError
from pilotsignal.standard import Profile, duty_of_current
from rungbench import __version__
from rungbench.archive.record import ChargerIdentity, RunHeader, new_run_id, utc_now
from rungbench.errors import WrongUse
from rungbench.link.messages import Identity
from rungbench.qualify.acts.change import limit_seconds, watch_s
from rungbench.qualify.checks import CHECK_KINDS
from rungbench.qualify.desk import Ask
from rungbench.qualify.plan import Plan, PlannedCheck, Step
from rungbench.qualify.safety import OUTLET_DEAD
from rungbench.qualify.scope import NOT_MADE
from rungbench.redact import without_password
from rungbench.standin.calibration import BenchCalibration

_PACKAGES: Final = ("numpy", "scipy", "GTC", "pyserial")
_OUTLETS: Final = ("socket", "cable")


@dataclass(frozen=True, slots=True)
class Order:
    """One charger, one plan, one profile; `armed` allows rungs that may put mains on the outlet.

    `cannot` is what is declared not to be possible with this charger: checks that need it are
    taken out before the run.
    """

    plan: Plan
    charger: ChargerIdentity
    profile: Profile
    operator: str = ""
    armed: bool = False
    cannot: frozenset[Ask] = frozenset()


def check_charger(charger: ChargerIdentity, profile: Profile) -> None:
    """Refuse a description that no charger can have.

    Raises
    ------
    WrongUse : a current that no duty stands for, phases other than 1 or 3, an unknown outlet, no
        name at all.
    """
    named = {"maker": charger.maker, "model": charger.model, "serial": charger.serial}
    for what, text in named.items():
        if not text.strip():
            raise WrongUse(f"The charger needs a {what}; state it with --{what}.")
    if charger.phases not in (1, 3):
        raise WrongUse(f"A charger has 1 or 3 phases, not {charger.phases}; state --phases.")
    if charger.outlet not in _OUTLETS:
        raise WrongUse(f"The outlet is 'socket' or 'cable', not {charger.outlet!r}.")
    for name, current in (
        ("rated", charger.rated_current_a),
        ("set", charger.set_current_a),
    ):
        if current is not None:
            _check_current(name, current, profile)
    if (charger.set_current_a or 0.0) > charger.rated_current_a:
        raise WrongUse(
            f"The set current of {charger.set_current_a:g} A lies above the rated one of "
            f"{charger.rated_current_a:g} A; state both as they are."
        )


def _check_current(name: str, current: float, profile: Profile) -> None:
    try:
        nominal = duty_of_current(current, profile)
    except QuantityError as problem:
        raise WrongUse(f"The {name} current is of no use: {problem}") from problem
    if nominal.duty_percent is None:
        raise WrongUse(f"The {name} current is of no use: {nominal.text}.")


def left_out(order: Order) -> dict[str, str]:
    """Checks that cannot apply, with the reason: no such limit in the profile, no such outlet."""
    reasons = (
        (check.id, _inapplicable(step, check, order))
        for step in order.plan.steps
        for check in step.checks
    )
    return {check: why for check, why in reasons if why}


def _inapplicable(step: Step, check: PlannedCheck, order: Order) -> str:
    kind, profile = CHECK_KINDS[check.kind], order.profile
    if step.limit and not profile.has(step.limit) and kind.by_step_limit:
        return f"{profile.edition} sets no limit {step.limit!r}"
    if kind.needs_limit and not profile.has(kind.needs_limit):
        return f"{profile.edition} sets no limit {kind.needs_limit!r}"
    rung = str(step.setting.rung)
    if kind.needs_row and not profile.has(kind.needs_row, rung):
        return f"{profile.edition} has no row {kind.needs_row!r} for rung {rung}"
    if step.asks in order.cannot:
        return f"Declared of this charger: nobody can do what it needs ({step.asks})"
    outlet = kind.outlet or step.outlet
    if outlet and outlet != order.charger.outlet:
        return f"It is for chargers with a {outlet}; this one has a {order.charger.outlet}"
    return ""


def check_holds(order: Order, identity: Identity) -> None:
    """Refuse a plan that would stay on an energising rung for longer than this board holds one.

    Raises
    ------
    WrongUse : names the step.
    """
    for step in order.plan.steps:
        limit_s = identity.hold_limit_s(step.setting.rung)
        longest_s = step.longest_s(_watch_s(step, order.profile))
        if order.armed and limit_s is not None and longest_s > limit_s:
            raise WrongUse(
                f"The step {step.name!r} of the plan {order.plan.name} may stay on rung "
                f"{step.setting.rung} for {longest_s:.0f} s, and this board opens it after "
                f"{limit_s} s; shorten the step's times in a plan of your own."
            )


def _watch_s(step: Step, profile: Profile) -> float:
    return watch_s(limit_seconds(profile, step.limit))


def cannot(step: Step, check: PlannedCheck, identity: Identity) -> str:
    """Why this board cannot do what a check needs, or nothing."""
    if not identity.can_present(step.setting):
        return f"The board cannot present {step.setting.text()}."
    if step.mode not in identity.modes:
        return f"The board cannot sample in {step.mode}."
    if CHECK_KINDS[check.kind].senses_mains and not identity.phases_sensed:
        return "The board has no mains senses."
    return ""


def header(order: Order, url: str, identity: Identity, calibration: BenchCalibration) -> RunHeader:
    """The record's first page."""
    gone = left_out(order)
    planned = tuple(check.id for check in order.plan.checks if check.id not in gone)
    return RunHeader(
        run_id=new_run_id(),
        simulated=identity.simulated,
        charger=order.charger,
        operator=order.operator,
        bench_url=without_password(url),
        board=board_dict(identity),
        calibration=calibration.as_dict(),
        profile=order.profile.label,
        profile_hash=order.profile.hash,
        plan=order.plan.name,
        plan_hash=order.plan.hash,
        versions=versions(),
        started=utc_now(),
        left_out=(*gone.items(), *NOT_MADE),
        planned=(*planned, OUTLET_DEAD),
    )


def board_dict(identity: Identity) -> dict[str, Any]:
    """The board's identity as plain values."""
    plain = asdict(identity)
    return {name: _plain(value) for name, value in plain.items()}


def _plain(value: Any) -> Any:
    return [str(item) for item in value] if isinstance(value, tuple) else value


def versions() -> dict[str, str]:
    """What computed the results."""
    found = {"rungbench": __version__, "python": platform.python_version()}
    for package in _PACKAGES:
        try:
            found[package] = version(package)
        except PackageNotFoundError:
            found[package] = "unknown"
    return found

"""``rungbench watch``: live readings of the pilot at one rung."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final
from urllib.parse import parse_qsl, urlsplit

import click

from pilotsignal.measure import PilotMeasurement
from pilotsignal.notices import Notice
from pilotsignal.quantity import Quantity
from pilotsignal.standard.profile import Profile
from rungbench.cli.amounts import NumberRange
from rungbench.cli.qualify import find_profile, require_bench
from rungbench.errors import ExitStatus, Interrupted, WrongUse
from rungbench.link.words import OPEN, TICK_S, Mode, Rung, Setting
from rungbench.qualify.acts.ground import measured
from rungbench.qualify.bench import is_simulated, open_bench
from rungbench.qualify.safety import Safety, make_safe
from rungbench.qualify.stop import Stop, on_ctrl_c
from rungbench.settings import load_settings
from rungbench.standin.board import StandIn
from rungbench.standin.record import Losses

READING_S: Final = 0.5


@dataclass(frozen=True, slots=True)
class Reading:
    """One look at the pilot; `at_s` is board time since the watch began."""

    at_s: float
    setting: Setting
    measurement: PilotMeasurement | None
    mains: frozenset[int]
    losses: Losses
    armed: bool
    simulated: bool

    @property
    def notices(self) -> tuple[Notice, ...]:
        return self.measurement.notices if self.measurement else ()

    def quantity(self, name: str) -> Quantity | None:
        """A quantity by its name, if the look carries it."""
        return self.measurement.quantities()[name] if self.measurement else None


@click.command()
@click.option("--bench", metavar="URL", help="Port or URL of the board; sim://sound is simulated.")
@click.option(
    "--rung",
    type=click.Choice([str(rung) for rung in Rung], case_sensitive=False),
    default=str(Rung.OPEN),
    show_default=True,
    help="What is presented to the charger. C and D need --arm: the outlet may be live.",
)
@click.option("--arm", is_flag=True, help="Allow rungs at which mains is put on the outlet.")
@click.option("--seconds", type=NumberRange(0.5, 86_400), help="End after so long.")
@click.option("--profile", metavar="NAME|FILE", help="Whose tables give state and current.")
def watch(**given: Any) -> ExitStatus:
    """Show live readings until Ctrl-C, or for --seconds.

    The stand-in is left on open, and after any other rung the outlet is watched for 5 s.
    """
    settings = load_settings({"bench": given["bench"], "profile": given["profile"]}).settings
    url = real_time(require_bench(settings.bench))
    profile = find_profile(settings.profile)
    setting = Setting(Rung(given["rung"]))
    if setting.energising and not given["arm"]:
        raise WrongUse(
            f"Rung {setting.rung} puts mains on the charger's outlet; add --arm if that is meant."
        )
    # Late: tables are drawn for people only.
    from rungbench.cli.watch_view import WatchView

    stop = Stop()
    with on_ctrl_c(stop), open_bench(url) as standin:
        standin.check_stop = stop.check
        if given["arm"]:
            standin.arm_energising()
        with WatchView() as view:
            safety = look(standin, setting, given["seconds"], view.show, profile)
        view.end(safety)
    return ExitStatus.FAILED if safety is not None and safety.live else ExitStatus.DONE


def look(
    standin: StandIn,
    setting: Setting,
    seconds: float | None,
    show: Callable[[Reading], None],
    profile: Profile | None = None,
) -> Safety | None:
    """Present `setting` and show readings until the time is over or somebody wishes to stop.

    Returns how the return to open ended, or ``None`` where open was never left.
    """
    try:
        standin.hold(setting)
        start = standin.now_tick
        while seconds is None or (standin.now_tick - start) * TICK_S < seconds:
            show(read(standin, start, profile))
    except (Interrupted, KeyboardInterrupt):
        # Ctrl-C is how a watch ends.
        pass
    finally:
        safety = None if setting == OPEN else make_safe(standin)
    return safety


def read(standin: StandIn, start_tick: int = 0, profile: Profile | None = None) -> Reading:
    """One reading of what is presented now."""
    armed = standin.run_armed
    record = standin.record(READING_S, Mode.STREAM10)
    return Reading(
        at_s=(record.end_tick - start_tick) * TICK_S,
        setting=standin.setting,
        measurement=measured(record, profile),
        mains=record.mains,
        losses=record.losses,
        armed=armed,
        simulated=standin.identity.simulated,
    )


def real_time(url: str) -> str:
    """The address, a simulated bench slowed down to one second per second unless it says more."""
    if not is_simulated(url):
        return url
    query = urlsplit(url).query
    if any(key == "speed" for key, _ in parse_qsl(query, keep_blank_values=True)):
        return url
    return f"{url}{'&' if query else '' if url.endswith('?') else '?'}speed=1"

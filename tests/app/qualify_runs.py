"""A whole run against a simulated bench, and a look at that bench afterwards."""

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from pilotsignal.standard import load_profile
from rungbench.archive.record import ChargerIdentity, CheckResult, Record
from rungbench.archive.store import open_archive
from rungbench.link.port import open_port
from rungbench.qualify.bench import calibration_for
from rungbench.qualify.desk import EmptyDesk
from rungbench.qualify.order import Order
from rungbench.qualify.plan import Plan
from rungbench.qualify.plan_file import load_plan
from rungbench.qualify.progress import People, Told
from rungbench.qualify.runner import run
from rungbench.qualify.simulated_desk import SimulatedDesk
from rungbench.qualify.stop import Stop
from rungbench.simulated.bench import Bench
from rungbench.simulated.operator import Operator
from rungbench.standin.board import Calibrate, StandIn

DEMO = ChargerIdentity("Example", "Demo 11", "D-0001", 16.0, None, 3, "cable")


@dataclass
class Run:
    """One run to come; `told` and `bench` are filled by it.

    `helped`: somebody at the simulated bench does what the plan asks for.
    """

    folder: Path
    keys: str = ""
    charger: ChargerIdentity = DEMO
    armed: bool = True
    plan: Plan = field(default_factory=lambda: load_plan("quick"))
    profile: str = "iec-61851-1-2017"
    calibrate: Calibrate | None = None
    stop: Stop = field(default_factory=Stop)
    told: list[Told] = field(default_factory=list)
    before: Callable[[StandIn], None] | None = None
    helped: bool = False
    bench: Bench | None = None
    board_s: float = 0.0

    @property
    def url(self) -> str:
        return f"sim://sound?{self.keys}" if self.keys else "sim://sound"

    @property
    def archive(self) -> Path:
        return self.folder / "demo.sqlite"

    def record(self) -> Record:
        """Run it."""
        order = Order(self.plan, self.charger, load_profile(self.profile), "nobody", self.armed)
        calibrate = self.calibrate or calibration_for(self.url)
        port = open_port(self.url)
        self.bench = Operator(port)._bench
        with (
            open_archive(self.archive, simulated=True) as archive,
            StandIn.behind(port, calibrate) as standin,
        ):
            if self.before is not None:
                self.before(standin)
            standin.check_stop = self.stop.check
            desk = SimulatedDesk(Operator(port)) if self.helped else EmptyDesk()
            people = People(self.told.append, desk, self.stop.hurry)
            record = run(order, standin, archive, people, url=self.url)
            self.board_s = standin.now_tick * 62.5e-9
        return record

    def presents_nothing(self) -> bool:
        """Whether no resistor of the simulated ladder hangs at the pilot any more."""
        assert self.bench is not None
        if not self.bench.unplugged:
            self.bench.advance(0.1)
        return math.isinf(self.bench._ladder.load().ladder_ohm)


def last(record: Record) -> dict[str, CheckResult]:
    """The last attempt at each check."""
    return {result.check: result for result in record.checks}


def having(record: Record, verdict: str) -> set[str]:
    """Checks whose last attempt came to a verdict."""
    return {name for name, result in last(record).items() if result.verdict == verdict}

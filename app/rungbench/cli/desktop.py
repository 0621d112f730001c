"""``rungbench desktop``: the windows."""

import click

from rungbench.cli.qualify import find_profile
from rungbench.cli.watch import real_time
from rungbench.errors import ExitStatus, RungbenchError
from rungbench.settings import load_settings


@click.command()
@click.option("--bench", metavar="URL", help="Port or URL of the board; sim://sound is simulated.")
@click.option("--profile", metavar="NAME|FILE", help="Limits to judge by.")
def desktop(bench: str | None, profile: str | None) -> ExitStatus:
    """Open the window: live readings, runs, records, the bench.

    Without a bench it opens without one; choose it there.  A simulated bench runs in real time.
    """
    settings = load_settings({"bench": bench, "profile": profile}).settings
    limits = find_profile(settings.profile)
    try:
        # Late: only this command needs Qt.
        from rungbench.desktop.app import run_desktop
    except ImportError as problem:
        raise RungbenchError(
            f"The windows cannot be opened ({problem}); install Qt's libraries as the README says, "
            "or use the other commands."
        ) from problem
    return run_desktop(real_time(settings.bench) if settings.bench else "", limits)

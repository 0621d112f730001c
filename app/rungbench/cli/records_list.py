"""The list of runs on the terminal."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Self

from rich.console import Console
from rich.table import Table
from rich.text import Text

from rungbench.archive.search import RunSummary, Search
from rungbench.archive.store import Archive
from rungbench.cli.terminal import SIMULATED, PageConsole, safe, verdict_text

# A table of five columns needs this many to show a record's name and its verdict whole.
_NARROW: Final = 72


@dataclass(frozen=True, slots=True)
class Page:
    """Runs of one archive; `more` says that there are others that fit too."""

    simulated: bool
    summaries: tuple[RunSummary, ...]
    more: bool

    @classmethod
    def of(cls, archive: Archive, search: Search) -> Self:
        """The newest runs that fit, or the oldest."""
        found = archive.find(replace(search, limit=search.limit + 1))
        page = found[-search.limit :] if search.oldest else found[: search.limit]
        return cls(archive.simulated, page, len(found) > search.limit)


def print_pages(pages: Sequence[Page]) -> None:
    """Print one table per archive; simulated runs carry the word on every line."""
    console = PageConsole()
    for page in pages:
        if not page.summaries:
            continue
        if page.simulated:
            console.print(Text(f"{SIMULATED}: runs of the demo archive, no charger was tested."))
        if console.width < _NARROW:
            for one in page.summaries:
                console.print(_lines(one, page.simulated, console))
        else:
            console.print(_table(page, console))
        if page.more:
            console.print(f"These are {len(page.summaries)} of more; --limit shows more.")


def other_archive_hint(counts: Mapping[bool, int]) -> str:
    """What to say when nothing was listed; `counts` are runs by archive, demo is true."""
    if not any(counts.values()):
        return "No records yet; `rungbench qualify` makes the first."
    real, demo = counts.get(False, 0), counts.get(True, 0)
    return (
        f"No record fits. The archive holds {real} and the demo archive {demo}; "
        "`rungbench records list --both` shows all."
    )


def _table(page: Page, console: Console) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold", show_edge=False)
    if page.simulated:
        table.add_column("", no_wrap=True)
    table.add_column("Record", no_wrap=True)
    table.add_column("Started (UTC)", no_wrap=True)
    table.add_column("Charger", overflow="fold", ratio=3)
    table.add_column("Serial", overflow="fold", ratio=2)
    table.add_column("Verdict", no_wrap=True)
    for one in page.summaries:
        mark = [Text(SIMULATED, style="bold")] if page.simulated else []
        table.add_row(
            *mark,
            one.run_id,
            f"{one.started:%Y-%m-%d %H:%M}",
            safe(f"{one.maker} {one.model}"),
            safe(one.serial),
            _verdict(one, console),
        )
    return table


def _lines(one: RunSummary, simulated: bool, console: Console) -> Text:
    """One run below the other where a table would have to cut its words."""
    text = Text(f"{SIMULATED} " if simulated else "", style="bold")
    text.append(f"{one.run_id}\n{one.started:%Y-%m-%d %H:%M} UTC\n")
    text.append_text(safe(f"{one.maker} {one.model}, {one.serial}")).append("\n")
    return text.append_text(_verdict(one, console)).append("\n")


def _verdict(one: RunSummary, console: Console) -> Text:
    text = verdict_text(one.verdict.value, console)
    if one.finished is None:
        return text.append("\nno end", style="italic")
    return text

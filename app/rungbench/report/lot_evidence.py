"""A lot with all that a report about it needs."""

from dataclasses import dataclass

from rungbench.archive.chain import Link
from rungbench.archive.links import last_about
from rungbench.archive.lot_events import lot_id
from rungbench.archive.store import Archive
from rungbench.lots.failures import Failure, failures_in
from rungbench.lots.lot import LotState
from rungbench.lots.store import Lots
from rungbench.lots.variables import Variables, every_variables_in
from rungbench.report.evidence import Evidence


@dataclass(frozen=True, slots=True)
class LotEvidence:
    """A lot, its values, and every run of its units by unit and order of joining.

    `variables` are the views of every quantity against which a limit stands.  `identity` is the id
    by which the chain of lots knows it, `entries` the last entry about the lot or its runs in each
    chain, with its hash: all that was entered before is vouched for by it.
    """

    state: LotState
    failures: tuple[Failure, ...]
    variables: tuple[Variables, ...]
    runs: tuple[Evidence, ...]
    identity: str
    entries: tuple[tuple[Link, str], ...]

    @property
    def code(self) -> str:
        """What the QR code says: the lot's id, and the hash of the last entry about it."""
        own = [stored for link, stored in self.entries if link.record == self.identity]
        return f"rungbench {self.identity} entry {own[0] if own else 'none'}"

    @property
    def hashes(self) -> dict[str, str]:
        """SHA-256 of the records by their ids."""
        return {one.record.run_id: one.sha256 for one in self.runs}


def gather(archive: Archive, name: str) -> LotEvidence:
    """All about the lot of that name.

    Raises
    ------
    NoSuchLot : there is none.
    ArchiveError : the archive cannot be read.
    """
    state = Lots(archive).state(name)
    names = [run.run_id for unit in state.units for run in unit.runs]
    names += [move.run_id for move in state.moves if move.run_id and move.run_id not in names]
    with archive.reading() as connection:
        identity = lot_id(connection, state.lot.number)
        entries = last_about(connection, [identity, *names])
    return LotEvidence(
        state=state,
        failures=failures_in(archive, state),
        variables=every_variables_in(archive, [state]),
        runs=tuple(Evidence.of(archive.load(one), archive.load_capture) for one in names),
        identity=identity,
        entries=entries,
    )

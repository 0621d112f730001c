"""Lots in an archive: made, filled run by run, closed.

Each call that writes is one transaction, in which everything that could forbid it is looked at
again: two benches may work on one lot.  Nothing is ever changed or removed.
"""

from typing import Final

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.lot_events import enter_new, heads_now
from rungbench.archive.reading import load_record, number_of
from rungbench.archive.record import utc_now
from rungbench.archive.rows import search_key
from rungbench.archive.store import Archive, Beside
from rungbench.lots import admission, drawing
from rungbench.lots.basis import basis_of_run, require_same
from rungbench.lots.decision import LotDecision
from rungbench.lots.errors import LotRefused
from rungbench.lots.lot import Lot, LotEnd, LotOrder, LotState
from rungbench.lots.reading import find_lot, lots_of, state_of, states_of
from rungbench.lots.rows import end_row, lot_row
from rungbench.lots.switching import Advice, PastLot, advise

_LONGEST: Final = 80


class Lots:
    """The lots of an open archive."""

    def __init__(self, archive: Archive) -> None:
        self._archive = archive

    @property
    def simulated(self) -> bool:
        return self._archive.simulated

    def make(self, order: LotOrder) -> Lot:
        """Enter a new lot and draw its sample.

        Raises
        ------
        LotRefused : the name is taken or of no use, the serial numbers are not as many as the
            lot has units, or the lot that is presented again was not rejected.
        ArchiveError : the archive cannot be written.
        """
        _check_names(order)
        with self._archive.writing() as connection:
            old = self._before(connection, order)
            advice = self._advice(connection, order)
            lot = _insert(connection, lot_row(order, advice, None if old is None else old.number))
            made = find_lot(connection, order.name, simulated=self.simulated)
            chosen = drawing.draw(made.seed, made.plan.lot_size, made.plan.sample_size)
            sample = [{"lot": lot, "unit": unit} for unit in chosen]
            connection.execute(schema.lot_sample.insert(), sample)
            _insert_serials(connection, lot, order.serials)
            enter_new(connection, lot)
        return made

    def find(self, name: str) -> Lot:
        """The lot of that name; `NoSuchLot` if there is none."""
        with self._archive.reading() as connection:
            return find_lot(connection, name, simulated=self.simulated)

    def state(self, name: str) -> LotState:
        """The lot of that name, as far as it has come; `NoSuchLot` if there is none."""
        with self._archive.reading() as connection:
            return state_of(connection, find_lot(connection, name, simulated=self.simulated))

    def states(self, supplier: str | None = None) -> tuple[LotState, ...]:
        """Lots of one supplier or of all, the oldest first, as far as they have come."""
        with self._archive.reading() as connection:
            found = lots_of(connection, supplier, simulated=self.simulated)
            return tuple(states_of(connection, found))

    def advice(self, order: LotOrder) -> Advice:
        """What the switching rules ask for a lot like `order`; they are from memory."""
        with self._archive.reading() as connection:
            return self._advice(connection, order)

    def scan(self, lot: Lot, unit: int, serial: str) -> None:
        """Enter the serial number of a unit that was drawn by its place.

        Raises
        ------
        LotRefused : the unit was not drawn or has a serial number, or that number is another's.
        WrongUse : it does not fit the pattern of the model sheet.
        """
        with self._archive.writing() as connection:
            admission.enter_serial(connection, lot, unit, serial)
            enter_new(connection, lot.number)

    def admit(self, lot: Lot, serial: str, reason: str = "") -> int:
        """The unit that a run of this serial number would be of; nothing is written.

        Raises
        ------
        LotRefused : such a run may not join the lot.
        WrongUse : the serial number does not fit the pattern of the model sheet.
        """
        with self._archive.reading() as connection:
            unit = admission.admit(connection, lot, serial, reason)
            admission.require_first(connection, lot, serial, None)
        return unit

    def joining(self, lot: Lot, serial: str, reason: str = "") -> Beside:
        """What enters a run that begins into the lot, together with the run itself."""

        def join(connection: sa.Connection, run: int) -> None:
            admission.join(connection, lot, run, admission.Joining(serial, reason))
            enter_new(connection, lot.number)

        return join

    def add(self, lot: Lot, run_id: str, reason: str = "") -> str:
        """Let a run that is recorded already join the lot; returns its whole id.

        Raises
        ------
        NoSuchRecord : no run goes by that id in this archive.
        LotRefused : it belongs to a lot already, was judged by something else, or may not join.
        """
        with self._archive.writing() as connection:
            run = number_of(connection, run_id)
            header = load_record(connection, run).header
            admission.require_free(connection, run, header.run_id)
            if header.origin is not None:
                raise LotRefused(
                    f"Record {header.run_id} was made from {header.origin.record}, nothing was "
                    "measured for it; only a run on the bench joins a lot."
                )
            require_same(lot, header.charger, basis_of_run(header))
            if header.started < lot.made:
                raise LotRefused(
                    f"Record {header.run_id} was made before the sample of lot {lot.name!r} was "
                    "drawn; test the unit for the lot."
                )
            joining = admission.Joining(header.charger.serial, reason)
            admission.join(connection, lot, run, joining)
            enter_new(connection, lot.number)
        return header.run_id

    def move(self, lot: Lot, run_id: str, correction: admission.Correction) -> str:
        """Enter that a run is of another unit than it had joined as; returns its whole id.

        The entry that it corrects stays.  In a lot drawn by places the serial number goes along,
        and with it all runs of that unit.

        Raises
        ------
        NoSuchRecord : no run goes by that id in this archive.
        LotRefused : as `admission.move`.
        """
        with self._archive.writing() as connection:
            run = number_of(connection, run_id)
            admission.move(connection, lot, run, correction)
            enter_new(connection, lot.number)
            return load_record(connection, run).run_id

    def close(self, lot: Lot, reason: str = "", operator: str = "") -> LotEnd:
        """End the inspection with the decision that is certain by now.

        An open lot may be closed without a decision, with a reason.

        Raises
        ------
        LotRefused : it is closed already, or open and no reason was given.
        """
        with self._archive.writing() as connection:
            admission.hold(connection, lot)
            state = state_of(connection, lot)
            admission.require_open(state.lot, state.end)
            admission.require_own(connection, lot)
            standing = state.standing
            if standing.decision is LotDecision.OPEN and not reason.strip():
                raise LotRefused(
                    f"Lot {lot.name!r} is open ({standing.why}) Test what is left, or state why "
                    "it is closed without a decision."
                )
            end = LotEnd(standing.decision, standing.tally, utc_now(), reason.strip(), operator)
            row = {**end_row(lot.number, end), "heads": heads_now(connection)}
            connection.execute(schema.lot_ends.insert().values(**row))
            enter_new(connection, lot.number)
        return end

    def _before(self, connection: sa.Connection, order: LotOrder) -> Lot | None:
        """The lot that is presented again, if it may be."""
        if not order.resubmits:
            return None
        state = state_of(
            connection, find_lot(connection, order.resubmits, simulated=self.simulated)
        )
        old, problem = state.lot, _why_not_again(state, order)
        if problem:
            raise LotRefused(f"Lot {old.name!r} cannot be presented again: {problem}.")
        return old

    def _advice(self, connection: sa.Connection, order: LotOrder) -> Advice:
        past = []
        for state in states_of(connection, self._alike(connection, order)):
            if state.end is not None:
                lot = state.lot
                past.append(PastLot(lot.name, lot.plan.severity, state.end.decision))
        return advise(past)

    def _alike(self, connection: sa.Connection, order: LotOrder) -> list[Lot]:
        """Original inspections of the same supplier, model and AQL."""
        lots = lots_of(connection, order.supplier, simulated=self.simulated)
        return [
            lot
            for lot in lots
            if lot.resubmits is None and lot.plan.aql == order.plan.aql and _same_model(lot, order)
        ]


def _same_model(lot: Lot, order: LotOrder) -> bool:
    one, other = lot.sheet, order.sheet
    pairs = ((one.maker, other.maker), (one.model, other.model))
    return all(search_key(left or "") == search_key(right or "") for left, right in pairs)


def _why_not_again(state: LotState, order: LotOrder) -> str:
    old = state.lot
    if state.end is None or state.end.decision is not LotDecision.REJECT:
        return "it was not closed as rejected"
    if state.again:
        return f"it was already, as {state.again[0]!r}"
    if search_key(old.supplier) != search_key(order.supplier) or not _same_model(old, order):
        return "its supplier and model are others"
    if order.plan.lot_size > old.plan.lot_size:
        return f"it had {old.plan.lot_size} units, fewer than {order.plan.lot_size}"
    return ""


def _check_names(order: LotOrder) -> None:
    for what, text in (("lot", order.name), ("supplier", order.supplier)):
        if not text.strip() or len(text) > _LONGEST or not text.isprintable():
            raise LotRefused(
                f"The name of the {what} {text[:_LONGEST]!a} is of no use; give 1 to {_LONGEST} "
                "signs that can be printed."
            )
    for what, stated in (("maker", order.sheet.maker), ("model", order.sheet.model)):
        if not (stated or "").strip():
            raise LotRefused(f"The model sheet of a lot must state the {what}; add it.")
    count = len(order.serials)
    if count not in (0, order.plan.lot_size):
        raise LotRefused(
            f"The list has {count} serial numbers for a lot of {order.plan.lot_size}; state the "
            "size that was delivered, or correct the list."
        )


def _insert(connection: sa.Connection, row: dict[str, object]) -> int:
    key = row["name_key"]
    taken = sa.select(schema.lots.c.name).where(schema.lots.c.name_key == key)
    if connection.scalar(taken) is not None:
        raise LotRefused(f"There is a lot {row['name']!r} already; choose another name.")
    result = connection.execute(schema.lots.insert().values(**row))
    (number,) = result.inserted_primary_key or (0,)
    return int(number)


def _insert_serials(connection: sa.Connection, lot: int, serials: tuple[str, ...]) -> None:
    moment = utc_now()
    rows = [
        admission.serial_row(lot, unit, serial, moment)
        for unit, serial in enumerate(serials, start=1)
    ]
    if rows:
        connection.execute(schema.lot_serials.insert(), rows)

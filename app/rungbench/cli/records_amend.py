"""``rungbench records judge`` and ``correct``: records made from others; nothing is measured."""

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from rungbench.cli.records_archive import archive_meant, one_archive
from rungbench.errors import WrongUse

if TYPE_CHECKING:
    from pilotsignal.limit import Rule
    from pilotsignal.standard import Profile
    from rungbench.archive.record import Record

_RULES = {"guarded": "GUARDED", "simple": "SIMPLE", "reject-beyond-u": "REJECT_BEYOND_U"}
_CORRECTED = ("maker", "model", "serial", "notes", "operator")


@click.command("judge")
@click.argument("record_id", metavar="ID")
@click.option("--profile", metavar="NAME|FILE", help="Limits to judge by (default: its own).")
@click.option("--rule", type=click.Choice(list(_RULES)), help="Rule instead of that of each limit.")
@click.option(
    "--guard",
    type=click.FloatRange(0.0, 10.0),
    metavar="FACTOR",
    help="Guard band of --rule, in U.",
)
@click.option("--reason", default="", metavar="TEXT", help="Why, for the record.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@one_archive
def judge_record(record_id: str, **given: Any) -> None:
    """Judge a finished record again, by the values that it holds; both records are kept.

    What its values cannot answer under the other profile becomes undecided.
    """
    from rungbench.qualify.rejudge import judge_again
    from rungbench.qualify.relimit import Ruling

    if given["guard"] is not None and given["rule"] in (None, "simple"):
        raise WrongUse("--guard goes with --rule guarded or reject-beyond-u.")
    with archive_meant(given["archive"], demo=given["demo"]) as archive:
        record = archive.load(record_id)
        old = _own_profile(record)
        profile = _profile(given["profile"]) if given["profile"] else old
        guard = 1.0 if given["guard"] is None else given["guard"]
        ruling = Ruling(profile, _rule(given["rule"]), guard)
        again = judge_again(record, old, ruling, given["reason"])
        archive.add_derived(again)
        _show(archive.load(again.run_id), as_json=given["as_json"])


@click.command("correct")
@click.argument("record_id", metavar="ID")
@click.option("--maker", metavar="NAME", help="The right maker.")
@click.option("--model", metavar="NAME", help="The right model.")
@click.option("--serial", metavar="NUMBER", help="The right serial number.")
@click.option("--notes", metavar="TEXT", help="The right notes.")
@click.option("--operator", metavar="NAME", help="The right operator; empty for none.")
@click.option("--reason", required=True, metavar="TEXT", help="Why, for the record.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@one_archive
def correct_record(record_id: str, reason: str, **given: Any) -> None:
    """Correct what was entered with a record: a new one that names the old, which is kept.

    What was measured and judged cannot be corrected.
    """
    changed = {name: given[name] for name in _CORRECTED if given[name] is not None}
    if not changed:
        raise WrongUse("State what is right: --maker, --model, --serial, --notes or --operator.")
    if not reason.strip():
        raise WrongUse("A correction needs a --reason.")
    with archive_meant(given["archive"], demo=given["demo"]) as archive:
        corrected = _corrected(archive.load(record_id), changed, reason)
        archive.add_derived(corrected)
        _show(archive.load(corrected.run_id), as_json=given["as_json"])


def _corrected(record: "Record", changed: dict[str, str], reason: str) -> "Record":
    from rungbench.archive.chain import record_hash
    from rungbench.archive.record import Derivation, Origin, new_run_id, utc_now

    if record.finished is None:
        raise WrongUse(f"Record {record.run_id} has no end; only a finished one is corrected.")
    blank = [name for name in ("maker", "model", "serial") if not changed.get(name, "x").strip()]
    if blank:
        raise WrongUse(f"The charger needs a {blank[0]}; state it with --{blank[0]}.")
    header = record.header
    operator = changed.pop("operator", header.operator)
    told = ", ".join([*changed, *(["operator"] if operator != header.operator else [])])
    origin = Origin(
        Derivation.CORRECTED,
        record.run_id,
        record_hash(record),
        f"{told or 'nothing'}. {reason.strip()}",
        utc_now(),
    )
    old = header.charger
    charger = replace(
        old,
        maker=changed.get("maker", old.maker),
        model=changed.get("model", old.model),
        serial=changed.get("serial", old.serial),
        notes=changed.get("notes", old.notes),
    )
    new = replace(header, run_id=new_run_id(), charger=charger, operator=operator, origin=origin)
    return replace(record, header=new, followed_by=(), expired=())


def _own_profile(record: "Record") -> "Profile":
    """The profile that the record was judged by; whether it is still the same is checked later."""
    return _profile(record.header.profile.partition(" (")[0].partition(",")[0])


def _profile(name: str) -> "Profile":
    from rungbench.cli.qualify import find_profile

    return find_profile(name)


def _rule(name: str | None) -> "Rule | None":
    from pilotsignal.limit import Rule

    return None if name is None else Rule[_RULES[name]]


def _show(record: "Record", *, as_json: bool) -> None:
    if as_json:
        from rungbench.archive.document import run_document
        from rungbench.cli.printing import print_json
        from rungbench.qualify.findings import findings_document

        print_json(run_document(record) | {"findings": findings_document(record)})
        return
    from rungbench.cli.records_show import print_record

    print_record(record)

"""A record judged again under other limits or another rule; both records are kept; no Qt."""

from dataclasses import dataclass

from pilotsignal.limit import Rule
from pilotsignal.standard import BUILT_IN, Profile, load_profile
from rungbench.archive.record import Record
from rungbench.archive.store import Archive
from rungbench.paths import paths
from rungbench.qualify.rejudge import judge_again
from rungbench.qualify.relimit import Ruling


@dataclass(frozen=True, slots=True)
class Asked:
    """By what: the name of a profile, a rule instead of that of each limit, and why."""

    profile: str
    rule: Rule | None = None
    reason: str = ""


def profile_names() -> tuple[str, ...]:
    """Profiles that ship, then those of the user."""
    own = sorted(file.stem for file in paths().profiles.glob("*.toml"))
    return (*BUILT_IN, *(name for name in own if name not in BUILT_IN))


def own_name(record: Record) -> str:
    """Name of the profile that a record was judged by."""
    return record.header.profile.partition(" (")[0].partition(",")[0]


def judged_again(archive: Archive, run_id: str, asked: Asked) -> Record:
    """Judge a record of the archive again, and keep the new one beside it.

    Raises
    ------
    WrongUse : it has no end, its own profile is not at hand, or it is judged so already.
    ArchiveError : the archive cannot be read or written.
    """
    record = archive.load(run_id)
    ruling = Ruling(_profile(asked.profile), asked.rule)
    again = judge_again(record, _profile(own_name(record)), ruling, asked.reason.strip())
    archive.add_derived(again)
    return archive.load(again.run_id)


def _profile(name: str) -> Profile:
    own = paths().profiles / f"{name}.toml"
    return load_profile(own if name not in BUILT_IN and own.is_file() else name)

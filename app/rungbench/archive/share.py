"""Whether a file lies on a drive of the network, where SQLite's locks cannot be relied on.

The journal of an archive (WAL) is a memory that all its users share, which programs on different
machines cannot, https://www.sqlite.org/wal.html.  On Linux the type of the file system tells, on
Windows the type of the drive; on other systems nothing is known and nothing is refused.
"""

import re
import sys
from pathlib import Path
from typing import Final

MOUNTS: Final = Path("/proc/mounts")
# File systems that reach another machine, or the host of a virtual one; "fuse." is left out.
_SHARES: Final = frozenset(
    [
        "9p", "afp", "afs", "beegfs", "ceph", "cephfs", "cifs", "coda", "davfs", "davfs2",
        "fhgfs", "gfs", "gfs2", "glusterfs", "gpfs", "lustre", "ncp", "ncpfs", "nfs", "nfs4",
        "ocfs2", "orangefs", "prl_fs", "pvfs2", "rclone", "smb3", "smbfs", "sshfs", "vboxsf",
        "vmhgfs", "vmhgfs-fuse",
    ]
)  # fmt: skip
_OCTAL: Final = re.compile(r"\\([0-7]{3})")
_REMOTE_DRIVE: Final = 4  # DRIVE_REMOTE of GetDriveTypeW


def share_type(path: Path, mounts: Path = MOUNTS) -> str:
    """The kind of network share that `path` lies on, or nothing.

    Parameters
    ----------
    path : a file or folder; it need not exist.
    mounts : the kernel's table of mounted file systems.
    """
    if sys.platform == "win32":
        return _drive_type(path)
    try:
        lines = mounts.read_text(encoding="utf-8", errors="surrogateescape").splitlines()
    except OSError:
        return ""
    kind = _of_mount(path.resolve(), lines).removeprefix("fuse.")
    return kind if kind in _SHARES else ""


def _of_mount(path: Path, lines: list[str]) -> str:
    """File system of the deepest mount that holds `path`; the last one mounted there counts."""
    found, depth = "", -1
    for line in lines:
        fields = line.split(" ")
        if len(fields) < 3:
            continue
        at = Path(_OCTAL.sub(lambda sign: chr(int(sign[1], 8)), fields[1]))
        if path.is_relative_to(at) and len(at.parts) >= depth:
            found, depth = fields[2], len(at.parts)
    return found


def _drive_type(path: Path) -> str:
    if sys.platform != "win32":
        return ""
    import ctypes

    anchor = path.absolute().anchor
    remote = anchor.startswith("\\\\") or (
        ctypes.windll.kernel32.GetDriveTypeW(anchor) == _REMOTE_DRIVE
    )
    return "network drive" if remote else ""

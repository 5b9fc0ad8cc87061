"""What would keep a service on Linux from starting: users that are not there, folders they may not enter.

systemd starts such a unit again and again, and only its journal says why: it is told when the unit is made.
"""

import os
import stat
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from readout.daemon.service.service_unit import Service

#: Folders that are empty for the service: PrivateTmp of the unit.
_PRIVATE = (Path("/tmp"), Path("/var/tmp"))


@dataclass(frozen=True, slots=True)
class _Who:
    user: int
    groups: frozenset[int]

    def may(self, path: Path, *, read: bool) -> bool:
        """Enter the folder, or read the file, by its mode: the unit leaves not even root more."""
        found = path.stat()
        bit = stat.S_IROTH if read else stat.S_IXOTH
        if found.st_uid == self.user:
            bit <<= 6
        elif found.st_gid in self.groups:
            bit <<= 3
        return bool(found.st_mode & bit)


def obstacles(service: Service, files: Iterable[Path]) -> Iterator[str]:
    """Sentences; `files` are those the recorder reads: program, point files, maps."""
    import grp
    import pwd

    try:
        group = grp.getgrnam(service.group).gr_gid
    except KeyError:
        group = None
        yield (
            f"there is no group {service.group} on this computer: `ls -l` of the port shows which one "
            "may use serial ports; name it with --group"
        )
    try:
        user = pwd.getpwnam(service.user)
    except KeyError:
        yield f"there is no user {service.user} on this computer: useradd --system {service.user}"
        return
    groups = {*os.getgrouplist(service.user, user.pw_gid), *([] if group is None else [group])}
    who = _Who(user.pw_uid, frozenset(groups))
    yield from dict.fromkeys(told for file in files if (told := _of(file, who, service.user)) is not None)


def _of(file: Path, who: _Who, user: str) -> str | None:
    """None, too, where whoever asks cannot see it."""
    try:
        return _in_the_way(file, who, user)
    except OSError:
        return None


def _in_the_way(file: Path, who: _Who, user: str) -> str | None:
    for place in dict.fromkeys((file, file.resolve())):
        for folder in reversed(place.parents):
            if folder in _PRIVATE:
                return (
                    f"{file} is not there for the service, which has a {folder} of its own: keep it elsewhere"
                )
            if folder.is_dir() and not who.may(folder, read=False):
                return (
                    f"{user} may not enter {folder}, and {file} is needed: keep that where all may enter, "
                    "such as below /opt or /srv"
                )
        if place.is_file() and not who.may(place, read=True):
            return f"{user} may not read {place}: chmod a+r {place}"
    return None

"""Who keeps a lock or an autosave, and whether they are still there.

A process number comes back, after a reboot or by chance, so the start of the machine and of the process are
compared too. Of another machine nothing can be asked: there the age of the last sign of life decides, which
every owner gives by touching its files.
"""

from __future__ import annotations

import getpass
import os
import platform
import secrets
from functools import cache
from pathlib import Path

import msgspec
from msgspec import Struct

from lagline.session.places import now_there

SIGN_S = 10.0  # a living owner touches its files at least so often
GONE_AFTER_S = 60.0  # without a sign
_SAME_START_S = 5.0  # clocks are set right by less, numbers come back later


class Owner(Struct, frozen=True):
    """One run of the program."""

    user: str
    machine: str
    boot: str  # names the start of the machine; empty where the system does not tell
    process: int
    started: float  # of the process, seconds since 1970
    token: str  # of this run alone

    @property
    def words(self) -> str:
        """As it stands in sentences: who, and where."""
        machine, here = (one.machine.partition("/")[0] for one in (self, this_run()))
        if machine == here and self.user == this_run().user:
            return "another window on this computer"
        return f"{_shown(self.user)} on {'this computer' if machine == here else _shown(machine)}"


# Who can't be told; of them only signs of life are known.
SOMEBODY = Owner("somebody", "another computer", "", 0, 0.0, "")


@cache
def this_run() -> Owner:
    """Who we are: user, machine, boot and process, with a token that no other run has."""
    import psutil  # takes longer to load than everything else here

    process = os.getpid()
    return Owner(
        _user(), _machine(), _boot(), process, psutil.Process(process).create_time(), secrets.token_hex(6)
    )


def is_us(owner: Owner) -> bool:
    """Whether this very run of the program wrote that."""
    return owner.token == this_run().token


def is_gone(owner: Owner, silent_s: float) -> bool:
    """Whether nobody works under this name any more; `silent_s`: how long ago the last sign of life was."""
    ours = this_run()
    if owner.machine != ours.machine:
        return silent_s > GONE_AFTER_S
    return owner.boot != ours.boot or not _runs(owner)


def _runs(owner: Owner) -> bool:
    import psutil

    try:
        started = psutil.Process(owner.process).create_time()
    except (psutil.NoSuchProcess, ValueError, OverflowError):
        return False
    except psutil.Error:
        return True  # there, but not to be looked at
    return bool(abs(started - owner.started) < _SAME_START_S)


def silent_s(file: Path) -> float:
    """Seconds since the owner gave a sign of life by touching this file of theirs. Raises OSError."""
    return now_there(file.parent) - file.stat().st_mtime


def _shown(name: str) -> str:
    """What stands in a file that anybody may have written."""
    return "".join(letter for letter in name if letter.isprintable())[:60]


def encoded_owner(owner: Owner) -> bytes:
    """The owner as JSON, as it stands in a lock file."""
    return msgspec.json.encode(owner)


def decoded_owner(data: bytes) -> Owner | None:
    """None for what is no owner: cut off by a power cut, or written by something else."""
    try:
        return msgspec.json.decode(data, type=Owner)
    except (msgspec.DecodeError, UnicodeDecodeError):
        return None


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # a number without a name, as in some containers
        return "somebody"


def _machine() -> str:
    """Its name and, on Linux, which room of process numbers we see: containers share a boot but not those."""
    try:
        room = Path("/proc/self/ns/pid").readlink().name
    except OSError:
        room = ""
    return f"{platform.node()}/{room}"


def _boot() -> str:
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text("ascii").strip()
    except OSError:
        return ""

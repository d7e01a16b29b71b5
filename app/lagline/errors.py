"""The error family. Every message names the file or thing and the next step.

LaglineError
├── MediaError          a recording
│   ├── FileMissing
│   ├── NotAFile        a folder, a socket, ... where a recording was expected
│   ├── IsASession      a session file where recordings were expected
│   ├── NoPermission
│   ├── NotAudio        not a format we read, or damaged beyond reading
│   ├── EmptyRecording
│   ├── SourceChanged   the file is no longer the one the session knows
│   │   └── ChangedWhileRead
│   ├── SourcesNotAsKnown  some of a session's are not, each told of
│   └── CacheUnusable   a converted copy cannot be kept
├── TakeError           the recordings as a set
│   ├── NoRecordings
│   ├── NoTakes         there are recordings, but no two of one take
│   ├── NothingReadable  every file was refused, each for its own reason
│   ├── OwnDelivery     a folder of files that Lagline made of a take, no take
│   ├── NoFolder        a folder of takes was expected
│   ├── BadPattern      for the names of files, that tells no takes apart
│   ├── TooFewLanes
│   ├── DemoMissing
│   ├── NotMeasured     what was found is asked for, and nothing was looked for
│   ├── JournalMismatch  a batch folder that was begun for something else
│   ├── NoBatch         a folder that holds no results of a batch
│   └── ClusterUnusable  a cluster of machines that can't be handed work
├── SessionError        a session file
│   ├── SessionUnreadable
│   ├── SessionTooNew
│   ├── OpenElsewhere   another window or machine is writing it
│   ├── ChangedOnDisk   it is no longer what it was when it was opened
│   └── NotInSession    a lane or version name that is not there
├── AnalysisError
│   ├── NothingToHear   every lane is silent
│   └── Cancelled
├── DeliveryError       writing
│   ├── WouldOverwrite
│   ├── CannotWrite
│   └── BadNameTemplate
└── PlaybackError
    ├── DeviceUnavailable
    │   └── NoOutput    none was chosen, and the machine has none
    └── EngineFailed

The core raises these; the doors show them (command line: the message and exit code 1;
desk: the message bar).
"""

from __future__ import annotations

import errno
import os
from collections.abc import Iterable, Sequence
from pathlib import Path

SENTENCES = 3  # of one kind in a message


class LaglineError(Exception):
    """Root of everything Lagline raises on purpose."""


class MediaError(LaglineError):
    """Something about one recording."""


class FileMissing(MediaError):
    """Nothing is at the path."""

    def __init__(self, path: Path) -> None:
        self.path = path
        super().__init__(
            f"{path.name} is missing: nothing is at {path}. Check the name, or put the file back."
        )


class NotAFile(MediaError):
    """A folder, socket or device stands where a recording was expected."""

    def __init__(self, path: Path) -> None:
        self.path = path
        super().__init__(
            f"{path.name} is not a file. Give the recordings themselves, or a folder that holds them."
        )


class IsASession(MediaError):
    """A session file was given where recordings were expected."""

    def __init__(self, path: Path) -> None:
        self.path = path
        super().__init__(
            f"{path.name} is a session file, not a recording. Give the recordings, "
            f"or open it in the desk with `lagline {path.name}`."
        )


class NoPermission(MediaError):
    """The system doesn't let this user read the file."""

    def __init__(self, path: Path) -> None:
        self.path = path
        super().__init__(
            f"{path.name} can't be read: you lack the permission. Change it, or copy the file to a folder "
            f"of your own."
        )


class NotAudio(MediaError):
    """The file is in a format libsndfile doesn't read, or damaged; `reason` in the decoder's words."""

    def __init__(self, path: Path, reason: str) -> None:
        self.path = path
        super().__init__(
            f"{path.name} cannot be read as audio ({reason}). "
            f"Export it again as WAV, AIFF or FLAC and open the new file."
        )


class EmptyRecording(MediaError):
    """A readable header with no samples behind it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        super().__init__(f"{path.name} holds no audio. Export or copy it again, or leave it out of the take.")


class SourceChanged(MediaError):
    """The file is no longer the one the session knows; `what` differs, as it stands in a sentence."""

    def __init__(self, path: Path, what: str) -> None:
        self.path = path
        super().__init__(
            f"{path.name} has changed since the session was made ({what}). "
            f"Put the original back, or open the recordings as a new take."
        )


class ChangedWhileRead(SourceChanged):
    """The file changed between two reads of one job."""

    def __init__(self, path: Path) -> None:
        MediaError.__init__(
            self,
            f"{path.name} has changed while it was read, so nothing can be made of it. Wait until nothing "
            f"writes to it any more, then try again.",
        )
        self.path = path


class SourcesNotAsKnown(MediaError):
    """Some of a session's recordings are missing or changed; `sentences` tell of each."""

    def __init__(self, sentences: Iterable[str], *, can_be_used: bool) -> None:
        """`can_be_used`: some of the recordings are there under other names."""
        listed = "".join(f"\n- {sentence}" for sentence in sentences)
        step = "\nOr open the session in the desk, which offers to use recordings where they are now."
        super().__init__(
            "Nothing was written: these recordings are not as the session knows them."
            f"{listed}{step if can_be_used else ''}"
        )


class CacheUnusable(MediaError):
    """A converted copy can't be kept in the cache folder."""

    def __init__(self, folder: Path, reason: str) -> None:
        self.folder = folder
        super().__init__(
            f"A converted copy of a recording cannot be kept in {folder} ({reason}). Free some space there, "
            f"or name another folder in the environment variable LAGLINE_CACHE_DIR."
        )


class TakeError(LaglineError):
    """Something about the recordings as a set."""


class NoRecordings(TakeError):
    """None of the places given holds a recording."""

    def __init__(self, where: Iterable[Path]) -> None:
        names = ", ".join(_told(path) for path in where) or "what was given"
        super().__init__(f"No recordings found in {names}. Give at least two audio files of one take.")


class NoTakes(TakeError):
    """There are recordings below the folder, but no two of one take."""

    def __init__(self, folder: Path, left_out: Sequence[str]) -> None:
        """`left_out` says of the recordings below the folder why they are in no take."""
        said = " ".join(left_out[:SENTENCES]) + (" ..." if len(left_out) > SENTENCES else "")
        super().__init__(f"No take of two recordings or more is in {_told(folder)}. {said}")


def _told(folder: Path) -> str:
    """ "." alone says nothing, least of all before a full stop."""
    return str(folder if folder.name else folder.absolute())


class NothingReadable(TakeError):
    """Every file was refused, each for its own reason."""

    def __init__(self, reasons: Iterable[MediaError]) -> None:
        super().__init__("None of the files can be read.\n" + "\n".join(f"- {reason}" for reason in reasons))


class OwnDelivery(TakeError):
    """The folder holds only files that Lagline made of a take."""

    def __init__(self, where: Iterable[Path], names: Sequence[str]) -> None:
        """`names` of the files that Lagline delivered there."""
        folders = ", ".join(_told(path) for path in where)
        listed = ", ".join(names[:SENTENCES]) + (" ..." if len(names) > SENTENCES else "")
        super().__init__(
            f"{folders} holds what Lagline delivered itself ({listed}), no recordings of a take. Open the "
            f"recordings it was made from. To look at delivered files all the same, give them by name."
        )


class NoFolder(TakeError):
    """A folder of takes was expected and isn't there."""

    def __init__(self, path: Path) -> None:
        self.path = path
        what = "is not a folder" if os.path.lexists(path) else "is missing"
        super().__init__(f"{path} {what}. Give the folder that holds the takes.")


class BadPattern(TakeError):
    """A pattern for file names that doesn't tell take from lane."""

    def __init__(self, pattern: str) -> None:
        super().__init__(
            f"{pattern!r} is not a pattern of file names. Name {{take}} once and {{lane}} once, "
            f"for example {{take}}_{{lane}}."
        )


class TooFewLanes(TakeError):
    """`problems`: why others that were given could not be lanes."""

    def __init__(self, names: Iterable[str], problems: Iterable[str] = ()) -> None:
        listed = ", ".join(names) or "none"
        said = "".join(f"\n- {problem}" for problem in problems)
        super().__init__(
            f"Lining up needs at least two lanes that can be read; here: {listed}. "
            f"Add another recording of the same performance.{said}"
        )


class DemoMissing(TakeError):
    """The installation lacks a demo take."""

    def __init__(self, what: str) -> None:
        super().__init__(
            f"The demo take {what!r} is not here. Install Lagline again, or clone its repository whole."
        )


class NotMeasured(TakeError):
    """A take is to take over what was found, and was never measured."""

    def __init__(self, take: str) -> None:
        super().__init__(f"{take} has not been measured, so there is nothing to take over. Measure it first.")


class JournalMismatch(TakeError):
    """The journal was begun for something else, or cannot be read."""

    def __init__(self, path: Path, reason: str) -> None:
        self.path = path
        super().__init__(
            f"{path} can't be continued ({reason}). "
            f"Ask as before, choose another folder for the results, or delete this one."
        )


class NoBatch(TakeError):
    """The folder holds no results of a batch."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        super().__init__(
            f"{folder} holds no results of a batch. Give the folders that `lagline batch` wrote them to."
        )


class ClusterUnusable(TakeError):
    """Takes can't be handed to the cluster at `address`; `step` is what to do."""

    def __init__(self, address: str, reason: str, step: str) -> None:
        self.address = address
        super().__init__(f"The cluster{f' at {address}' if address else ''} can't be used: {reason}. {step}")


class SessionError(LaglineError):
    """Something about a session file."""


class SessionUnreadable(SessionError):
    """A session, or with another `kind` a setup, that cannot be read."""

    def __init__(self, path: Path, reason: str, kind: str = "session", step: str = "") -> None:
        """`step`: what to do now, where more can be said than how to get such a file."""
        self.path, self.reason = path, reason
        if not step and kind != "session":
            step = f"Save the {kind} again from the take it was made of."
        step = step or "Give a session file (NAME.lagline), as the desk saves it."
        super().__init__(f"{path.name} cannot be read as a Lagline {kind} ({reason}). {step}")


class SessionTooNew(SessionError):
    """The session's file version, `found`, is above the highest this program knows."""

    def __init__(self, path: Path, found: int, known: int) -> None:
        self.path = path
        super().__init__(
            f"{path.name} was written by a newer Lagline "
            f"(file version {found}; this one reads up to {known}). "
            "Update Lagline to open it; the file was not touched."
        )


class OpenElsewhere(SessionError):
    """Another window or machine holds the session's lock."""

    def __init__(self, path: Path, who: str) -> None:
        """`who`: as it stands in a sentence."""
        self.path, self.who = path, who
        super().__init__(
            f"{path.name} is open in Lagline elsewhere ({who}), so nothing was written to it. "
            "Close it there first, or choose another name."
        )


class ChangedOnDisk(SessionError):
    """The session file isn't what it was when it was opened, so it isn't written over."""

    def __init__(self, path: Path) -> None:
        self.path = path
        super().__init__(
            f"{path.name} was changed on the disk since it was opened, so nothing was written over it. "
            "Save under another name."
        )


class NotInSession(SessionError):
    """A lane or version name (`kind` says which) that isn't in the session."""

    def __init__(self, kind: str, wanted: str, there: Iterable[str]) -> None:
        super().__init__(f"There is no {kind} called {wanted!r} here. Choose one of: {', '.join(there)}.")


class AnalysisError(LaglineError):
    """Something about measuring."""


class NothingToHear(AnalysisError):
    """Every lane is silent over what was to be measured."""

    def __init__(self) -> None:
        super().__init__(
            "Every lane is silent, so there is nothing to measure. "
            "Check that the right files were exported, or widen the passage."
        )


class NoSuchSource(AnalysisError):
    """Lanes were to be lined up on an instrument that isn't told apart from the others."""

    def __init__(self, wanted: str, there: Iterable[str]) -> None:
        names = ", ".join(there)
        super().__init__(
            f"No instrument is told apart at {wanted}. "
            + (f"Choose one of: {names}." if names else "Line up without choosing one.")
        )


class Cancelled(AnalysisError):
    """The user stopped the job; it has changed nothing."""

    def __init__(self) -> None:
        super().__init__("Stopped on request; nothing was changed.")


class DeliveryError(LaglineError):
    """Something about writing."""


class WouldOverwrite(DeliveryError):
    """`replaceable`: it may be replaced when that is asked for; never so a recording."""

    def __init__(
        self,
        path: Path,
        what: str = "a file that is already there",
        *,
        replaceable: bool = False,
        step: str = "Choose another folder or name.",
    ) -> None:
        self.path = path
        self.replaceable = replaceable
        super().__init__(f"{path} is {what}, and it was left alone. {step}")


class CannotWrite(DeliveryError):
    """`reason`: words, or what the system said, from which the next step follows."""

    def __init__(self, path: Path, reason: str | OSError) -> None:
        self.path = path
        self.reason = reason
        words, number = reason, 0
        if isinstance(reason, OSError):
            words, number = reason.strerror or str(reason), reason.errno or 0
        step = _AFTER_A_REFUSAL.get(number, "Choose another folder.")
        super().__init__(f"{path} could not be written ({words}). Nothing half-written was left. {step}")


_FREE_SPACE = "Free some space or choose another folder."
_GET_PERMISSION = "Change the folder's permissions or choose another folder."
_AFTER_A_REFUSAL = {
    errno.ENOSPC: _FREE_SPACE,
    errno.EDQUOT: _FREE_SPACE,
    errno.EFBIG: _FREE_SPACE,
    errno.EACCES: _GET_PERMISSION,
    errno.EPERM: _GET_PERMISSION,
    errno.EROFS: "Nothing can be written on that disk: choose another folder.",
    errno.ENAMETOOLONG: "Choose a shorter name or folder.",
    errno.ENOTDIR: "A file is where a folder should be: choose another folder.",
    errno.EEXIST: "A file is where a folder should be: choose another folder.",
}


class TooManyChannels(DeliveryError):
    """Lanes that were to share a file of a format that has no room for them."""

    def __init__(self, name: str, channels: int, file_format: str, most: int) -> None:
        super().__init__(
            f"{name} would have {channels} channels, and {file_format} holds {most} at most. "
            "Choose WAV, or a file for each lane."
        )


class NotADelivery(DeliveryError):
    """What was given to be verified was not delivered, or its list is damaged."""

    def __init__(self, path: Path, why: str) -> None:
        self.path = path
        super().__init__(
            f"{path} is no delivery ({why}). Give the folder that `lagline deliver` wrote, its list in it."
        )


class BadNameTemplate(DeliveryError):
    """A template for file names with unknown fields, or one that gives no usable name."""

    def __init__(self, template: str, fields: Iterable[str]) -> None:
        listed = ", ".join(f"{{{field}}}" for field in fields)
        super().__init__(f"{template!r} makes no file names. Use text and the fields {listed}.")


class PlaybackError(LaglineError):
    """Something about being heard."""


class DeviceUnavailable(PlaybackError):
    """An output can't be opened; `reason` in PortAudio's words."""

    def __init__(self, name: str, reason: str) -> None:
        self.name = name
        super().__init__(f"{name} cannot be played through ({reason}). Choose another output device.")


class NoOutput(DeviceUnavailable):
    """Nothing has gone wrong: whoever plays keeps time without sound."""


class EngineFailed(PlaybackError):
    """The playback process ended, or none could be started."""

    def __init__(self, reason: str) -> None:
        super().__init__(f"The playback engine stopped ({reason}). Press play to start it again.")

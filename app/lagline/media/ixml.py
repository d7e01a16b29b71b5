"""The iXML chunk: location sound metadata in XML, of which some fields say where and what the file is.

Those fields are brought in line with the file that is written; a stale time stamp in them would put
a lane back where it was. Everything else is carried as it is.
"""

from __future__ import annotations

import uuid
import xml.etree.ElementTree as ElementTree

from msgspec import Struct

_LOW_HALVES = ("TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO", "BWF_TIME_REFERENCE_LOW")
_HIGH_HALVES = ("TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI", "BWF_TIME_REFERENCE_HIGH")
_RATES = ("FILE_SAMPLE_RATE", "TIMESTAMP_SAMPLE_RATE", "DIGITIZER_SAMPLE_RATE")


class Family(Struct, frozen=True):
    """The files that are delivered together, and which of them this is."""

    uid: str  # of the family: letters and digits
    index: int  # of the file, from 1
    total: int

    def file_uid(self) -> str:
        """Always the same for the same file of a family, and no other's."""
        return uuid.uuid5(uuid.NAMESPACE_OID, f"{self.uid} {self.index}").hex


def retimed_ixml(
    data: bytes,
    *,
    time_reference: int,
    rate_hz: int,
    bits: int,
    channel: int,
    family: Family | None = None,
) -> bytes | None:
    """The chunk for a file of one channel of the source; None when it cannot be understood.

    Parameters
    ----------
    time_reference : samples since midnight of the new file, at `rate_hz`.
    channel : 0-based channel of the source that the new file holds.
    family : what FILE_UID and FILE_SET are to say; None leaves them as they are.
    """
    try:
        root = ElementTree.fromstring(data.rstrip(b"\0 \r\n\t"))
    except (ElementTree.ParseError, LookupError, ValueError):
        return None
    for element in root.iter():
        if element.tag in _LOW_HALVES:
            element.text = str(time_reference & 0xFFFFFFFF)
        elif element.tag in _HIGH_HALVES:
            element.text = str(time_reference >> 32)
        elif element.tag in _RATES:
            element.text = str(rate_hz)
        elif element.tag == "AUDIO_BIT_DEPTH":
            element.text = str(bits)
    _keep_track(root, channel)
    if family is not None:
        _join(root, family)
    written: bytes = ElementTree.tostring(root, encoding="UTF-8", xml_declaration=True)
    return written


def _keep_track(root: ElementTree.Element, channel: int) -> None:
    """Leave only the track of the channel that is written, as interleave 1 of 1."""
    for tracks in root.iter("TRACK_LIST"):
        for track in tracks.findall("TRACK"):
            if (track.findtext("INTERLEAVE_INDEX") or "").strip() == str(channel + 1):
                track.find("INTERLEAVE_INDEX").text = "1"  # type: ignore[union-attr]  # found just now
            else:
                tracks.remove(track)
        count = tracks.find("TRACK_COUNT")
        if count is not None:
            count.text = str(len(tracks.findall("TRACK")))


def _join(root: ElementTree.Element, family: Family) -> None:
    """Let the fields about the set of files tell of the new one, where there are any."""
    says = {
        "FILE_UID": family.file_uid(),
        "FILE_SET/FAMILY_UID": family.uid,
        "FILE_SET/TOTAL_FILES": str(family.total),
        "FILE_SET/FILE_SET_INDEX": str(family.index),
    }
    for where, text in says.items():
        element = root.find(where)
        if element is not None:
            element.text = text

"""The iXML chunk: location sound metadata in XML, of which some fields say where and what the file is.

Those fields are brought in line with the file that is written; a stale time stamp in them would put
a lane back where it was. Everything else is carried as it is.
"""

from __future__ import annotations

import uuid
import xml.etree.ElementTree as ElementTree
from collections.abc import Sequence

from msgspec import Struct

_LOW_HALVES = ("TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO", "BWF_TIME_REFERENCE_LOW")
_HIGH_HALVES = ("TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI", "BWF_TIME_REFERENCE_HIGH")
_RATES = ("FILE_SAMPLE_RATE", "TIMESTAMP_SAMPLE_RATE", "DIGITIZER_SAMPLE_RATE")
# For a file of several tracks whose recording tells nothing of them (fields from memory).
NEW_IXML = b"""<BWFXML><IXML_VERSION>2.10</IXML_VERSION><FILE_UID/>
<FILE_SET><TOTAL_FILES/><FAMILY_UID/><FILE_SET_INDEX/></FILE_SET>
<SPEED><FILE_SAMPLE_RATE/><AUDIO_BIT_DEPTH/><TIMESTAMP_SAMPLE_RATE/>
<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI/><TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO/></SPEED>
<TRACK_LIST><TRACK_COUNT/></TRACK_LIST></BWFXML>"""


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
    channels: Sequence[int],
    names: Sequence[str] = (),
    family: Family | None = None,
) -> bytes | None:
    """The chunk for a file of some channels of the source; None when it cannot be understood.

    Parameters
    ----------
    time_reference : samples since midnight of the new file, at `rate_hz`.
    channels : 0-based channels of the source that the new file holds, in its order.
    names : of its tracks, whether the source names them or not; empty leaves them as they are.
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
    _keep_tracks(root, channels, names)
    if family is not None:
        _join(root, family)
    written: bytes = ElementTree.tostring(root, encoding="UTF-8", xml_declaration=True)
    return written


def _keep_tracks(root: ElementTree.Element, channels: Sequence[int], names: Sequence[str]) -> None:
    """Leave only the tracks of the channels that are written, in their order and under their names."""
    if names and root.find("TRACK_LIST") is None:
        _said(root, "TRACK_LIST/TRACK_COUNT", "")
    for tracks in root.iter("TRACK_LIST"):
        before = {
            (track.findtext("INTERLEAVE_INDEX") or "").strip(): track for track in tracks.findall("TRACK")
        }
        for track in tracks.findall("TRACK"):
            tracks.remove(track)
        for number, channel in enumerate(channels):
            if str(channel + 1) not in before and not names:
                continue
            track = before.get(str(channel + 1), ElementTree.Element("TRACK"))
            if track.find("CHANNEL_INDEX") is None and names:
                _said(track, "CHANNEL_INDEX", str(channel + 1))
            _said(track, "INTERLEAVE_INDEX", str(number + 1))
            if names:
                _said(track, "NAME", names[number])
            tracks.append(track)
        count = tracks.find("TRACK_COUNT")
        if count is not None:
            count.text = str(len(tracks.findall("TRACK")))


def _said(element: ElementTree.Element, path: str, text: str) -> None:
    """Let the element at a path say the text; what is not there on the way is made."""
    for tag in path.split("/"):
        inner = element.find(tag)
        element = ElementTree.SubElement(element, tag) if inner is None else inner
    element.text = text


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

import xml.etree.ElementTree as ElementTree

from lagline.media.ixml import Family, retimed_ixml

SOURCE = b"""<?xml version="1.0" encoding="UTF-8"?>
<BWFXML><PROJECT>Invented Session</PROJECT><NOTE>keep &amp; carry</NOTE>
<SPEED><FILE_SAMPLE_RATE>44100</FILE_SAMPLE_RATE><AUDIO_BIT_DEPTH>16</AUDIO_BIT_DEPTH>
<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>0</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI>
<TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO>12345</TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO></SPEED>
<TRACK_LIST><TRACK_COUNT>2</TRACK_COUNT>
<TRACK><CHANNEL_INDEX>1</CHANNEL_INDEX><INTERLEAVE_INDEX>1</INTERLEAVE_INDEX><NAME>Near</NAME></TRACK>
<TRACK><CHANNEL_INDEX>4</CHANNEL_INDEX><INTERLEAVE_INDEX>2</INTERLEAVE_INDEX><NAME>Far</NAME></TRACK>
</TRACK_LIST></BWFXML>\0"""


def test_times_and_track_are_those_of_the_new_file_and_the_rest_is_kept() -> None:
    reference = 5 * 2**32 + 678
    data = retimed_ixml(SOURCE, time_reference=reference, rate_hz=48_000, bits=24, channels=[1])
    assert data is not None
    root = ElementTree.fromstring(data)
    assert root.findtext("PROJECT") == "Invented Session"
    assert root.findtext("NOTE") == "keep & carry"
    assert root.findtext("SPEED/FILE_SAMPLE_RATE") == "48000"
    assert root.findtext("SPEED/AUDIO_BIT_DEPTH") == "24"
    assert root.findtext("SPEED/TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI") == "5"
    assert root.findtext("SPEED/TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO") == "678"
    (track,) = root.findall("TRACK_LIST/TRACK")
    assert (track.findtext("NAME"), track.findtext("INTERLEAVE_INDEX")) == ("Far", "1")
    assert root.findtext("TRACK_LIST/TRACK_COUNT") == "1"


def test_what_cannot_be_understood_is_not_carried() -> None:
    for data in (
        b"",
        b"<BWFXML>",
        b"not xml",
        b"\xff\xfe<x/>",
        b'<?xml version="1.0" encoding="nonsense"?><a/>',
    ):
        assert retimed_ixml(data, time_reference=0, rate_hz=48_000, bits=24, channels=[0]) is None


def test_the_files_of_a_delivery_are_a_family_of_their_own() -> None:
    old = b"<BWFXML><FILE_UID>same</FILE_UID><FILE_SET><TOTAL_FILES>1</TOTAL_FILES>"
    old += b"<FAMILY_UID>old</FAMILY_UID><FILE_SET_INDEX>A</FILE_SET_INDEX></FILE_SET></BWFXML>"
    said = []
    for index in (1, 2, 2):
        data = retimed_ixml(
            old, time_reference=0, rate_hz=48_000, bits=24, channels=[0], family=Family("f00d", index, 2)
        )
        assert data is not None
        root = ElementTree.fromstring(data)
        fields = ("FILE_UID", "FILE_SET/FAMILY_UID", "FILE_SET/TOTAL_FILES", "FILE_SET/FILE_SET_INDEX")
        said.append([root.findtext(field) for field in fields])
    first, second, again = said
    assert first[1:] == ["f00d", "2", "1"] and second[1:] == ["f00d", "2", "2"]
    assert second == again
    assert len({"same", first[0], second[0]}) == 3

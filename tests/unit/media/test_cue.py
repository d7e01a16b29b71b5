import struct

from lagline.media.cue import CuePoint, moved_cues, pack_cues, parse_cues
from lagline.media.riff import Chunk

LABEL = Chunk(b"labl", struct.pack("<I", 1) + b"verse\0")
REGION = Chunk(b"ltxt", struct.pack("<II", 2, 44_100) + b"rgn " + bytes(8))
POINTS = (CuePoint(1, 100, (LABEL,)), CuePoint(2, 44_100, (REGION,)), CuePoint(3, 200_000))


def test_packed_and_parsed_is_the_same() -> None:
    cue, adtl = pack_cues(POINTS)
    assert (cue.id, adtl.id) == (b"cue ", b"LIST")
    assert parse_cues(cue.data, adtl.data) == POINTS
    assert pack_cues(()) == ()
    assert len(pack_cues(POINTS[2:])) == 1


def test_marks_move_with_their_sound_and_change_rate() -> None:
    moved = moved_cues(POINTS, -150, 44_100, 44_100, 100_000)
    assert [(point.id, point.at_samples) for point in moved] == [(2, 43_950)]  # 1 before, 3 behind the file
    (second,) = moved_cues(POINTS[1:2], 10, 44_100, 48_000, 100_000)
    assert second.at_samples == 48_010
    assert struct.unpack_from("<II", second.texts[0].data) == (2, 48_000)


def test_damaged_chunks_give_what_is_there() -> None:
    cue, adtl = pack_cues(POINTS)
    assert parse_cues(cue.data[:-10], adtl.data[:-3])[0].at_samples == 100
    assert len(parse_cues(cue.data[:-10])) == 2
    assert parse_cues(b"") == ()
    assert parse_cues(b"\xff\xff\xff\xff") == ()


def test_marks_follow_a_lane_whose_drift_is_taken_out() -> None:
    """The lane lasts 1 % longer in the file: its marks lie further apart, its regions last longer."""
    first, second = moved_cues(POINTS[:2], 10.5, 44_100, 44_100, 100_000, stretch=1.01)
    assert (first.at_samples, second.at_samples) == (round(101 + 10.5), round(44_541 + 10.5))
    assert struct.unpack_from("<II", second.texts[0].data) == (2, 44_541)

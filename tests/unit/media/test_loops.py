import struct

from lagline.media.loops import moved_loops

HEAD = (1, 2, 22_676, 60, 0, 0, 0)


def smpl(*loops: tuple[int, int], behind: bytes = b"") -> bytes:
    body = b"".join(struct.pack("<6I", 9, 1, first, last, 7, 3) for first, last in loops)
    return struct.pack("<9I", *HEAD, len(loops), len(behind)) + body + behind


def test_loops_move_with_the_sound_and_the_rest_stays() -> None:
    moved = moved_loops(smpl((100, 200), (0, 441), behind=b"own data"), 1_000.4, 480 / 441, 48_000, 2_000)
    assert moved is not None
    assert struct.unpack_from("<9I", moved) == (1, 2, 20_833, 60, 0, 0, 0, 2, 8)
    assert struct.unpack_from("<6I", moved, 36) == (9, 1, 1_109, 1_218, 7, 3)
    assert struct.unpack_from("<6I", moved, 60) == (9, 1, 1_000, 1_480, 7, 3)
    assert moved[84:] == b"own data"


def test_loops_outside_the_file_are_left_out() -> None:
    moved = moved_loops(smpl((0, 50), (90, 100), (20, 10)), -10, 1.0, 48_000, 90)
    assert moved == struct.pack("<9I", 1, 2, 20_833, 60, 0, 0, 0, 0, 0)
    inside = moved_loops(smpl((10, 99)), -10, 1.0, 48_000, 90)
    assert inside is not None and struct.unpack_from("<II", inside, 44) == (0, 89)


def test_what_is_cut_off_is_not_carried() -> None:
    whole = smpl((1, 2), behind=b"1234")
    assert [moved_loops(whole[:size], 0, 1.0, 48_000, 90) for size in (0, 35, 59, len(whole) - 1)] == [
        None
    ] * 4

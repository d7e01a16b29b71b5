"""A drawn lane, pixel for pixel, against columns computed here."""

import itertools

import numpy as np
import pytest
from msgspec.structs import replace
from PySide6.QtGui import QColor, QImage
from PySide6.QtWidgets import QApplication

from lagline.desk.lanes.lane_look import Backdrop, LaneLook, Trace, draw_lane, mixed
from lagline.desk.lanes.wave_data import WaveData
from lagline.desk.theme import DARK, LIGHT
from lagline.desk.timeview import TimeView

COLOUR = "#56B4E9"


class Sound:
    """An overview straight from the samples, and the samples themselves."""

    def __init__(self, samples: np.ndarray) -> None:
        self.samples = samples.astype(np.float32)
        self.asked: list[tuple[int, int]] = []
        self.data = WaveData(self._ask)
        self.data.put_overview("near", self)

    def columns(self, first: float, stop: float, count: int) -> tuple[np.ndarray, np.ndarray]:
        edges = np.floor(np.linspace(first, stop, count + 1)).astype(int)
        parts = [self._part(a, max(b, a + 1)) for a, b in itertools.pairwise(edges)]
        return (
            np.array([part.min() for part in parts], np.float32),
            np.array([part.max() for part in parts], np.float32),
        )

    def _part(self, a: int, b: int) -> np.ndarray:
        inside = self.samples[max(a, 0) : max(b, 0)]
        return np.append(inside, 0) if len(inside) < b - a else inside

    def _ask(self, lane_id: str, start: int, stop: int) -> None:
        self.asked.append((start, stop))

    def give(self) -> None:
        start, stop = self.asked[-1]
        out = np.zeros(stop - start, np.float32)
        a, b = max(start, 0), min(stop, len(self.samples))
        out[a - start : b - start] = self.samples[a:b]
        self.data.put_samples("near", start, out)


def look(view: TimeView, at: float = 0.0, polarity: int = 1) -> LaneLook:
    return LaneLook(view=view, rate_hz=48_000, wave=Trace("near", at, polarity, 0.9), colour=COLOUR)


def inked(image: QImage, colour: str) -> np.ndarray:
    wanted = QColor(colour).rgb()
    return np.array(
        [[image.pixel(x, y) == wanted for x in range(image.width())] for y in range(image.height())]
    )


@pytest.fixture
def sound(qapp: QApplication) -> Sound:
    rng = np.random.default_rng(3)
    return Sound(rng.uniform(-0.8, 0.8, 60_000) * np.linspace(0, 1, 60_000))


def test_wide_view_shows_each_columns_extremes(sound: Sound) -> None:
    width, height = 150, 81
    view = TimeView(0, 400)
    image = draw_lane(look(view), sound.data, DARK, width, height, 1.0)
    ink = inked(image, COLOUR)
    mins, maxs = sound.columns(0, 400 * width, width)
    for column in range(1, width):
        rows = np.flatnonzero(ink[:, column])
        top, bottom = (round(40 - 0.9 * 40 * float(value)) for value in (maxs[column], mins[column]))
        assert rows[0] <= top and rows[-1] >= bottom  # no shorter; joining to a neighbour may make it longer
        assert rows[0] >= min(top, round(40 - 36 * float(mins[column - 1])))
        assert len(rows) == rows[-1] - rows[0] + 1


def test_a_shift_moves_the_picture_by_whole_pixels(sound: Sound) -> None:
    view = TimeView(0, 100)
    here = inked(draw_lane(look(view), sound.data, DARK, 200, 61, 1.0), COLOUR)
    later = inked(draw_lane(look(view, at=1_000), sound.data, DARK, 200, 61, 1.0), COLOUR)
    np.testing.assert_array_equal(later[:, 11:], here[:, 1:-10])


def test_a_flip_turns_the_picture_over(sound: Sound) -> None:
    view = TimeView(0, 300)
    up = inked(draw_lane(look(view), sound.data, DARK, 200, 61, 1.0), COLOUR)
    down = inked(draw_lane(look(view, polarity=-1), sound.data, DARK, 200, 61, 1.0), COLOUR)
    np.testing.assert_array_equal(down, up[::-1])


def test_at_twice_the_pixels_there_is_twice_the_detail(sound: Sound) -> None:
    image = draw_lane(look(TimeView(0, 300)), sound.data, LIGHT, 100, 50, 2.0)
    assert (image.width(), image.height(), image.devicePixelRatio()) == (200, 100, 2.0)


def test_close_view_asks_for_samples_and_dots_them_where_they_are(sound: Sound) -> None:
    view = TimeView(50_000, 1 / 16)
    draw_lane(look(view, at=0.25), sound.data, DARK, 320, 101, 1.0)
    start, stop = sound.asked[-1]
    assert start <= 49_990 and stop >= 50_030
    sound.give()
    image = draw_lane(look(view, at=0.25), sound.data, DARK, 320, 101, 1.0)
    for number in range(50_002, 50_018):
        x = round((number + 0.25 - 50_000) * 16)
        y = round(50 - 0.9 * 50 * float(sound.samples[number]))
        assert QColor(image.pixel(x, y)) == QColor(COLOUR), number


def test_ghost_anchor_and_loop_are_drawn_apart(sound: Sound) -> None:
    base = look(TimeView(0, 400), at=8_000)
    plain = draw_lane(base, sound.data, DARK, 150, 60, 1.0)
    ghost = draw_lane(replace(base, ghost=Trace("near", 0.0, 1, 0.9)), sound.data, DARK, 150, 60, 1.0)
    anchor = draw_lane(replace(base, anchor=Trace("near", 0.0, 1, 0.9)), sound.data, DARK, 150, 60, 1.0)
    loop = draw_lane(replace(base, loop=(4_000, 8_000)), sound.data, DARK, 150, 60, 1.0)
    assert len({bytes(image.constBits()) for image in (plain, ghost, anchor, loop)}) == 4
    wave = inked(plain, COLOUR)
    for image in (ghost, anchor, loop):
        np.testing.assert_array_equal(inked(image, COLOUR), wave)  # the wave lies on top of all of them


def test_mixed_colours() -> None:
    assert mixed("#000000", "#FFFFFF", 0) == 0xFF000000
    assert mixed("#000000", "#FFFFFF", 1) == 0xFFFFFFFF
    assert mixed("#204060", "#204060", 0.5) == 0xFF204060


def test_a_close_view_is_pale_until_its_samples_are_there(sound: Sound) -> None:
    view = TimeView(30_000, 0.5)
    waiting = draw_lane(look(view), sound.data, DARK, 200, 61, 1.0)
    assert not inked(waiting, COLOUR).any()
    assert inked(waiting, QColor(mixed(COLOUR, DARK.surface, 0.75)).name()).any()
    sound.give()
    assert inked(draw_lane(look(view), sound.data, DARK, 200, 61, 1.0), COLOUR).any()


def test_a_dragged_wave_over_a_kept_backdrop_looks_as_if_all_were_painted_anew(sound: Sound) -> None:
    width, height = 150, 81
    ghost = Trace("near", 0.0, 1, 0.9)
    backdrop = Backdrop()
    for at, is_selected in [
        (0.0, True),
        (2_000.0, True),
        (4_000.0, True),
        (4_500.0, False),
        (5_000.0, False),
    ]:
        wanted = replace(look(TimeView(0, 400), at), ghost=ghost, is_selected=is_selected, loop=(900, 30_000))
        kept = draw_lane(wanted, sound.data, DARK, width, height, 1.0, None, backdrop)
        anew = draw_lane(wanted, sound.data, DARK, width, height, 1.0)
        assert kept == anew
    sound.data.touch("near")
    louder = Sound(sound.samples * 0.5)
    sound.data.put_overview("near", louder)
    kept = draw_lane(wanted, sound.data, DARK, width, height, 1.0, None, backdrop)
    assert kept == draw_lane(wanted, sound.data, DARK, width, height, 1.0)

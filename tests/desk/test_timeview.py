from hypothesis import given
from hypothesis import strategies as st
from pytestqt.qtbot import QtBot

from lagline.desk.timeview import CLOSEST_PER_PIXEL, TimeView, TimeViewModel, around

views = st.builds(TimeView, st.floats(-1e6, 1e8), st.floats(CLOSEST_PER_PIXEL, 1e5))


@given(views, st.floats(0, 4000))
def test_pixels_and_samples_are_inverse(view: TimeView, x: float) -> None:
    assert abs(view.x_of(view.sample_at(x)) - x) < 1e-3


@given(views, st.floats(0.1, 10), st.floats(0, 2000))
def test_what_is_under_the_pointer_stays_there(view: TimeView, factor: float, x: float) -> None:
    zoomed = view.zoomed(factor, x)
    assert abs(zoomed.sample_at(x) - view.sample_at(x)) <= 1e-6 * max(1, abs(view.sample_at(x)))


@given(views, st.integers(1, 10_000_000), st.integers(100, 4000))
def test_a_clamped_view_never_leaves_the_take(view: TimeView, length: int, width: int) -> None:
    clamped = view.clamped((0, length), width)
    assert clamped.per_pixel <= max(1.06 * length / width, CLOSEST_PER_PIXEL) * (1 + 1e-9)
    assert clamped.sample_at(width) > 0
    assert clamped.first < length


def test_a_view_of_the_whole_take_shows_all_of_it() -> None:
    view = around(-100, 9_900, 500)
    assert view.first < -100
    assert view.sample_at(500) > 9_900


def test_a_wider_window_still_shows_the_whole_take(qtbot: QtBot) -> None:
    times = TimeViewModel()
    times.set_width(1_000)
    times.set_span((0, 48_000))
    times.fit()
    times.set_width(1_500)
    first, last = times.seen
    assert first < 0 and last > 48_000
    times.zoom(4)
    seen = times.seen
    times.set_width(1_000)
    assert times.seen[0] == seen[0] and times.seen[1] < seen[1]


def test_a_take_that_grows_moves_nothing(qtbot: QtBot) -> None:
    times = TimeViewModel()
    times.set_width(1_000)
    times.set_span((0, 48_000))
    times.fit()
    seen = times.seen
    times.set_span((-500, 96_000))
    assert times.seen == seen
    times.fit()
    assert times.seen[0] < -500 and times.seen[1] > 96_000


def test_reveal_moves_only_when_it_must(qtbot: QtBot) -> None:
    times = TimeViewModel()
    times.set_width(1_000)
    times.set_span((0, 1_000_000))
    times.show_range(0, 10_000)
    seen = times.seen
    times.reveal(5_000)
    assert times.seen == seen
    times.reveal(500_000)
    assert times.seen[0] < 500_000 < times.seen[1]


def test_changes_are_told_once(qtbot: QtBot) -> None:
    times = TimeViewModel()
    times.set_width(1_000)
    times.set_span((0, 1_000_000))
    with qtbot.waitSignal(times.changed):
        times.zoom(2)
    with qtbot.assertNotEmitted(times.changed):
        times.set_width(1_000)

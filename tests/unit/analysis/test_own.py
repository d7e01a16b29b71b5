"""Which windows hold a lane's own instrument."""

import numpy as np

from lagline.analysis.own import QUIETEST_DB, levels_of, own_weights


def energies(*rows_db: list[float]) -> np.ndarray:
    return 10 ** (np.array(rows_db) / 10)


KICK = [0.0, -10.0, -26.0, 0.0, -10.0, -26.0, 0.0, -10.0]
SNARE = [-18.0, 0.0, -30.0, -18.0, 0.0, -30.0, -18.0, 0.0]
OVERHEAD = [-14.0, 0.0, -8.0, -14.0, 0.0, -8.0, -14.0, 0.0]


def test_levels_count_from_the_loudest_windows_and_end_at_the_quietest():
    levels = levels_of(energies([0, -10, -200], [-30, -40, -50]))
    np.testing.assert_allclose(levels, [[0, -10, QUIETEST_DB], [0, -10, -20]], atol=1e-6)


def test_a_silent_lane_is_quiet_everywhere():
    levels = levels_of(np.array([[0.0, 0.0], [1.0, 1.0]]))
    np.testing.assert_array_equal(levels[0], [QUIETEST_DB, QUIETEST_DB])


def test_a_spot_microphone_is_believed_at_its_own_strokes_not_where_it_hears_bleed():
    levels = levels_of(energies(KICK, SNARE, OVERHEAD))
    weight = own_weights(levels, 0, 2)
    own, bleed = weight[[0, 3, 6]].min(), weight[[1, 4, 7]].max()
    assert own > 20 * bleed


def test_it_does_not_matter_which_of_the_two_is_named_first():
    levels = levels_of(energies(KICK, SNARE, OVERHEAD))
    np.testing.assert_allclose(own_weights(levels, 0, 2), own_weights(levels, 2, 0))


def test_one_source_in_all_lanes_weighs_strokes_by_their_level_only():
    stroke = [0.0, -3.0, -6.0, 0.0, -3.0]
    weight = own_weights(levels_of(energies(stroke, stroke, stroke)), 0, 1)
    np.testing.assert_allclose(weight, weight[0] * 10 ** (np.array(stroke) / 20), rtol=1e-6)


def test_no_windows_have_no_weights():
    assert len(own_weights(levels_of(np.zeros((3, 0))), 0, 1)) == 0

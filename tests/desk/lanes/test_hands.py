"""Dragging lanes and loops, without widgets."""

from hypothesis import given
from hypothesis import strategies as st

from lagline.desk.lanes.drag import PULL_PIXELS, LaneDrag, settled
from lagline.desk.lanes.loop_hand import LoopHand
from lagline.desk.lanes.selection import Selection
from lagline.desk.timeview import TimeView

VIEW = TimeView(0, 10)


class TestMagnet:
    def test_near_a_finding_it_is_taken_exactly(self) -> None:
        assert settled(104.0, (101.37, 0.0), per_pixel=1.0) == 101.37

    def test_far_from_any_it_is_whole_samples(self) -> None:
        assert settled(55.4, (101.37, 0.0), per_pixel=1.0) == 55.0

    def test_fine_is_tenths(self) -> None:
        assert settled(55.44, (101.37, 0.0), per_pixel=1.0, fine=True) == 55.4

    @given(st.floats(-1e5, 1e5), st.floats(0.01, 1e4))
    def test_every_target_can_be_reached_and_left(self, shift: float, per_pixel: float) -> None:
        targets = (101.37, 96.0, 0.0)
        result = settled(shift, targets, per_pixel)
        assert result in targets or result == round(result)
        for target in targets:
            assert settled(target, targets, per_pixel) == target

    def test_targets_that_lie_close_do_not_swallow_each_other(self) -> None:
        assert settled(96.5, (96.0, 101.37), per_pixel=100.0) == 96.0
        assert settled(100.9, (96.0, 101.37), per_pixel=100.0) == 101.37

    def test_it_takes_hold_only_within_its_reach(self) -> None:
        beyond = 101.37 + PULL_PIXELS * 2 + 3
        assert settled(beyond, (101.37,), per_pixel=2.0) == round(beyond)


class TestLaneDrag:
    def test_goes_with_the_hand(self) -> None:
        drag = LaneDrag(100, 50.0, ())
        assert drag.moved(130, 10, fine=False, free=False) == 350

    def test_slowing_down_does_not_jump(self) -> None:
        drag = LaneDrag(100, 0.0, ())
        assert drag.moved(110, 10, fine=False, free=True) == 100
        assert drag.moved(110, 10, fine=True, free=True) == 100
        assert drag.moved(120, 10, fine=True, free=True) == 110

    def test_free_is_where_the_hand_is(self) -> None:
        assert LaneDrag(0, 0.0, (3.0,)).moved(1, 2.6, fine=False, free=True) == 2.6


class TestLoopHand:
    def test_a_new_loop_either_way(self) -> None:
        for a, b in ((100, 300), (300, 100)):
            hand = LoopHand()
            hand.press(a, VIEW, None)
            assert hand.move(b, VIEW) == (1_000, 3_000)

    def test_edges_and_middle(self) -> None:
        hand = LoopHand()
        hand.press(101, VIEW, (1_000, 3_000))
        assert hand.move(150, VIEW) == (1_500, 3_000)
        hand.press(299, VIEW, (1_000, 3_000))
        assert hand.move(400, VIEW) == (1_000, 4_000)
        hand.press(200, VIEW, (1_000, 3_000))
        assert hand.move(210, VIEW) == (1_100, 3_100)

    def test_an_edge_dragged_over_the_other_turns_it_round(self) -> None:
        hand = LoopHand()
        hand.press(100, VIEW, (1_000, 3_000))
        assert hand.move(400, VIEW) == (3_000, 4_000)

    def test_a_click_makes_none(self) -> None:
        hand = LoopHand()
        hand.press(500, VIEW, None)
        assert hand.move(500, VIEW) is None


class TestSelection:
    order = ("a", "b", "c", "d")

    def test_steps_stop_at_the_ends(self) -> None:
        one = Selection().only("a")
        assert one.stepped(-1, self.order).current == "a"
        assert one.stepped(1, self.order).current == "b"
        assert Selection().stepped(1, ()).current is None

    def test_extending_and_toggling(self) -> None:
        some = Selection().only("b").extended("d", self.order)
        assert some.chosen == ("b", "c", "d") and some.current == "b"
        assert some.toggled("c").chosen == ("b", "d")
        assert Selection().only("a").toggled("a").chosen == ("a",)

    def test_what_is_gone_is_not_chosen(self) -> None:
        some = Selection("b", ("a", "b"))
        assert some.within(("a", "c")) == Selection("a", ("a",))
        assert some.within(("c",)) == Selection("c", ("c",))
        assert some.within(()) == Selection()

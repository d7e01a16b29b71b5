import pytest

from lagline.jobs.lengths import metres_of


@pytest.mark.parametrize(
    ("text", "metres"),
    [("1.5", 1.5), ("1,5 m", 1.5), ("60cm", 0.6), ("6 ft", 1.8288), ("6'", 1.8288), ('10"', 0.254),
     (" 20 in ", 0.508), ("−2", -2.0), ("- 2 m", -2.0), (".5", 0.5), ("250 mm", 0.25)],
)  # fmt: skip
def test_lengths_as_typed(text: str, metres: float) -> None:
    """1 ft = 0.3048 m and 1 in = 25.4 mm, exact (international yard and pound agreement, 1959)."""
    assert metres_of(text) == pytest.approx(metres)


@pytest.mark.parametrize("text", ["", "m", "three", "3 yd", "1.2.3", "nan", "1e3"])
def test_what_is_no_length_is_said(text: str) -> None:
    with pytest.raises(ValueError, match="not a length"):
        metres_of(text)

"""The colour that stands for a version wherever it is shown: on the desk, in plots, in the report.

The original and the first version, Shifted as long as nobody renames it, have one each; further versions
have theirs by their id, so that deleting one recolours none. The first two are a cold and a warm colour,
which stay apart under the common colour vision deficiencies. Each is legible as text (4.5:1, WCAG 2.2,
1.4.3) on the grounds of its theme and under the text that stands on it.
"""

from __future__ import annotations

from lagline.session.values import ORIGINAL_ID

ON_LIGHT = ("#2F4F78", "#B44F00", "#8A1AA0", "#226600", "#1D7587", "#7A0052")  # on paper too
ON_DARK = ("#8FB0E8", "#F59A3C", "#E27BF5", "#86C232", "#19CFE6", "#FF7FC0")
PLACES = len(ON_LIGHT)


def colour_place(version_id: str) -> int:
    """Which of the colours it has: 0 the original, 1 the first version; the others come round again."""
    if version_id == ORIGINAL_ID:
        return 0
    number = version_id.removeprefix("v")
    count = (
        int(number) if number.isascii() and number.isdigit() else sum(version_id.encode("utf-8", "replace"))
    )
    return count if count == 1 else 2 + (count - 2) % (PLACES - 2)

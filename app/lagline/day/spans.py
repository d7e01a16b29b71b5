"""Lengths of time in words."""

from __future__ import annotations


def clock_words(seconds: float) -> str:
    """`3:05`, with hours where there are any: the length of a take."""
    whole = round(seconds)
    hours, minutes = divmod(whole // 60, 60)
    return f"{hours}:{minutes:02d}:{whole % 60:02d}" if hours else f"{minutes}:{whole % 60:02d}"


def span_words(seconds: float) -> str:
    """`40 s`, `3 min`, `2 h 10 min`: time left, no finer than it can be known."""
    if seconds < 50:
        return f"{max(5, 5 * round(seconds / 5))} s"
    minutes = max(1, round(seconds / 60))
    if minutes < 60:
        return f"{minutes} min"
    return f"{minutes // 60} h {minutes % 60} min" if minutes % 60 else f"{minutes // 60} h"

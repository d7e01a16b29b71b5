"""A lane's balance in words: the same on the desk, in the report and on sheets."""

from __future__ import annotations

from lagline.session.values import Balance


def pan_words(pan: float) -> str:
    """`centre`, `40% left`."""
    return "centre" if pan == 0 else f"{abs(pan):.0%} {'left' if pan < 0 else 'right'}"


def balance_words(balance: Balance) -> str:
    """`-3.0 dB, 40% left`; `muted`; empty where a lane is as it is."""
    if balance.mute:
        return "muted"
    parts = [f"{balance.gain_db:+.1f} dB"] if balance.gain_db else []
    return ", ".join([*parts, pan_words(balance.pan)] if balance.pan else parts)

"""What was last asked of the engine, and what its news mean for that."""

from __future__ import annotations

from typing import Any

from msgspec.structs import replace

from lagline.playback import protocol
from lagline.playback.board import Board, Field
from lagline.playback.views import View, Wanted


class Transport:
    """The wishes of one listener. Knows no process and no lock.

    News take a moment: when the desk hears that a play has ended, the listener may have started the next one
    or gone elsewhere. Every play and every jump therefore has a token, and the engine's news name it.
    """

    def __init__(self, monitor_gain: float) -> None:
        self.wanted = Wanted(monitor_gain=monitor_gain)
        self.place = 0  # session time last asked for
        self.is_at_end = False  # the last play came to the end of the take
        self.has_lost_device = False  # the output went away since it was chosen

    def want(self, **changes: Any) -> bool:
        """Change the wishes; True when the engine is to be told."""
        before, self.wanted = self.wanted, replace(self.wanted, **changes)
        return self.wanted != before

    def view(self, **changes: Any) -> bool:
        """Change what is listened to, as a choice of its own; True when the engine is to be told."""
        view = self.wanted.view
        return self.want(view=replace(view, **changes, turn=view.turn + 1))

    def start_over(self) -> bool:
        """Another take, or a version that is gone: hear the original; True when the engine is to be told."""
        view = self.wanted.view
        return self.want(view=View(mono=view.mono, turn=view.turn + 1))

    def play(self) -> bool:
        """A play of its own, also while another goes on."""
        return self.want(playing=True, play=self.wanted.play + 1)

    def jump(self, place: int) -> protocol.Jump:
        """Go to a session time; tell the engine this and then `wanted`."""
        self.is_at_end = False
        self.place = place
        self.want(jump=self.wanted.jump + 1)
        return protocol.Jump(place, self.wanted.jump)

    def audition(self, version_id: str, place: int) -> protocol.Jump:
        """Go to a session time and to a version, in one wish; tell the engine `wanted` and then this."""
        jump = self.jump(place)
        self.view(version_id=version_id)
        return jump

    def position(self, board: Board) -> int:
        """Session time now heard; the place asked for until the engine has gone there."""
        if board[Field.JUMP] != self.wanted.jump:
            return self.place
        return int(board[Field.POSITION])

    def stopped(self, news: protocol.Stopped) -> bool:
        """Take in that a play ended by itself; True when the engine is to be told what is wanted now."""
        if not news.at_end:  # without a device none is to go on, whichever was meant
            self.has_lost_device = True
            return self.want(playing=False)
        if news.play != self.wanted.play:
            return False
        if news.jump != self.wanted.jump:  # the listener had gone elsewhere before the end was known here
            return self.wanted.playing and self.play()
        self.is_at_end = True
        self.wanted = replace(self.wanted, playing=False)  # as the engine has done
        return False

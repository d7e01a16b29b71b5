"""How a worker hears that its work is to stop."""

from __future__ import annotations

import multiprocessing

import pytest

from lagline.jobs import many


class AsOnWindows:
    """A pipe of Windows, whose `poll` raises once the other end is closed."""

    def poll(self) -> bool:
        raise BrokenPipeError(109, "The pipe has been ended")


def test_a_closed_pipe_means_stop(monkeypatch: pytest.MonkeyPatch) -> None:
    told, teller = multiprocessing.Pipe(duplex=False)
    with told, teller:
        monkeypatch.setattr(many, "_told", told)
        assert not many.stop_asked()
        teller.close()
        assert many.stop_asked()
    monkeypatch.setattr(many, "_told", AsOnWindows())
    assert many.stop_asked()

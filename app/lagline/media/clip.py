"""A clip: one channel of a recording as a stream of samples, silence before and after it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from lagline.media.convert import converted
from lagline.media.decoder import BLOCK_FRAMES, Decoder, FloatArray, shared_decoder
from lagline.media.probe import RecordingInfo, probe
from lagline.units import frames_at


class Clip:
    """One channel of a recording, delivered at `rate_hz`.

    Opens at the first question asked, not when made, and again after pickling. Clips of one file
    share its decoder, so reading all lanes of a multichannel file decodes it once. Reads may come
    from any thread. A recording whose own rate differs is converted (soxr, very high quality) into
    the cache at the first read; `lagline.media.convert.converted` does it beforehand, with progress.

    Parameters
    ----------
    path : the recording.
    channel : 0-based.
    rate_hz : wanted rate; None for the file's own.
    info : what `probe` said, if that is known already.

    Raises
    ------
    ValueError
        The recording has no such channel (at the first use).
    FileMissing, NotAFile, NoPermission, NotAudio, EmptyRecording, CacheUnusable
        At the first use.
    """

    def __init__(
        self, path: Path | str, channel: int, rate_hz: int | None = None, *, info: RecordingInfo | None = None
    ) -> None:
        self.path = Path(path).absolute()
        self.channel = channel
        self._wanted_hz = rate_hz
        self._info = info
        self._decoder: Decoder | None = None

    @property
    def info(self) -> RecordingInfo:
        """The recording's header."""
        if self._info is None:
            self._info = probe(self.path)
        return self._info

    @property
    def rate_hz(self) -> int:
        """Rate of the samples that `read` delivers."""
        return self._wanted_hz or self.info.rate_hz

    @property
    def frames(self) -> int:
        """Length in samples at `rate_hz`."""
        return frames_at(self.info.frames, self.info.rate_hz, self.rate_hz)

    def read(self, start: int, stop: int) -> FloatArray:
        """Samples `start` to `stop` (not included): float32, shape (stop - start,), yours to change.

        Silence where that lies outside the recording; `start` may be negative. Full scale is 1.0.
        """
        if stop < start:
            raise ValueError(f"a stretch ends after it starts, not {start} to {stop}")
        frames = self.frames
        first, last = min(max(start, 0), frames), min(max(stop, 0), frames)
        if first >= last:
            return np.zeros(stop - start, np.float32)
        decoder = self._opened()
        out = np.empty(stop - start, np.float32)
        out[: first - start] = 0.0
        at = first
        while at < last:
            number, skip = divmod(at, BLOCK_FRAMES)
            samples = decoder.block(number)[self.channel, skip : skip + last - at]
            if not len(samples):  # the file got shorter behind our back
                break
            out[at - start : at - start + len(samples)] = samples
            at += len(samples)
        out[at - start :] = 0.0
        return out

    def close(self) -> None:
        """Let go of the file. A later read opens it again."""
        self._decoder = None

    def _opened(self) -> Decoder:
        decoder = self._decoder
        if decoder is None:
            there = self.info.channels
            if not 0 <= self.channel < there:
                raise ValueError(f"{self.path.name} has no channel {self.channel + 1}, only {there}")
            path = self.path if self.rate_hz == self.info.rate_hz else converted(self.info, self.rate_hz)
            decoder = self._decoder = shared_decoder(path)
        return decoder

    def __getstate__(self) -> dict[str, Any]:
        return {**self.__dict__, "_decoder": None}

    def __repr__(self) -> str:
        return f"Clip({str(self.path)!r}, channel={self.channel}, rate_hz={self._wanted_hz})"

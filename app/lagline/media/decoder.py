"""One recording decoded in blocks, shared by every clip of it.

libsndfile decodes all channels together and seeks slowly in FLAC, so the clips of one file share
one open handle and a small cache of decoded blocks. Reading forwards never seeks.
"""

from __future__ import annotations

import os
import threading
import weakref
from collections import OrderedDict
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile

from lagline.errors import FileMissing, NoPermission, NotAudio
from lagline.files import changed_ns, for_libsndfile
from lagline.media.pcm import PcmSound, open_pcm
from lagline.media.riff import RiffLayout, read_layout

FloatArray = npt.NDArray[np.float32]

BLOCK_FRAMES = 1 << 15
CACHE_BYTES = 4 << 20  # a file: 21 s of one channel at 48 kHz; at least FEWEST_BLOCKS are kept all the same
FEWEST_BLOCKS = 4
_LONGEST_FLAC_BLOCK = 65_535  # frames
# +120 dBFS. A float beyond it is damage, not sound; its square would overflow every sum it is in.
LARGEST_SAMPLE = 1e6
_PIECE_FRAMES = 1 << 12  # steps into a damaged stretch


class _Sound(soundfile.SoundFile):
    """A SoundFile that does not seek to where it already is.

    soundfile seeks after every read to the place the read ended at. In FLAC that is a new search
    through the file: reading in blocks of 32768 frames took 1.5 times as long.
    """

    _reading = False

    def read_into(self, out: FloatArray) -> int:
        """Fill `out`, shape (frames, channels), as far as there is audio; how many frames."""
        self._reading = True
        try:
            return len(self.read(out=out))
        finally:
            self._reading = False

    def seek(self, frames: int, whence: int = os.SEEK_SET) -> int:
        if self._reading and whence == os.SEEK_SET:
            return frames
        near_end = max(0, self.frames - _LONGEST_FLAC_BLOCK)
        if whence == os.SEEK_SET and frames > near_end and self.format == "FLAC":
            # libFLAC looks for a place in the last block by decoding on from far away: 20 s in an hour.
            super().seek(near_end)
            self.read_into(np.empty((frames - near_end, self.channels), np.float32))
            return frames
        return int(super().seek(frames, whence))


Sound = _Sound | PcmSound
DECODING_ERRORS = (soundfile.LibsndfileError, OSError)


def open_sound(path: Path, layout: RiffLayout | None = None) -> Sound:
    """Open a recording for reading; `layout` if it was read already. Raises DECODING_ERRORS."""
    layout = layout or read_layout(path)
    return (layout and open_pcm(path, layout)) or _Sound(for_libsndfile(path))


def silence_broken(samples: FloatArray) -> npt.NDArray[np.bool_] | None:
    """Put silence where a sample is no number or beyond LARGEST_SAMPLE; where that was, None for nowhere."""
    if not samples.size or (samples.min() >= -LARGEST_SAMPLE and samples.max() <= LARGEST_SAMPLE):
        return None  # not-a-number fails both
    broken: npt.NDArray[np.bool_] = ~(np.abs(samples) <= LARGEST_SAMPLE)
    samples[broken] = 0.0
    return broken


class Decoder:
    """Blocks of one recording, decoded once and kept for a while. Any thread may call `block`."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = threading.Lock()
        self._pid = os.getpid()
        self._sound = self._open()
        self.rate_hz: int = self._sound.samplerate
        self.channels: int = self._sound.channels
        self.claimed_frames: int = self._sound.frames
        self._checks_values = self._sound.subtype in ("FLOAT", "DOUBLE")
        self._position = 0
        self.damage: dict[int, int] = {}  # frames that cannot be decoded, by the first frame of the stretch
        self._blocks: OrderedDict[int, FloatArray] = OrderedDict()
        block_bytes = BLOCK_FRAMES * self.channels * 4
        self._most_blocks = max(FEWEST_BLOCKS, CACHE_BYTES // block_bytes)

    def block(self, number: int) -> FloatArray:
        """Frames from `number * BLOCK_FRAMES` on: float32, shape (channels, up to BLOCK_FRAMES), finite.

        Shorter (perhaps empty) at the end of the file. A stretch that cannot be decoded is silence:
        playing on past a scratch is worth more than stopping there. Not to be written to.
        """
        with self._lock:
            if self._pid != os.getpid():  # a forked child must not move the parent's file position
                self._pid, self._sound, self._position = os.getpid(), self._open(), 0
            found = self._blocks.get(number)
            if found is None:
                found = self._blocks[number] = self._decode(number)
                if len(self._blocks) > self._most_blocks:
                    self._blocks.popitem(last=False)
            else:
                self._blocks.move_to_end(number)
            return found

    def _decode(self, number: int) -> FloatArray:
        start = number * BLOCK_FRAMES
        frames = min(BLOCK_FRAMES, max(0, self.claimed_frames - start))
        if frames == 0:
            return np.zeros((self.channels, 0), np.float32)
        samples = np.empty((frames, self.channels), np.float32)
        try:
            if self._position != start:
                self._sound.seek(start)
            samples = samples[: self._sound.read_into(samples)]
            self._position = start + len(samples)
        except DECODING_ERRORS:
            # After an error libsndfile's FLAC decoder fails for good, so start from a new handle.
            self._sound.close()
            self._sound, self._position = self._open(), 0
            samples = self._piecewise(start, frames)
        if self._checks_values:
            silence_broken(samples)
        planes: FloatArray = np.ascontiguousarray(samples.T, dtype=np.float32)
        planes.flags.writeable = False
        return planes

    def _piecewise(self, start: int, frames: int) -> FloatArray:
        """What can be decoded of a damaged stretch, with silence for the rest."""
        samples = np.zeros((frames, self.channels), np.float32)
        done = 0
        try:
            self._sound.seek(start)
            while done < frames:
                read = self._sound.read_into(samples[done : done + _PIECE_FRAMES])
                if not read:
                    break
                done += read
        except DECODING_ERRORS:
            self._sound.close()
            self._sound, self._position = self._open(), 0
            self.damage[start + done] = frames - done
            samples[done:] = 0.0
            return samples
        self._position = start + done
        return samples

    def _open(self) -> Sound:
        try:
            return open_sound(self.path)
        except FileNotFoundError as error:
            raise FileMissing(self.path) from error
        except PermissionError as error:
            raise NoPermission(self.path) from error
        except (OSError, soundfile.LibsndfileError) as error:
            raise NotAudio(self.path, "damaged, cut off, or no longer there") from error


_open_decoders: weakref.WeakValueDictionary[tuple[str, int, int], Decoder] = weakref.WeakValueDictionary()
_open_lock = threading.Lock()


def shared_decoder(path: Path) -> Decoder:
    """The decoder of a file, shared with all who hold it; closed when the last lets go of it.

    A file that was replaced on disk gets a new decoder. Raises FileMissing, NoPermission, NotAudio.
    """
    try:
        status = path.stat()
    except FileNotFoundError as error:
        raise FileMissing(path) from error
    except OSError as error:
        raise NoPermission(path) from error
    key = (str(path), status.st_size, changed_ns(status))
    with _open_lock:
        decoder = _open_decoders.get(key)
        if decoder is None:
            decoder = _open_decoders[key] = Decoder(path)
        return decoder

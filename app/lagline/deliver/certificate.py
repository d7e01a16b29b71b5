"""The certificate of a delivery: one page that says what was checked of each file, and what came of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from lagline.deliver.delivered import Checked, DeliveredFile, HeldLane
from lagline.deliver.null import LEFT_DB
from lagline.deliver.page import filled_page
from lagline.deliver.tables import Table
from lagline.media.carry import Fate

CHECKS: dict[Checked, str] = {
    "format": "length, rate, sample format and channels, as another library reads them",
    "stamp": "the time stamp, which all files share",
    "metadata": "every chunk, byte for byte as it was to be written",
    "samples": "every lane against its recording: bit for bit where it was only moved by whole samples; else "
    f"what is left when the moved recording is taken away, {-LEFT_DB:.0f} dB down or more; blends likewise "
    "against the sum of the recordings",
    "levels": "loudness and true peak (ITU-R BS.1770), of the samples as they were read back",
    "text": "documents: every lane stands in them, on a delay sheet with its figure",
}
_FATES: tuple[tuple[Fate, str], ...] = (
    ("same", "as in the recording"), ("changed", "brought in line"), ("added", "added"),
    ("left behind", "left behind"),
)  # fmt: skip


def certificate_html(take: str, made_by: str, made_at: str, files: Sequence[DeliveredFile]) -> str:
    """The page. `files` : what is certified, in order."""
    return filled_page(
        "certificate.html.j2",
        title=f"Certificate: {take}",
        take=take,
        made_by=made_by,
        made_at=made_at,
        checks=_checks(files),
        audio=Table(
            ["file", "samples", "rate", "format", "LUFS", "dBTP", "clipped", "left", "checked"],
            [_audio_row(file) for file in files if file.kind in ("lane", "blend")],
        ),
        lanes=Table(
            ["lane", "file", "recording", "shift, samples", "polarity", "held against its recording"],
            [_lane_row(file, number) for file in files for number in range(len(file.held))],
        ),
        metadata=Table(
            ["file", *(words for _, words in _FATES)],
            [_fate_row(file) for file in files if file.metadata],
        ),
        documents=Table(
            ["document", "size", "checked"],
            [
                [file.name, f"{file.size_bytes} bytes", _words(file.checked)]
                for file in files
                if _is_text(file)
            ],
        ),
    )


def _checks(files: Iterable[DeliveredFile]) -> list[str]:
    done = {check for file in files for check in file.checked}
    return [f"{check}: {words}" for check, words in CHECKS.items() if check in done]


def _is_text(file: DeliveredFile) -> bool:
    return file.kind not in ("lane", "blend", "manifest", "checksums", "certificate")


def _audio_row(file: DeliveredFile) -> list[str]:
    return [
        file.name,
        str(file.frames),
        f"{file.rate_hz} Hz",
        "32-bit float" if file.subtype == "FLOAT" else f"{file.subtype.removeprefix('PCM_')} bit",
        _level(file.loudness_lufs),
        _level(file.true_peak_dbtp),
        str(file.clipped_samples),
        "–" if file.left_db is None else f"{file.left_db:.0f} dB",
        _words(file.checked),
    ]


def _lane_row(file: DeliveredFile, number: int) -> list[str]:
    lane = file.held[number]
    where = f"{file.name}, channel {number + 1}" if file.channels else file.name
    return [
        lane.lane,
        where,
        f"{lane.recording}, channel {lane.channel + 1}",
        f"{lane.shift_samples:+.3f}",
        "flipped" if lane.polarity < 0 else "as recorded",
        _held(lane),
    ]


def _held(lane: HeldLane) -> str:
    if lane.copied:
        return "bit for bit"
    if lane.left_db is None:
        return "not held: silent, or too short"
    return f"{lane.left_db:.0f} dB left" + (", clipped" if lane.left_db > LEFT_DB else "")


def _fate_row(file: DeliveredFile) -> list[str]:
    cells = [", ".join(kind for kind, one in file.metadata.items() if one == fate) for fate, _ in _FATES]
    return [file.name, *(cell or "–" for cell in cells)]


def _words(checked: Iterable[Checked]) -> str:
    return ", ".join(checked) or "–"


def _level(level: float | None) -> str:
    return "–" if level is None else f"{level:+.2f}"

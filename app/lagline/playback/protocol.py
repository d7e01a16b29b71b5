"""What the desk's side and the engine process say to each other: frozen values through a pipe."""

from __future__ import annotations

from msgspec import Struct

from lagline.playback.feeder import Material
from lagline.playback.priority import Priority
from lagline.playback.views import Wanted

SILENT_CLOCK = "silent clock"


class OutputDevice(Struct, frozen=True):
    """An output the machine offers."""

    name: str  # with its sound system, as `DeviceChoice.name` wants it
    channels: int
    rate_hz: int  # its own choice
    is_default: bool = False


class DeviceChoice(Struct, frozen=True):
    """Which output to use. None leaves it to the machine; the name SILENT_CLOCK asks for no sound at all."""

    name: str | None = None
    rate_hz: int | None = None  # None: the session's, where the device can
    block_frames: int | None = None  # None: 256


class Settings(Struct, frozen=True):
    """How an engine is run.

    patient : wait for the feeder rather than run dry, for devices that do not keep time (captures to a
        file, unpaced runs).
    speed : of a patient engine, at most so many times real time; as fast as it can where None. Edits take
        time to render: a device that runs away from them never hears one.
    pace : whether the silent clock keeps time; without, it runs as fast as it can.
    """

    patient: bool = False
    speed: float | None = None
    pace: bool = True


# Commands, desk to engine


class Show(Struct, frozen=True):
    """Play this material from now on."""

    material: Material


class Jump(Struct, frozen=True):
    """Go to a session time. `token` rises with every jump and comes back on the board."""

    position: int
    token: int


class Want(Struct, frozen=True):
    """Replace what the listener asks for."""

    wanted: Wanted


class UseDevice(Struct, frozen=True):
    """Play through this output from now on."""

    choice: DeviceChoice


class ListDevices(Struct, frozen=True):
    """Answer with DevicesFound."""


class Quit(Struct, frozen=True):
    """Close the device and end."""


Command = Show | Jump | Want | UseDevice | ListDevices | Quit

# Events, engine to desk


class InUse(Struct, frozen=True):
    """The output now open. `is_silent`: no device, time is kept by a clock alone."""

    name: str
    rate_hz: int
    block_frames: int
    latency_s: float
    is_silent: bool
    priority: Priority = "ordinary"  # of the engine before other work on the machine

    def is_makeshift(self, choice: DeviceChoice) -> bool:
        """Whether it is a silent clock though something else was chosen."""
        return self.is_silent and choice.name != SILENT_CLOCK


class Said(Struct, frozen=True):
    """A sentence for the user."""

    message: str


class Stopped(Struct, frozen=True):
    """Playing ended without being asked to: at the end of the take, or because the device went away.

    play, jump : tokens (`Wanted`) of the play that ended and of the last jump made before it did.
    """

    at_end: bool
    play: int
    jump: int


class DevicesFound(Struct, frozen=True):
    """The outputs of this machine, the default one first."""

    devices: tuple[OutputDevice, ...]


class Failed(Struct, frozen=True):
    """The last words of a process that an error has ended, or of one request that could not be answered."""

    reason: str
    trace: str  # for the log


Event = InUse | Said | Stopped | DevicesFound | Failed

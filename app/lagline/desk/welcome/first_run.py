"""Shows the welcome and does what is asked there."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from msgspec import Struct

from lagline.desk.amounts import Unit
from lagline.desk.parts import DeskParts
from lagline.playback.protocol import DeviceChoice


class Answers(Struct, frozen=True):
    """What the desk does with each choice."""

    show_unit: Callable[[Unit], None]
    use_device: Callable[[DeviceChoice], None]
    show_caution: Callable[[], None]


def welcome(parts: DeskParts, answers: Answers) -> None:
    """Show the welcome until it is closed. It holds the headphone caution, which counts as read then."""
    from lagline.desk.welcome.welcome_dialog import WelcomeDialog

    dialog = WelcomeDialog(parts.settings.unit, parts.settings.device.name, parts.window)
    dialog.unit_requested.connect(answers.show_unit)
    dialog.device_requested.connect(partial(_use, answers))
    dialog.caution_requested.connect(answers.show_caution)
    wants_demo: list[bool] = []
    dialog.demo_requested.connect(partial(wants_demo.append, True))
    parts.playing.devices_found.connect(dialog.show_devices)
    parts.playing.look_for_devices()
    parts.questions.show(dialog)
    parts.playing.devices_found.disconnect(dialog.show_devices)
    parts.settings.welcomed = parts.settings.caution_read = True
    if wants_demo:
        parts.files.open_demo()


def _use(answers: Answers, name: str | None) -> None:
    answers.use_device(DeviceChoice(name))

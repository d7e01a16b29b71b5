"""Everything one window is made of, built once and handed to those who connect or use it."""

from __future__ import annotations

from PySide6.QtCore import QSettings
from PySide6.QtWidgets import QMainWindow

from lagline.desk.analysis_thread import AnalysisThread
from lagline.desk.day.takes_panel import TakesPanel
from lagline.desk.day.takes_store import TakesStore
from lagline.desk.day.takes_work import TakesWork
from lagline.desk.empty_desk import EmptyDesk
from lagline.desk.foot import Foot
from lagline.desk.keeping import Keeping
from lagline.desk.lane_edits import LaneEdits
from lagline.desk.lanes.lane_area import LaneArea
from lagline.desk.measuring import Measuring
from lagline.desk.message_bar import MessageBar
from lagline.desk.playing import PlayController, PlayerLike
from lagline.desk.questions import Questions
from lagline.desk.settings import DeskSettings
from lagline.desk.side_panel import SidePanel
from lagline.desk.sounds import Sounds
from lagline.desk.store import SessionStore
from lagline.desk.strip.top_strip import TopStrip
from lagline.desk.take_files import TakeFiles
from lagline.desk.timeview import TimeViewModel


class DeskParts:
    """The store and what works on it, then the widgets; `close` ends every thread and process."""

    def __init__(
        self, window: QMainWindow, player: PlayerLike, settings: QSettings | None, questions: Questions | None
    ) -> None:
        self.window = window
        self.settings = DeskSettings(settings)
        self.questions = questions or Questions(window)
        self.store = SessionStore(window)
        self.times = TimeViewModel(window)
        self.sounds = Sounds(self.times, window)
        self.playing = PlayController(player, window)
        self.analysis = AnalysisThread(window)
        self.measuring = Measuring(self.store, self.analysis, window)
        self.edits = LaneEdits(self.store, window)
        self.keeping = Keeping(self.store, self.settings, self.questions, window)
        self.files = TakeFiles(self.store, self.keeping, self.settings, self.questions, window)
        self.takes = TakesStore(window)
        self.takes_work = TakesWork(window)
        self.takes_panel = TakesPanel()
        self.strip = TopStrip()
        self.messages = MessageBar()
        self.lanes = LaneArea(self.sounds.data, self.times)
        self.side = SidePanel()
        self.empty = EmptyDesk()
        self.foot = Foot()

    def close(self) -> None:
        """End every thread and process of this window."""
        self.takes_work.close()
        self.takes.close()
        self.files.close()
        self.keeping.close()
        self.analysis.close()
        self.playing.close()
        self.sounds.close()

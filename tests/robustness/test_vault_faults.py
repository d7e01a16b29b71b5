"""Every operation on files that keep a session may fail once; vault_faults.py tries three errors."""

from __future__ import annotations

import errno
from pathlib import Path

import pytest
from PySide6.QtWidgets import QApplication
from tests.robustness.vault_faults import WORK, try_all


@pytest.mark.parametrize("work", WORK)
def test_a_fault_costs_nothing(
    work: str, tmp_path: Path, qapp: QApplication, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LAGLINE_STATE_DIR", str(tmp_path))  # each sets its own
    kind = (errno.ENOSPC, errno.EACCES, errno.EIO)[WORK.index(work) % 3]
    assert try_all(work, kind, tmp_path)[0] > 0

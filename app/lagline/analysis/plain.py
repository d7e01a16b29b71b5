"""The border at which numpy's numbers end: what leaves analysis is plain Python.

To a type checker numpy's float64 is a float, yet a session file, JSON and a pipe know only Python's own.
"""

from __future__ import annotations

import msgspec
import numpy as np

from lagline.session.findings import Alignment


def plain(alignment: Alignment) -> Alignment:
    """The same findings, every number Python's own; each field of the type that `findings` says.

    Raises
    ------
    msgspec.ValidationError
        A field holds something of another type.
    """
    return msgspec.convert(msgspec.to_builtins(alignment, enc_hook=_plain), Alignment)


def _plain(value: object) -> object:
    if isinstance(value, np.generic | np.ndarray):
        return value.tolist()
    raise TypeError(f"a finding holds no {type(value).__name__}")

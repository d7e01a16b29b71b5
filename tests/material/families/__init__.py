"""The makers of takes, by recording practice; importing this enters them all."""

from tests.material.families import (  # noqa: F401
    apart,
    contacts,
    edits,
    events,
    extended,
    groups,
    kits,
    phase,
    tones,
    unrelated,
)

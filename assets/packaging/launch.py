"""Where a bundled Lagline starts. Not part of the package: an installed one starts in `lagline.__main__`."""

import multiprocessing
import sys

if __name__ == "__main__":
    # Playback, measuring and batches run in processes of their own. In a bundle such a process is this very
    # program started again: here it becomes what it was started for, and never comes back.
    multiprocessing.freeze_support()

    from lagline.__main__ import main

    sys.exit(main())

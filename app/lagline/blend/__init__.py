"""The sum of the lanes, block by block: one function behind playback, export and drawing."""

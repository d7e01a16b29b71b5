"""The command line. Starts without Qt and without an audio device."""

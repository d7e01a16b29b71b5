"""The console script. Filled in by the command line and the desk."""

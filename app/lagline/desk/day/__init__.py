"""A day's takes on the desk: the list, its dialogs, and the work on many."""

"""The window's own dialogs: keyboard map, command search, settings, caution."""

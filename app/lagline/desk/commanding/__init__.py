"""What each command does, by the part of the desk it is about."""

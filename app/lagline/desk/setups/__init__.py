"""Setups on the desk: keep the shifts and flips of a version, put them on further takes and compare."""

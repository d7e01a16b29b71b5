"""Setups on the desk: keep a version by lane name, put it on further takes and compare."""

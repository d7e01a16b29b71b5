"""Panels of the desk: each shows values and emits requests; none edits the session itself."""

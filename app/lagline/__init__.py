"""Lagline: line up several recordings of one performance."""

__version__ = "0.1.0"

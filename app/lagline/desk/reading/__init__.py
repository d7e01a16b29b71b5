"""Threads that read recordings for the desk: overviews, samples in view, the sum. Widgets stay outside."""

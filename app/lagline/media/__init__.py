"""Audio files in and out, overviews, health. Knows nothing of sessions."""

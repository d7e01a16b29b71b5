"""What concerns all lanes of a take at once."""

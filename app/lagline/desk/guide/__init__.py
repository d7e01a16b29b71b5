"""The user's guide inside the desk: the pages of assets/guide, and which of them helps with what."""

"""The top strip: transport, version switch, loudness, monitor level and output."""

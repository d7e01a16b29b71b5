"""What the recordings say: arrivals, polarity, trust. Pure functions with progress and cancel."""

"""What leaves the house: aligned files, blends, delay sheets, reports."""

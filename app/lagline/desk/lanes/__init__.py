"""The lane stack: headers, waveforms, ruler, overview bar and the sum."""

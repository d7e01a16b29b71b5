"""Parts of the demo generator: instruments, rooms, microphones, the two takes. numpy and scipy only."""

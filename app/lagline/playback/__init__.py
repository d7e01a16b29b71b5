"""What is heard: the engine process, its feeder and callback, and the desk's handle on them."""

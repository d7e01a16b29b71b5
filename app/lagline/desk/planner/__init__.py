"""The planner: a window to place source and microphones in before a session, and see what they will hear."""

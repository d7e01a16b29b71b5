"""The licence gate: what Lagline is passed on with, under which terms, and where each text comes from."""

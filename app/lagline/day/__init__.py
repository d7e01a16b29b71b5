"""A day's takes: told apart, measured, held against a setup, decided and delivered together."""

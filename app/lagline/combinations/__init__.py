"""Every combination of a take's lanes, as recorded and lined up: laid out, measured, told in words."""

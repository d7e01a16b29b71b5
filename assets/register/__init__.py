"""The register of names: every name a user meets, and where it is from."""

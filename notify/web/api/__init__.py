"""The API for the shop's own scripts: one table of operations, one flow each."""

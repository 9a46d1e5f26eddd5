"""Pure numbers: what the counter can serve. No clock, no file, no database; chance comes from a seed."""

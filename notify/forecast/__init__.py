"""Pure numbers: when devices will be ready, what the counter can serve. No clock, no file, no database; chance comes from a seed."""

"""Pure numbers: when devices will be ready, what the counter can serve. Neither clock nor file; chance has a seed."""

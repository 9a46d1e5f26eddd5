"""Which days are public holidays where."""

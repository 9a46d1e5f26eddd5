"""Data in, bytes out: everything a person reads on paper, on a screen or in a message."""

"""Pure rules: no clock, no files, no network, no random numbers."""

"""The installation: settings, key files, and what is checked before anything starts."""

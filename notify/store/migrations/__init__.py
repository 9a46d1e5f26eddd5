"""Steps that bring an older database to today's tables."""

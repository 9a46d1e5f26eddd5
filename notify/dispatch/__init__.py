"""Composes and delivers what the outbox holds: the only caller of Channel.send, never inside a transaction."""

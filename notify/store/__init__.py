"""The only room that knows SQLAlchemy: tables, transactions, keys."""

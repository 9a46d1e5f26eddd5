"""Servers, browsers, clocks and guards that tests borrow; nothing here is shipped."""

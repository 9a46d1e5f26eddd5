"""Commands: parse, call one flow, print."""

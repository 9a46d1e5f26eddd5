"""Ways out, one file per transport: each takes an Outgoing and answers with a Receipt."""

"""A real IMAP server with one mailbox (Dovecot) or, where that is not installed, a small one in Python."""

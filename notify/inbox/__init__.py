"""What comes back: letters from a mailbox, each read with caution and handed to one flow."""

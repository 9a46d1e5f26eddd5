"""What other systems' servers send here: no cookie and no form token, each call with a proof of its own."""

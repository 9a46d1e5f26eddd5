"""The pages of customers, each file with its blueprint `pages`."""

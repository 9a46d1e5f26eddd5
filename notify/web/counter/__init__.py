"""The pages of the shop, each file with its blueprint `pages`."""

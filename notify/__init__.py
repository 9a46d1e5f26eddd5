"""Shelfbell: tells the owner of a repaired device, and the shop, the right thing at the right moment."""

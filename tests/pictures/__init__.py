"""The pictures of the README, and the script that takes them."""

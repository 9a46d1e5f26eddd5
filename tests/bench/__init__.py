"""Figures: how fast and how small the product is, each as a ratio against a written-out baseline."""

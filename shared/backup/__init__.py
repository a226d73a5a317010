"""Copies of a whole shop, made while it works, and put back into an empty place."""

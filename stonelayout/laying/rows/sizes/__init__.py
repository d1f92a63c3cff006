"""Rows of several sizes: which size stands where along a row."""

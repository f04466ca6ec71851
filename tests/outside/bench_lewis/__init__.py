"""Devices for the instrument simulator `lewis` (PyPI, GPL; run as a program of its own)."""

"""Flashing: the firmware made ready, and brought onto a board."""

"""Runs first, and does nothing that could fail: a pin drives nothing after a reset, so every motor is off."""

"""Wheel, battery, house and sun."""

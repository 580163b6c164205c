"""Sizing: jets, wheel and pipe tried by what they would earn in a typical and a dry year."""

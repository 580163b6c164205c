"""Commissioning: the steps from a wired board to a signed-off plant."""

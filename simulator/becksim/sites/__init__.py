"""Example sites, all invented, and the gauge record that goes with one of them."""

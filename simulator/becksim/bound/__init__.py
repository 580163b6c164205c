"""The best that was possible in the days of a replay, and where the rest went."""

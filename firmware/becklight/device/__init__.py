"""What runs around the logic on a board: pins, network and clock are handed in by becklight.board."""

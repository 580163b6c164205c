"""Water in the country: gauge records and synthetic streams."""

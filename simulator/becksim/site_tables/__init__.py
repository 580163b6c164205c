"""The tables of a site file, by subject."""

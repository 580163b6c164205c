"""The becklight simulator: a stream plant on the desk, run by the powerhouse logic itself."""

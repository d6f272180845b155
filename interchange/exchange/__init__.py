"""Sessions in, other open forms out."""

"""Data in, words and tables for people out."""
